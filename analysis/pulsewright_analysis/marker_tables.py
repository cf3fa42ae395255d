"""The marker pairs and level pairs of a review as tidy tables."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pulsewright.review import Review, level_pairs, marker_pairs
from pulsewright_analysis.findings_json import channel_units
from pulsewright_analysis.level_markers import level_difference, placed
from pulsewright_analysis.marker_series import PairSeries, pair_over_records
from pulsewright_analysis.results import Findings
from pulsewright_analysis.standing_pairs import End, ends_of, standing_in
from pulsewright_analysis.table_columns import Table, make_table, number_column, quantity_columns

_SECONDS = ("t1", "t2", "difference", "interval")


def marker_table(review: Review, findings: Findings) -> Table:
    """Return every marker pair as it stands in the record that it names; a row for each.

    Parameters
    ----------
    review : Review
    findings : Findings
    """
    pairs = marker_pairs(review)
    there = [standing_in(findings, pair) for pair in pairs]
    told = [one.told for one in there]
    times: dict[str, Any] = {}
    for end, key in enumerate(("t1", "t2")):
        times[key] = number_column(None if one.reason else one.times[end] for one in there)
        times[f"{key}_u"] = number_column(None if one.reason else one.us[end] for one in there)
    columns: dict[str, Any] = {
        "pair": [a.pair for a, _ in pairs],
        "name": [a.name for a, _ in pairs],
        "record": [a.record or 0 for a, _ in pairs],
        "channel": [a.channel or findings.session.channels[0][0] for a, _ in pairs],
        "record_2": [b.record or 0 for _, b in pairs],
        "channel_2": [b.channel or findings.session.channels[0][0] for _, b in pairs],
        **times,
        **quantity_columns("difference", [None if one is None else one.delta for one in told]),
        "intervals": [max(a.intervals, 1) for a, _ in pairs],
        **quantity_columns("interval", [None if one is None else one.per_interval for one in told]),
        **quantity_columns("rate", [None if one is None else one.rate for one in told]),
        "follows": [_followed(ends_of(pair, findings)) for pair in pairs],
        "reason": [one.reason for one in there],
        "note": [a.note for a, _ in pairs],
    }
    units = {key: "Hz" if key.startswith("rate") else "s" for key in columns if key.startswith((*_SECONDS, "rate"))}
    units = {key: unit for key, unit in units.items() if not key.endswith("_dof") and key != "intervals"}
    return make_table("markers", columns, units)


def _followed(ends: tuple[End, End]) -> str:
    """Return which pulses a pair follows, as ``t1: 0, t2: 1``; empty where it follows none."""
    told = zip(("t1", "t2"), ends, strict=True)
    return ", ".join(f"{key}: {end.pulse}" for key, end in told if end.pulse is not None)


def level_table(review: Review, findings: Findings) -> Table:
    """Return every level pair; a row for each, in its channel's unit, which is a column.

    Parameters
    ----------
    review : Review
    findings : Findings
    """
    names, units = [name for name, _ in findings.session.channels], channel_units(findings)
    pairs = [pair for pair in level_pairs(review) if pair[0].channel in names]
    unit_of = [units[names.index(a.channel)] for a, _ in pairs]
    percent = findings.settings.scale_percent
    told = [level_difference(placed(a), placed(b), unit, percent) for (a, b), unit in zip(pairs, unit_of, strict=True)]
    columns: dict[str, Any] = {
        "pair": [a.pair for a, _ in pairs],
        "name": [a.name for a, _ in pairs],
        "record": [a.record for a, _ in pairs],
        "record_2": [b.record for _, b in pairs],
        "channel": [a.channel for a, _ in pairs],
        "unit": unit_of,
        "v1": number_column(a.value for a, _ in pairs),
        "v1_u": number_column(a.u for a, _ in pairs),
        "v1_level": [a.level for a, _ in pairs],
        "v2": number_column(b.value for _, b in pairs),
        "v2_u": number_column(b.u for _, b in pairs),
        "v2_level": [b.level for _, b in pairs],
        **quantity_columns("difference", told),
        "note": [a.note for a, _ in pairs],
    }
    return make_table("levels", columns)


def marker_series_table(review: Review, findings: Findings) -> Table:
    """Return every pair that follows a pulse, in every record: a row for each of both.

    Parameters
    ----------
    review : Review
    findings : Findings
    """
    columns: dict[str, list[Any]] = {key: [] for key in _SERIES}
    for pair in marker_pairs(review):
        first, ends = pair[0], ends_of(pair, findings)
        if all(end.pulse is None for end in ends):
            continue
        told = pair_over_records(findings, ends, max(first.intervals, 1))
        for key, values in _series_columns(told, first.pair, first.name, findings).items():
            columns[key].extend(values)
    return make_table("marker_series", columns, _SERIES_UNITS)


def one_series_table(told: PairSeries, pair: int, name: str, findings: Findings) -> Table:
    """Return one pair in every record, with the columns of `marker_series_table`.

    Parameters
    ----------
    told : PairSeries
    pair : int
        Its number.
    name : str
        Its name.
    findings : Findings
        For the names of its channels.
    """
    columns = {key: list(values) for key, values in _series_columns(told, pair, name, findings).items()}
    return make_table("marker_series", columns, _SERIES_UNITS)


def _series_columns(told: PairSeries, pair: int, name: str, findings: Findings) -> dict[str, Iterable[Any]]:
    count, intervals = len(told.delta), told.intervals
    first, second = (findings.channel_name(channel) for channel in told.channels)
    rows: tuple[Iterable[Any], ...] = (
        [pair] * count, [name] * count, range(count), [first] * count, [second] * count, told.t1, told.t1_u,
        told.polarity[:, 0], told.t2, told.t2_u, told.polarity[:, 1], told.delta, told.delta_u, [intervals] * count,
        told.delta / intervals, told.delta_u / intervals, told.reasons,
    )  # fmt: skip
    return dict(zip(_SERIES, rows, strict=True))


_SERIES = (
    "pair", "name", "record", "channel", "channel_2", "t1", "t1_u", "polarity", "t2", "t2_u", "polarity_2",
    "difference", "difference_u", "intervals", "interval", "interval_u", "reason",
)  # fmt: skip
_SERIES_UNITS = {key: "s" for key in _SERIES if key.removesuffix("_u") in _SECONDS}
