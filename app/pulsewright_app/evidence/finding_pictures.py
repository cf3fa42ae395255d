"""The figures of the findings: positions and residuals, skews, jitter, trigger gaps; drawn from `figures_data`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.drawing import (
    ACCENT,
    INK,
    MISSED,
    MOST_BARS,
    MUTED,
    RULE,
    SHAPES,
    Limits,
    axis_text,
    draw_limits,
    drawn,
    error_bars,
    in_reach,
    points,
    record_axis,
    short,
)
from pulsewright_app.evidence.sheet import Picture
from pulsewright_app.figures_axes import NotDrawn
from pulsewright_app.figures_data import (
    JitterFigure,
    PositionsFigure,
    SkewFigure,
    TriggerGapsFigure,
    jitter_figure,
    positions_figure,
    skew_figure,
    trigger_gaps_figure,
)
from pulsewright_app.wording import count, listed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_TICK_LETTERS = 110


def positions_picture(findings: Findings, number: int) -> Picture | None:
    """Return the pulse's place in each record with the fitted line, and what is left below it."""
    told = positions_figure(findings)
    if isinstance(told, NotDrawn):
        return None
    lost = f"; {count(int(told.missed_count.sum()), 'missed trigger')} marked" if len(told.missed_count) else ""
    caption = (
        f"{told.title}. Above, the {told.note}; filled where the polarity is positive, open where it is "
        f"negative{lost}. Below, the distance from the fitted line."
    )
    description = f"{count(len(told.record), 'point')} over the record number, with the fitted line and the residuals"
    svg = drawn(number, 92, lambda figure: _draw_positions(figure, told))
    return Picture(number, svg, caption, description)


def _draw_positions(figure: Figure, told: PositionsFigure) -> None:
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=(5, 4))
    y = told.position_axis.written(told.position)
    above.plot(told.line_record, told.position_axis.written(told.line_position), color=ACCENT, linewidth=0.7)
    residual, half = told.residual_axis.written(told.residual), told.residual_axis.written(told.residual_half_width)
    below.axhline(0, color=ACCENT, linewidth=0.7)
    if len(told.record) <= MOST_BARS:
        error_bars(below, told.record, residual, residual - half, residual + half, MUTED)
    size = 3.0 if len(told.record) <= MOST_BARS else 1.5
    for sign in (1, -1):
        same = told.polarity == sign
        for axes, values in ((above, y), (below, residual)):
            on = same & told.on_line
            points(axes, told.record[on], values[on], INK, filled=sign > 0, size=size)
        stray = same & ~told.on_line
        points(above, told.record[stray], y[stray], MISSED, shape="X", filled=sign > 0, size=4)
    _missed_lines((above, below), told)
    above.set_ylabel(axis_text(told.position_axis))
    below.set_ylabel(axis_text(told.residual_axis))
    record_axis(below, told.record_axis.text)


def _missed_lines(panels: tuple[Axes, ...], told: PositionsFigure) -> None:
    """Mark where triggers are missing, with their number at the top."""
    for after, missing in zip(told.missed_after.tolist(), told.missed_count.tolist(), strict=True):
        for axes in panels:
            axes.axvline(after + 0.5, color=MISSED, linewidth=0.7, linestyle=(0, (3, 2)))
        panels[0].annotate(
            f"{missing} missed", (after + 0.5, 1), xycoords=("data", "axes fraction"), xytext=(0, 2), ha="center",
            textcoords="offset points", va="bottom", fontsize=6, color=MISSED, annotation_clip=False,
        )  # fmt: skip


def skew_picture(findings: Findings, number: int, limits: Sequence[Limits] = ()) -> Picture | None:
    """Return each channel's skew with its 95 % interval, modules side by side, and the limits of claims about them."""
    told = skew_figure(findings)
    if isinstance(told, NotDrawn):
        return None
    caption = f"{told.title}, {told.note}. Each module has a shape of its own."
    caption += " In brackets: channels whose interval excludes 0." if told.excludes_zero.any() else ""
    caption += f" Not measured: {listed(told.not_measured)}." if told.not_measured else ""
    near = in_reach(limits, np.concatenate([told.low, told.high]))
    caption += " Dashed: the limits of claims." if near else ""
    description = (
        f"{count(len(told.channel), 'channel')} in {count(len(told.groups), 'module')}, each with an error bar"
    )
    return Picture(number, drawn(number, 66, lambda figure: _draw_skews(figure, told, near)), caption, description)


