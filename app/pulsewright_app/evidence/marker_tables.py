"""The sheet's tables of marker pairs, of level pairs, of pairs over all records, and of what was noted about them."""

from __future__ import annotations

from pulsewright.quantity import Quantity
from pulsewright.review import LevelMarker, Marker, Review, level_pairs, marker_pairs
from pulsewright.session import Session
from pulsewright_analysis.level_markers import level_difference, level_value, placed
from pulsewright_analysis.marker_series import PairSeries, pair_over_records
from pulsewright_analysis.results import Findings
from pulsewright_analysis.standing_pairs import ends_of, record_of, standing_in
from pulsewright_app.evidence.numbers import number, plain
from pulsewright_app.evidence.sheet import Cell, Number, Table
from pulsewright_app.wording import follows, held_for, level_words


def marker_table(review: Review, findings: Findings) -> Table | None:
    """Return the marker pairs with Δ, 1/Δ and Δ/N, each in the record that it names; None where there are none."""
    rows = [_row(pair, findings) for pair in marker_pairs(review)]
    if not rows:
        return None
    headings = ("Pair", "t₁ ± U", "t₂ ± U", "Δ ± U", "1/Δ ± U", "N", "Δ/N ± U", "Put down on")
    return Table(headings, tuple(rows), right=tuple(range(1, 7)))


def _row(pair: tuple[Marker, Marker], findings: Findings) -> tuple[Cell, ...]:
    first, there = pair[0], standing_in(findings, pair)
    where = _places(pair, findings)
    ends = ends_of(pair, findings)
    if any(end.pulse is not None for end in ends):
        one, other = (findings.channel_name(end.channel) for end in ends)
        if one != other and None not in (ends[0].pulse, ends[1].pulse):  # both channels are told already
            where = f"record {record_of(pair)}"
        where = f"{follows(ends[0].pulse, ends[1].pulse, (one, other))}, {where}"
    name, intervals = _name(first), Number(str(max(first.intervals, 1)), max(first.intervals, 1))
    if there.told is None:
        return name, *("not there",) * 4, intervals, "not there", f"{where}: {there.reason}"
    return (
        name,
        *(number(Quantity(time, u, "s")) for time, u in zip(there.times, there.us, strict=True)),
        number(there.told.delta),
        "" if there.told.rate is None else number(there.told.rate),
        intervals,
        number(there.told.per_interval),
        where,
    )


def _places(pair: tuple[Marker, Marker], findings: Findings) -> str:
    """Return the record and channel that the u of each marker holds for; once where they are the same."""
    nameless = findings.session.channels[0][0]
    first, second = (f"record {marker.record or 0}, {marker.channel or nameless}" for marker in pair)
    return first if first == second else f"t₁: {first}; t₂: {second}"


def level_table(review: Review, session: Session, findings: Findings) -> Table | None:
    """Return the level pairs with their difference, in the unit of their channel; None where there are none."""
    units = {channel.name: channel.unit for channel in session.channels}
    percent = findings.settings.scale_percent
    rows: list[tuple[Cell, ...]] = []
    for pair in level_pairs(review):
        if pair[0].channel in units:
            unit, (first, second) = units[pair[0].channel], (placed(pair[0]), placed(pair[1]))
            told = (level_value(first, unit, percent), level_value(second, unit, percent))
            apart = number(level_difference(first, second, unit, percent))
            rows.append((_name(pair[0]), *map(number, told), apart, _put_down(pair)))
    headings = ("Pair", "v₁ ± U", "v₂ ± U", "Δ ± U", "Put down on")
    return Table(headings, tuple(rows), right=(1, 2, 3), wide=(4,)) if rows else None


def _put_down(pair: tuple[LevelMarker, LevelMarker]) -> str:
    first, second = pair
    words = [level_words(marker.level, marker.pulse) for marker in pair]
    on = words[0] if words[0] == words[1] else " and ".join(words)
    return f"{held_for((first.record, second.record), None)[0]}, {first.channel}: {on}"


def series_table(review: Review, findings: Findings) -> Table | None:
    """Return the pairs that follow pulses over all records; None where there are none."""
    rows: list[tuple[Cell, ...]] = []
    for pair in marker_pairs(review):
        ends = ends_of(pair, findings)
        if any(end.pulse is not None for end in ends):
            told = pair_over_records(findings, ends, max(pair[0].intervals, 1))
            between = " → ".join(dict.fromkeys(findings.channel_name(channel) for channel in told.channels))
            rows.append((_name(pair[0]), between, *_series_cells(told)))
    headings = ("Pair", "Channels", "Mean Δ ± U", "Standard deviation of Δ", "Mean Δ/N ± U", "Records")
    return Table(headings, tuple(rows), right=(2, 3, 4)) if rows else None


def _series_cells(told: PairSeries) -> tuple[Cell, ...]:
    records = f"{len(told.measured)} of {len(told.delta)}"
    if told.mean is None or told.mean_per_interval is None:
        return "not measured", "", "", records
    deviation = "" if told.deviation is None else plain(told.deviation, "s")
    return number(told.mean), deviation, number(told.mean_per_interval), records


def pair_notes_table(review: Review) -> Table | None:
    """Return what was written about pairs of either kind; None where nothing was."""
    first = [pair[0] for pair in marker_pairs(review)] + [pair[0] for pair in level_pairs(review)]
    rows = tuple((_name(marker), marker.note) for marker in first if marker.note)
    return Table(("Pair", "Note"), rows, wide=(1,)) if rows else None


def _name(marker: Marker | LevelMarker) -> str:
    return marker.name or f"{'Pair' if isinstance(marker, Marker) else 'Levels'} {marker.pair}"
