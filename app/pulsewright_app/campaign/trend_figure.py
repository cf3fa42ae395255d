"""Draws one claim over the sessions of a campaign: values with their intervals and limits, or verdicts alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pulsewright_app.campaign.trends import Trend
from pulsewright_app.evidence.drawing import (
    MOST_BARS,
    MUTED,
    Limits,
    axis_text,
    draw_limits,
    drawn,
    error_bars,
    in_reach,
    points,
    record_axis,
)
from pulsewright_app.figures_axes import scaled_axis
from pulsewright_app.theme import LIGHT, Verdict
from pulsewright_app.wording import count

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HEIGHT_MM, LOW_MM = 52.0, 24.0
"""Of a figure of values, and of one of verdicts alone."""
MARKS: dict[Verdict, str] = {"holds": "o", "undecided": "D", "fails": "^"}
"""Matplotlib's names for the shapes of `VERDICT_SHAPES`; what comes later lies on top."""
_SIGNS = "Filled round: holds, filled triangle: fails, open diamond: undecided."


@dataclass(frozen=True)
class TrendFigure:
    """A figure as an SVG element, and what is said beneath it."""

    svg: str
    caption: str


def figure_of(trend: Trend, number: int, sessions: int) -> TrendFigure:
    """Return the figure of a claim.

    Parameters
    ----------
    trend : Trend
    number : int
        Of the figure on the page, from 1.
    sessions : int
        Of the page: every figure has the same axis.
    """
    if not trend.measured:
        return TrendFigure(drawn(number, LOW_MM, lambda figure: _draw_verdicts(figure, trend, sessions)), _SIGNS)
    ends = np.array([end for point in trend.measured for end in (point.low, point.high)], float)
    near = [end for _, end in in_reach([Limits(number, trend.limit_low, trend.limit_high)], ends)]
    svg = drawn(number, HEIGHT_MM, lambda figure: _draw_values(figure, trend, sessions, near))
    told = [_of_intervals(trend), _of_limits(trend, len(near)), _SIGNS]
    without = sessions - len(trend.measured)
    told += [f"A cross at the foot: one of {count(without, 'session')} with no value."] if without else []
    return TrendFigure(svg, " ".join(filter(None, told)))


def _of_intervals(trend: Trend) -> str:
    band = len(trend.measured) > MOST_BARS
    return "Value in each session, the 95 % intervals as a band." if band else "Value in each session, 95 % interval."


def _of_limits(trend: Trend, near: int) -> str:
    known = sum(end is not None for end in (trend.limit_low, trend.limit_high))
    if near == known:
        return {0: "", 1: "Dashed: the limit."}.get(near, "Dashed: the limits.")
    if near:
        return "Dashed: one limit; the other lies too far away to be drawn."
    return f"The limit{'s lie' if known > 1 else ' lies'} too far away to be drawn."


def _draw_values(figure: Figure, trend: Trend, sessions: int, limits: Sequence[float]) -> None:
    measured, axes = trend.measured, figure.subplots()
    values, low, high = (np.array([getattr(p, name) for p in measured], float) for name in ("value", "low", "high"))
    x = np.array([p.row.number for p in measured], float)
    axis = scaled_axis("Seen", trend.unit, np.concatenate((low, high)))
    if len(x) <= MOST_BARS:
        error_bars(axes, x, values * axis.factor, low * axis.factor, high * axis.factor, LIGHT.muted)
    else:
        axes.fill_between(x, low * axis.factor, high * axis.factor, color=LIGHT.rule, linewidth=0)
    _mark(axes, x, values * axis.factor, [p.verdict for p in measured])
    draw_limits(axes, axis, [("limit", end) for end in limits])
    without = np.setdiff1d(np.arange(1, sessions + 1), x)
    axes.plot(
        without, np.full(len(without), 0.04), transform=axes.get_xaxis_transform(), linestyle="none", marker="x",
        markersize=3, markeredgewidth=0.6, color=MUTED,
    )  # fmt: skip
    _count_sessions(axes, sessions)
    axes.set_ylabel(axis_text(axis))


def _draw_verdicts(figure: Figure, trend: Trend, sessions: int) -> None:
    axes, words = figure.subplots(), list(MARKS)
    verdicts = [p.verdict for p in trend.points]
    x = np.array([p.row.number for p in trend.points], float)
    _mark(axes, x, np.array([words.index(verdict) for verdict in verdicts], float), verdicts)
    axes.set_yticks(range(len(words)), words)
    axes.set_ylim(len(words) - 0.5, -0.5)
    _count_sessions(axes, sessions)


def _mark(axes: Axes, x: np.ndarray, y: np.ndarray, verdicts: Sequence[Verdict]) -> None:
    size = 4.0 if len(x) <= 100 else 3.0 if len(x) <= MOST_BARS else 2.0
    for verdict, mark in MARKS.items():
        chosen = np.array([own == verdict for own in verdicts])
        points(
            axes, x[chosen], y[chosen], LIGHT.verdict(verdict), shape=mark, filled=verdict != "undecided", size=size
        )  # fmt: skip


def _count_sessions(axes: Axes, sessions: int) -> None:
    """Let the axis show every session of the page, from 1."""
    record_axis(axes, "Session, by number")
    room = max(0.5, 0.01 * sessions)
    axes.set_xlim(1 - room, sessions + room)
    ticks = {int(tick) for tick in axes.get_xticks() if 1 <= tick <= sessions}
    axes.set_xticks(sorted(ticks | {1}))