def _draw_skews(figure: Figure, told: SkewFigure, limits: Sequence[tuple[str, float]]) -> None:
    axes = figure.subplots()
    draw_limits(axes, told.skew_axis, limits)
    x = np.arange(len(told.channel), dtype=np.float64)
    for place, (_, first, _) in enumerate(told.groups):
        x[first:] += 0.8 if place else 0.0
    value, low, high = (told.skew_axis.written(v) for v in (told.skew, told.low, told.high))
    axes.axhline(0, color=MUTED, linewidth=0.5)
    for place, (module, first, stop) in enumerate(told.groups):
        part = slice(first, stop)
        error_bars(axes, x[part], value[part], low[part], high[part], INK, 0.8)
        points(axes, x[part], value[part], INK, shape=SHAPES[place % len(SHAPES)], size=4)
        axes.annotate(
            short(module), ((x[first] + x[stop - 1]) / 2, 1), xycoords=("data", "axes fraction"), xytext=(0, 3),
            textcoords="offset points", ha="center", fontsize=7, annotation_clip=False,
        )  # fmt: skip
        if place:
            axes.axvline((x[first] + x[first - 1]) / 2, color=RULE, linewidth=0.6)
    reference = told.is_reference
    points(axes, x[reference], value[reference], INK, shape="|", size=9)
    names = [
        f"[{short(name, 12)}]" if marked else short(name, 12)
        for name, marked in zip(told.channel, told.excludes_zero.tolist(), strict=True)
    ]
    crowded = sum(len(name) + 2 for name in names) > _MOST_TICK_LETTERS
    axes.set_xticks(x, names, rotation=90 if crowded else 0, fontsize=6 if len(names) <= 48 else 4)
    axes.set_xlabel(told.channel_axis.text)
    axes.set_ylabel(axis_text(told.skew_axis))
    axes.margins(x=0.03, y=0.08)


def jitter_picture(findings: Findings, number: int) -> Picture | None:
    """Return how often each distance from the line occurs, beside what was to be expected."""
    told = jitter_figure(findings)
    if isinstance(told, NotDrawn):
        return None
    caption = f"{told.title}, of {told.note}. The line: {told.curve_name}."
    description = f"a histogram of {count(len(told.counts), 'bin')} with a curve"
    return Picture(number, drawn(number, 58, lambda figure: _draw_jitter(figure, told)), caption, description)


def _draw_jitter(figure: Figure, told: JitterFigure) -> None:
    axes = figure.subplots()
    edges = told.residual_axis.written(told.edges)
    axes.stairs(told.counts, edges, fill=True, color=RULE, edgecolor=INK, linewidth=0.6)
    axes.plot(told.residual_axis.written(told.curve_time), told.curve_count, color=ACCENT, linewidth=1.0)
    axes.set_xlabel(axis_text(told.residual_axis))
    axes.set_ylabel(told.count_axis.text)
    axes.set_ylim(bottom=0)


def trigger_gaps_picture(findings: Findings, number: int) -> Picture | None:
    """Return the time from each trigger to the next, in periods, and how far it is from whole ones."""
    told = trigger_gaps_figure(findings)
    if isinstance(told, NotDrawn):
        return None
    lost = int(told.missed.sum())
    caption = f"{told.title}; {told.note}."
    caption += (
        f" Triangles: gaps in which {count(lost, 'trigger')} went missing." if lost else " No trigger is missing."
    )
    caption += " Records that were left out lie in the other long gaps." if findings.settings.left_out else ""
    caption += " Below, what is left when whole periods are taken off." if told.period is not None else ""
    description = f"{count(len(told.gap), 'gap')} over the record number"
    svg = drawn(number, 92 if told.period is not None else 50, lambda figure: _draw_gaps(figure, told))
    return Picture(number, svg, caption, description)


def _draw_gaps(figure: Figure, told: TriggerGapsFigure) -> None:
    panels = figure.subplots(2, 1, sharex=True, squeeze=False) if told.period else None
    above = panels[0, 0] if panels is not None else figure.subplots()
    size = 3.0 if len(told.gap) <= MOST_BARS else 1.5
    for whole in told.gap_axis.written(told.whole_periods):
        above.axhline(whole, color=RULE, linewidth=0.6)
    gap, lost = told.gap_axis.written(told.gap), told.missed > 0
    points(above, told.after_record[~lost], gap[~lost], INK, size=size)
    points(above, told.after_record[lost], gap[lost], MISSED, shape="^", size=5)
    for after, value, missing in zip(told.after_record[lost], gap[lost], told.missed[lost], strict=True):
        above.annotate(
            f"{missing} missed after {after}", (after, value), xytext=(5, -1), textcoords="offset points", va="center",
            fontsize=6, color=MISSED,
        )  # fmt: skip
    above.set_ylabel(told.gap_axis.text)
    above.set_ylim(0, 1.15 * float(gap.max()))
    if panels is None:
        record_axis(above, told.record_axis.text)
        return
    below = panels[1, 0]
    below.axhline(0, color=MUTED, linewidth=0.5)
    points(below, told.after_record, told.deviation_axis.written(told.deviation), INK, size=size)
    below.set_ylabel(told.deviation_axis.text)
    record_axis(below, told.record_axis.text)
