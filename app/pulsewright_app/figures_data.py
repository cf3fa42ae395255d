"""What the small figures of the findings are drawn from: points, error bars, lines and bins, as plain arrays.

The desk and the evidence sheet draw the same arrays. Every number stands in `Findings` or follows from it by sorting,
subtracting a fitted line or counting into bins; nothing is measured here. Arrays hold SI units; an `Axis` says how they
are written. Where a figure cannot be drawn, a `NotDrawn` with the reason stands in its place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pulsewright.quantity import engineering
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.results import Bools, Findings, Floats, Ints, Sequence
from pulsewright_app.figures_axes import Axis as Axis
from pulsewright_app.figures_axes import NotDrawn as NotDrawn
from pulsewright_app.figures_axes import reason_of, time_axis
from pulsewright_app.wording import shown

FEWEST_BINS = 5
MOST_BINS = 60
CURVE_POINTS = 201


@dataclass(frozen=True)
class PositionsFigure:
    """Where the walking pulse stands in each record, with the fitted line and what is left beside it.

    Attributes
    ----------
    title, note : str
        One line that says what is seen, and one that says how it was measured.
    channel : str
        The channel whose pulses told it.
    record, position, half_width : array (points,)
        Record numbers; seconds; half of each point's 95 % interval, seconds.
    polarity : int array (points,)
        1 or −1.
    on_line : bool array (points,)
        Whether the pulse has a place on the line; the others are drawn as strays.
    line_record, line_position : array
        The fitted line, seconds; NaN between two passes of the walk and at missed triggers, so that it breaks there.
    residual, residual_half_width : array (points,)
        Distance from the line and half of its 95 % interval, seconds; NaN where `on_line` is False.
    missed_after, missed_count : int array (gaps,)
        Records after which triggers are missed, and how many.
    record_axis, position_axis, residual_axis : Axis
    """

    title: str
    note: str
    channel: str
    record: Ints
    position: Floats
    half_width: Floats
    polarity: Ints
    on_line: Bools
    line_record: Floats
    line_position: Floats
    residual: Floats
    residual_half_width: Floats
    missed_after: Ints
    missed_count: Ints
    record_axis: Axis
    position_axis: Axis
    residual_axis: Axis


def positions_figure(findings: Findings) -> PositionsFigure | NotDrawn:
    """Return positions over records with the fitted line and the residuals, or why they cannot be drawn.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    PositionsFigure or NotDrawn
    """
    sequence, pulses = findings.sequence, findings.pulses
    if sequence.channel is None:
        return NotDrawn("No positions: no channel tells the sequence.")
    name = findings.channel_name(sequence.channel)
    records = findings.records[sequence.pulse[findings.records] >= 0]
    chosen = sequence.pulse[records]
    records, chosen = _finite(records, chosen, pulses.walk_time_of(chosen))
    if len(records) == 0:
        return NotDrawn(f"No positions: no pulse on {name} has one.")
    position = pulses.walk_time_of(chosen)
    # counted from a pulse of the same record, positions do not depend on when the trigger was
    untimed = pulses.trigger_u[chosen] if pulses.reference is None else np.zeros(len(chosen))
    residual, residual_u = sequence.residual[records], sequence.residual_u[records]
    line_record, line_position = _line_of(sequence, records, position)
    missed = [(gap.after_record, gap.count) for gap in sequence.missed]
    origin = "the trigger" if pulses.reference is None else "the reference pulse"
    return PositionsFigure(
        title=_positions_title(findings, name),
        note=f"{pulses.position} of the pulse on {name}, from {origin}; bars are 95 % intervals",
        channel=name,
        record=records,
        position=position,
        half_width=half_width_95(pulses.walk_u_of(chosen), untimed),
        polarity=pulses.polarity[chosen],
        on_line=np.isfinite(residual),
        line_record=line_record,
        line_position=line_position,
        residual=residual,
        residual_half_width=half_width_95(residual_u, untimed),
        missed_after=np.array([after for after, _ in missed], dtype=np.int64),
        missed_count=np.array([count for _, count in missed], dtype=np.int64),
        record_axis=Axis("Record"),
        position_axis=time_axis(f"Position from {origin}", position),
        residual_axis=time_axis("Distance from the line", residual),
    )


def _finite(records: Ints, chosen: Ints, values: Floats) -> tuple[Ints, Ints]:
    """Return the records and pulses whose value is known."""
    known = np.isfinite(values)
    return records[known], chosen[known]


def _positions_title(findings: Findings, name: str) -> str:
    increment = findings.sequence.increment
    if increment is None:
        return f"Positions on {name}"
    return f"Positions on {name}: increment {increment}"


def _line_of(sequence: Sequence, records: Ints, position: Floats) -> tuple[Floats, Floats]:
    """Return the fitted line through the records on it: position less residual, broken where the walk starts over."""
    residual, stop = sequence.residual[records], sequence.stop[records]
    on = np.isfinite(residual)
    x, y = records[on].astype(np.float64), (position - residual)[on]
    # a pulse that stands still has residuals but no stops: only missed triggers break its line
    lost_before = np.array([gap.after_record for gap in sequence.missed], dtype=np.float64)
    lost = np.searchsorted(np.sort(lost_before), x)
    breaks = np.flatnonzero((np.diff(stop[on]) < 0) | (np.diff(lost) > 0)) + 1
    return np.insert(x, breaks, np.nan), np.insert(y, breaks, np.nan)


@dataclass(frozen=True)
class SkewFigure:
    """Each channel's skew against the reference with its 95 % interval, in the order of modules.

    Attributes
    ----------
    title, note : str
    channel, module : tuple of str
        Name and module of each entry.
    place : int array (entries,)
        The channel's number in the session.
    skew, low, high : array (entries,)
        Seconds: value and the ends of its 95 % interval. The reference stands at exactly 0.
    is_reference, excludes_zero : bool array (entries,)
    groups : tuple of (str, int, int)
        Module, first entry and one past its last entry.
    not_measured : tuple of str
        Channels that took part and have no skew.
    channel_axis, skew_axis : Axis
    """

    title: str
    note: str
    channel: tuple[str, ...]
    module: tuple[str, ...]
    place: Ints
    skew: Floats
    low: Floats
    high: Floats
    is_reference: Bools
    excludes_zero: Bools
    groups: tuple[tuple[str, int, int], ...]
    not_measured: tuple[str, ...]
    channel_axis: Axis
    skew_axis: Axis


def skew_figure(findings: Findings) -> SkewFigure | NotDrawn:
    """Return skew by channel, grouped by module, or why it cannot be drawn.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    SkewFigure or NotDrawn
    """
    alignment, about = findings.alignment, findings.session
    measured = [(entry.channel, entry.skew) for entry in alignment.channels if entry.skew is not None]
    if alignment.reference is None or len(measured) < 2:
        return NotDrawn(reason_of(findings, "No alignment", "No skews: fewer than two channels carry the same event."))
    order = {module: number for number, module in enumerate(about.modules)}
    measured.sort(key=lambda entry: (order[about.channels[entry[0]][1]], entry[0]))
    modules = tuple(about.channels[channel][1] for channel, _ in measured)
    ends = np.array([skew.interval95 for _, skew in measured])
    reference = about.channels[alignment.reference][0]
    is_reference = np.array([channel == alignment.reference for channel, _ in measured])
    method = "the phase of one sine" if alignment.method == "sine" else "correlation"
    period = "" if alignment.frequency is None else _modulo(alignment.frequency.value)
    return SkewFigure(
        title=f"Skew against {reference}",
        note=f"by {method}; positive is later; bars are 95 % intervals{period}",
        channel=tuple(about.channels[channel][0] for channel, _ in measured),
        module=modules,
        place=np.array([channel for channel, _ in measured], dtype=np.int64),
        skew=np.array([skew.value for _, skew in measured]),
        low=ends[:, 0],
        high=ends[:, 1],
        is_reference=is_reference,
        excludes_zero=~is_reference & ((ends[:, 0] > 0) | (ends[:, 1] < 0)),
        groups=_runs(modules),
        not_measured=tuple(about.channels[e.channel][0] for e in alignment.channels if e.skew is None),
        channel_axis=Axis("Channel, by module"),
        skew_axis=time_axis(f"Skew against {reference}", ends),
    )


def _modulo(frequency: float) -> str:
    return f"; known only up to whole periods of {engineering(1 / frequency, 's')}"


def _runs(words: tuple[str, ...]) -> tuple[tuple[str, int, int], ...]:
    """Return each run of equal words with where it begins and where it has ended."""
    starts = [i for i in range(len(words)) if i == 0 or words[i] != words[i - 1]]
    return tuple((words[a], a, b) for a, b in zip(starts, [*starts[1:], len(words)], strict=True))


@dataclass(frozen=True)
class JitterFigure:
    """How often each distance from the line occurs, beside the distribution it was found to have.

    Attributes
    ----------
    title, note : str
    edges, counts : array (bins + 1,), int array (bins,)
        Bin edges, seconds; records in each bin.
    curve_time, curve_count : array
        Records expected in a bin of this width: normal, or uniform over one sample interval where that is what the
        records show; seconds, records.
    curve_name : str
        What the curve is.
    records : int
        How many are counted.
    residual_axis, count_axis : Axis
    """

    title: str
    note: str
    edges: Floats
    counts: Ints
    curve_time: Floats
    curve_count: Floats
    curve_name: str
    records: int
    residual_axis: Axis
    count_axis: Axis


def jitter_figure(findings: Findings) -> JitterFigure | NotDrawn:
    """Return the histogram of the residuals with the expected curve, or why it cannot be drawn.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    JitterFigure or NotDrawn
        Bin width by Freedman and Diaconis' rule, kept between 5 and 60 bins.
    """
    jitter = findings.jitter
    residual = findings.sequence.residual[findings.records]
    residual = residual[np.isfinite(residual)]
    if jitter.std is None or jitter.measurement_std is None:
        return NotDrawn(
            reason_of(findings, "No jitter", "No jitter: too few records have a pulse in its expected place.")
        )
    seen = math.hypot(jitter.std.value, jitter.measurement_std)
    if float(np.ptp(residual)) == 0 or seen == 0:
        return NotDrawn("No histogram: every record's pulse stands exactly on the line.")
    bins = min(max(len(np.histogram_bin_edges(residual, "fd")) - 1, FEWEST_BINS), MOST_BINS)
    counts, edges = np.histogram(residual, bins)
    time, density, name = _expected(jitter.shape, seen, findings.session.sample_rate, edges, float(np.mean(residual)))
    return JitterFigure(
        title=f"Jitter: standard deviation {shown(jitter.std)}",
        note=f"{len(residual)} records, the measurement's own {engineering(jitter.measurement_std, 's', 3)} subtracted",
        edges=edges,
        counts=counts.astype(np.int64),
        curve_time=time,
        curve_count=density * len(residual) * float(edges[1] - edges[0]),
        curve_name=name,
        records=len(residual),
        residual_axis=time_axis("Distance from the line", edges),
        count_axis=Axis("Records"),
    )


def _expected(
    shape: str | None, seen: float, sample_rate: float, edges: Floats, middle: float
) -> tuple[Floats, Floats, str]:
    """Return times, the probability density there and its name; the normal one where nothing speaks for another."""
    if shape == "uniform":
        half = 0.5 / sample_rate
        low, high = min(float(edges[0]), middle - half), max(float(edges[-1]), middle + half)
        time = np.array([low, middle - half, middle - half, middle + half, middle + half, high])
        density = np.array([0.0, 0.0, sample_rate, sample_rate, 0.0, 0.0])
        return time, density, "uniform over one sample interval"
    reach = max(float(edges[-1]) - middle, middle - float(edges[0]), 3 * seen)
    time = middle + np.linspace(-reach, reach, CURVE_POINTS)
    density = np.exp(-(((time - middle) / seen) ** 2) / 2) / (seen * math.sqrt(2 * math.pi))
    return time, density, "normal, of the standard deviation seen"


@dataclass(frozen=True)
class TriggerGapsFigure:
    """The time from each record's trigger to the next one's, over the records.

    Attributes
    ----------
    title, note : str
    after_record : int array (gaps,)
        The record that the gap begins at.
    gap : array (gaps,)
        Seconds.
    periods : int array (gaps,)
        Whole trigger periods in it, 0 where there is no period.
    deviation : array (gaps,)
        Gap less its whole periods, seconds; NaN where there is no period.
    missed : int array (gaps,)
        Triggers that the sequence says are missing in it.
    period : float or None
        Seconds.
    whole_periods : array
        The whole multiples of the period that lie within the gaps seen, seconds; empty without a period.
    record_axis, gap_axis, deviation_axis : Axis
    """

    title: str
    note: str
    after_record: Ints
    gap: Floats
    periods: Ints
    deviation: Floats
    missed: Ints
    period: float | None
    whole_periods: Floats
    record_axis: Axis
    gap_axis: Axis
    deviation_axis: Axis


MOST_WHOLE_PERIODS = 12
"""More multiples than this would be a fence, not a help."""


def trigger_gaps_figure(findings: Findings) -> TriggerGapsFigure | NotDrawn:
    """Return the gaps between triggers, or why they cannot be drawn.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    TriggerGapsFigure or NotDrawn
    """
    timing = findings.timing
    missing = {lost.after_record: lost.count for lost in findings.sequence.missed}
    after, gap = _gaps_between_neighbours(findings, missing)
    if len(gap) == 0:
        alone = len(findings.records) < 2
        return NotDrawn(f"No trigger gaps: {'one record has none' if alone else 'the session has no trigger times'}.")
    period = findings.sequence.period if timing.trigger_period is None else timing.trigger_period.value
    periods = np.zeros(len(gap), dtype=np.int64)
    deviation: Floats = np.full(len(gap), np.nan)
    whole: Floats = np.zeros(0)
    if period is not None:
        periods = np.rint(gap / period).astype(np.int64)
        deviation = gap - periods.astype(np.float64) * period
        whole = period * np.arange(1.0, min(int(periods.max()), MOST_WHOLE_PERIODS) + 1)
    told = "no period" if timing.trigger_period is None else f"period {timing.trigger_period}"
    return TriggerGapsFigure(
        title=f"Gaps between triggers: {told}",
        note="from the trigger of each measured record to that of the next; not over records left out",
        after_record=after,
        gap=gap,
        periods=periods,
        deviation=deviation,
        missed=np.array([missing.get(int(record), 0) for record in after], dtype=np.int64),
        period=period,
        whole_periods=whole,
        record_axis=Axis("After record"),
        gap_axis=time_axis("Time to the next trigger", gap),
        deviation_axis=time_axis("Distance from whole periods", deviation),
    )


def _gaps_between_neighbours(findings: Findings, missing: Mapping[int, int]) -> tuple[Ints, Floats]:
    """Return the gaps that are known; those over records left out only where a trigger is missing in them too."""
    after, gap = findings.timing.gap_after, findings.timing.gap
    neighbours = np.diff(findings.records)[: len(gap)] == 1
    known = np.isfinite(gap) & (neighbours | np.isin(after, list(missing)))
    return after[known], gap[known]
