"""The figures drawn from the samples: Afterglow, Map, Single and Stacked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pulsewright.quantity import engineering
from pulsewright.session import Floats, Session
from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.accumulating import Window
from pulsewright_app.evidence.dimensions import Dimensions, draw_levels, draw_pairs, height_of_pairs
from pulsewright_app.evidence.drawing import INK, MARKER, MISSED, MUTED, RULE, short
from pulsewright_app.figures_axes import Axis, time_axis
from pulsewright_app.glow import GlowPicture
from pulsewright_app.glow_ink import inked
from pulsewright_app.map_rows import MapRows, coloured
from pulsewright_app.stacked_run import SPACING
from pulsewright_app.theme import LIGHT

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

NO_DIMENSIONS = Dimensions()

_MOST_POINTS = 3000
"""A trace of more samples is drawn by the least and greatest of each stretch: paper shows no more."""
_MOST_ROW_LABELS = 25
_LANE_POINTS = 5.5
"""Of the values beside a lane."""
_DASHES = ("-", (0, (4, 1.5)), (0, (1, 1)), (0, (5, 1.5, 1, 1.5)))
"""What tells traces on one axis apart without colour."""
POSITIVE_INK, NEGATIVE_INK = "#7c2d0a", "#63a0d4"
"""Dark and light, so that the two signs stay apart without colour."""
_PAPER = replace(LIGHT, plot="#ffffff", positive=POSITIVE_INK, negative=NEGATIVE_INK)


def value_axis(label: str, unit: str, window: Window) -> Axis:
    """Return an axis in the channel's unit with the prefix that suits the window."""
    largest = max(abs(window[0]), abs(window[1]))
    if unit != "V" or largest == 0:
        return Axis(label, unit)
    exponent = min(max(3 * int(np.floor(np.log10(largest) / 3)), -9), 3)
    prefix = {-9: "n", -6: "µ", -3: "m", 0: "", 3: "k"}[exponent]
    return Axis(label, f"{prefix}{unit}", 10.0**-exponent)


def draw_glow(
    figure: Figure,
    glow: GlowPicture,
    unit: str,
    shown: Dimensions = NO_DIMENSIONS,
    *,
    channel: str = "",
    logarithmic: bool = True,
    about: str = "",
) -> None:
    """Draw counts as ink: one ink by count, or three by polarity; `about` says what aligns the records.

    Parameters
    ----------
    shown : Dimensions, optional
        Marker pairs and level pairs that are drawn with it; the levels are those of `channel`.
    """
    axes = figure.subplots()
    raster = glow.raster
    window, values = (raster.time_low, raster.time_high), (raster.value_low, raster.value_high)
    since = f"Time from the trigger, {about} aligned" if about else "Time from the trigger"
    time, value = time_axis(since, np.array(window)), value_axis("Value", unit, values)
    inks = (LIGHT.one_ink,) if len(glow.counts) == 1 else (POSITIVE_INK, NEGATIVE_INK, MUTED)
    extent = (*time.written(np.array(window)), *value.written(np.array(values)))
    axes.imshow(inked(glow, inks, logarithmic), extent=extent, aspect="auto", interpolation="none", origin="upper")
    axes.set_xlabel(time.text)
    axes.set_ylabel(value.text)
    draw_levels(axes, shown.levels, channel, value.factor)
    draw_pairs(axes, shown.pairs, time)


def draw_map(axes: Axes, rows: MapRows, unit: str, findings: Findings) -> None:
    """Draw each record as a row, with open rows where triggers are missing, and a line where a module slips."""
    time = time_axis("Time from the trigger", np.array(rows.window))
    gaps = [(gap.after_record, gap.count) for gap in findings.sequence.missed]
    open_before = np.zeros(len(rows.numbers), dtype=np.int64)
    for after, missing in gaps:
        open_before[rows.numbers > after] += min(missing, 3)
    place = np.arange(len(rows.numbers)) + open_before
    total = int(place[-1]) + 1 if len(place) else 1
    image = coloured(rows, place, total, total, None, _PAPER)
    start, end = time.written(np.array(rows.window))
    axes.imshow(image, extent=(start, end, total - 0.5, -0.5), aspect="auto", interpolation="none")
    taken = np.zeros(total, dtype=bool)
    taken[place] = True
    for row in np.flatnonzero(~taken).tolist():
        axes.axhspan(row - 0.5, row + 0.5, facecolor="none", edgecolor=MISSED, linewidth=0.6, hatch="////")
    for slip in findings.sequence.slips:
        row = int(np.searchsorted(rows.numbers, slip.from_record))
        if 0 < row < len(place):
            axes.axhline(place[row] - 0.5, color=MARKER, linewidth=0.8, linestyle=(0, (4, 2)))
    step = max(1, -(-len(place) // 11))
    shown = np.arange(0, len(place), step)
    axes.set_yticks(place[shown], [str(int(rows.numbers[i])) for i in shown])
    axes.set_xlabel(time.text)
    axes.set_ylabel("Record")
    _scale(axes, rows, unit)


def _scale(axes: Axes, rows: MapRows, unit: str) -> None:
    """Say beside the map which ink stands for which value."""
    ends = ((POSITIVE_INK, rows.base + rows.largest), (NEGATIVE_INK, rows.base - rows.largest))
    for place, (ink, value) in enumerate(ends):
        axes.annotate(
            f"■ {engineering(value, unit, 3)}", (1.0, 1.0), xycoords="axes fraction", xytext=(-70.0 * place, 3),
            textcoords="offset points", ha="right", va="bottom", color=ink, fontsize=7, annotation_clip=False,
        )  # fmt: skip


def draw_single(
    figure: Figure,
    session: Session,
    record: int,
    channels: Sequence[int],
    window: Window | None = None,
    shown: Dimensions = NO_DIMENSIONS,
    *,
    lanes: bool = True,
    values: Window | None = None,
    beneath: Sequence[tuple[Floats, Floats]] = (),
) -> None:
    """Draw one record: its channels in lanes, or on one axis; with what lies beneath each, and with markers."""
    panels = figure.subplots(len(channels) if lanes else 1, 1, sharex=True, squeeze=False)[:, 0]
    window = window or _window_of(session, [record], channels)
    time = time_axis("Time from the trigger", np.array(window))
    lines = []
    for place, channel in enumerate(channels):
        axes = panels[place if lanes else 0]
        about = session.channels[channel]
        trace = session.values(record, record + 1, [channel])[0, 0]
        if place < len(beneath):
            _trace(axes, time, *beneath[place], window, RULE, 1.8)
        colour, dashes = (INK, "-") if lanes else (LIGHT.channel(channel), _DASHES[place % len(_DASHES)])
        lines.append(_trace(axes, time, session.times(record, channel), trace, window, colour, 0.6, dashes))
        axes.axvline(0, color=MUTED, linewidth=0.5, linestyle=(0, (2, 2)))
        axes.set_xlim(*time.written(np.array(window)))
        if values is not None and (not lanes or len(channels) == 1):
            axes.set_ylim(*values)
        if lanes and len(channels) > 1:
            axes.set_ylabel(short(about.name), rotation=0, ha="right", va="center")
            _scale_of_lane(axes, about.unit)
        else:
            axes.set_ylabel(f"{short(about.name)} / {about.unit}" if len(channels) == 1 else f"Value / {about.unit}")
    if not lanes and len(channels) > 1:
        names = [short(session.channels[channel].name) for channel in channels]
        panels[0].legend(
            lines, names, ncols=6, loc="lower center", bbox_to_anchor=(0.5, 1.0 + height_of_pairs(shown.pairs))
        )
    for place, channel in enumerate(channels):
        axes = panels[place if lanes else 0]
        draw_levels(axes, shown.levels, session.channels[channel].name, whole=values is None)
    panels[-1].set_xlabel(time.text)
    draw_pairs(panels[0], shown.pairs, time)


def _scale_of_lane(axes: Axes, unit: str) -> None:
    """Write a few round values with their unit at the right of a lane, clear of the lanes above and below."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator

    axes.yaxis.tick_right()
    axes.yaxis.set_major_locator(MaxNLocator(nbins=3, steps=[1, 2, 5, 10], prune="both"))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: engineering(float(value), unit, 3)))
    axes.tick_params(axis="y", labelsize=_LANE_POINTS, length=2, pad=1.5)


def _window_of(session: Session, records: Sequence[int], channels: Sequence[int]) -> Window:
    """Return the stretch of time that some records cover on some channels; a single sample has its own interval."""
    starts = np.array([session.first_sample_time(channel)[list(records)] for channel in channels])
    length = max(session.record_length - 1, 1) * session.sample_interval
    return float(starts.min()), float(starts.max()) + length


def draw_stacked(
    figure: Figure,
    session: Session,
    records: Sequence[int],
    current: int,
    channel: int,
    window: Window | None = None,
    spacing: float = SPACING,
) -> None:
    """Draw neighbouring records of one channel offset upward, the current one strong.

    Rows are `spacing` of the highest trace apart, and as many of them carry their number as find room.
    """
    axes = figure.subplots()
    window = window or _window_of(session, records, [channel])
    time = time_axis("Time from the trigger", np.array(window))
    traces = {record: session.values(record, record + 1, [channel])[0, 0] for record in records}
    height = max((float(np.nanmax(t) - np.nanmin(t)) for t in traces.values()), default=1.0) or 1.0
    for place, record in enumerate(records):
        strong = record == current
        trace = (traces[record] - float(np.nanmedian(traces[record]))) / (height * spacing) + place
        _trace(
            axes, time, session.times(record, channel), trace, window, INK if strong else MUTED, 0.9 if strong else 0.4
        )
    step = -(-len(records) // _MOST_ROW_LABELS)
    labelled = range(0, len(records), step)
    axes.set_yticks(labelled, [str(records[place]) for place in labelled])
    axes.set_xlim(*time.written(np.array(window)))
    axes.set_ylabel("Record")
    axes.set_xlabel(time.text)


def _trace(
    axes: Axes,
    time: Axis,
    at: Floats,
    values: Floats,
    window: Window,
    colour: str,
    width: float,
    dashes: Any = "-",
) -> Line2D:
    """Draw a trace inside a window; a long one by the least and the greatest of each stretch."""
    inside = (at >= window[0]) & (at <= window[1])
    at, values = at[inside], values[inside]
    if len(at) > _MOST_POINTS:
        step = -(-len(at) // (_MOST_POINTS // 2))
        whole = len(at) // step * step
        blocks = values[:whole].reshape(-1, step)
        values = np.column_stack([blocks.min(axis=1), blocks.max(axis=1)]).ravel()
        at = np.repeat(at[:whole].reshape(-1, step).mean(axis=1), 2)
    (line,) = axes.plot(time.written(at), values, color=colour, linewidth=width, linestyle=dashes)
    return line
