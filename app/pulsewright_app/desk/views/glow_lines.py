"""Lines drawn over the Afterglow picture: the mean with one standard deviation to each side, and the current record.

They are filled column by column, as the picture is: stroking a line of many columns with a wide smooth pen takes longer
than the desk may stand still.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainter

from pulsewright_analysis.line_envelope import line_envelope
from pulsewright_analysis.mean_trace import Mean
from pulsewright_analysis.overlay import Raster
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.theme import Theme

Floats = NDArray[np.float64]
Columns = tuple[Floats, Floats, Floats]
"""Where a line lies: pixel columns, and its upper and its lower end in each; arrays (columns,)."""

_HALO = 1.5
"""Pixels of the page's colour around a line, so that it can be told from the ink below."""


def draw_mean(painter: QPainter, canvas: Canvas, theme: Theme, mean: Mean) -> list[Columns]:
    """Draw the mean as a strong line, and one standard deviation above and below it as thin, paler ones.

    Returns where they lie.
    """
    drawn = []
    for above, values in ((True, mean.value + mean.deviation), (False, mean.value - mean.deviation)):
        x, top, bottom = _columns(canvas, values, mean.first_time, mean.interval)
        outer = top if above else bottom  # of a column's many values the outer one
        beside = np.append(outer[1:], outer[-1:])
        drawn.append((x, np.minimum(outer, beside), np.maximum(outer, beside)))
        _fill(painter, canvas, (theme.plot, theme.muted), drawn[-1], 1.0)
    drawn.append(_columns(canvas, mean.value, mean.first_time, mean.interval))
    _fill(painter, canvas, (theme.plot, theme.ink), drawn[-1], 2.0)
    return drawn


def draw_current(
    painter: QPainter, canvas: Canvas, theme: Theme, values: NDArray[Any], start: float, interval: float
) -> Columns:
    """Draw one record's trace so that it stands out from the others, and return where it lies.

    Parameters
    ----------
    painter, canvas, theme
    values : array (samples,)
        In the channel's unit.
    start, interval : float
        Time of sample 0, and from sample to sample, seconds.
    """
    drawn = _columns(canvas, values, start, interval)
    _fill(painter, canvas, (theme.plot, theme.ink), drawn, 1.0)
    return drawn


def lines_key(theme: Theme, with_mean: bool, record: int | None) -> list[str]:
    """Return which line is which, as rich text.

    Parameters
    ----------
    theme : Theme
    with_mean : bool
        Whether the mean is drawn, with one standard deviation to each side.
    record : int or None
        The record whose trace is drawn over the others, if one is.
    """
    lines = [(theme.ink, "<b>━━</b>", "mean"), (theme.muted, "──", "mean ± s")] if with_mean else []
    lines += [] if record is None else [(theme.ink, "──", f"record {record}")]
    return [f"<span style='color:{colour}'>{line}</span>&nbsp;{word}" for colour, line, word in lines]


def _columns(canvas: Canvas, values: NDArray[Any], start: float, interval: float) -> Columns:
    """Return the pixel columns that a trace reaches, and where it is highest and lowest there; in pixels, (columns,).

    Values may be NaN at the ends.
    """
    known = np.flatnonzero(np.isfinite(values))
    if not len(known):
        return np.zeros(0), np.zeros(0), np.zeros(0)
    first, window = int(known[0]), canvas.windows()[0]
    width = max(round(canvas.plot_rect().width() * canvas.devicePixelRatioF()), 1)
    raster = Raster(width, 1, *window, 0.0, 1.0)
    low, high = line_envelope(values[first : int(known[-1]) + 1], start + first * interval, interval, raster)
    columns = np.flatnonzero(np.isfinite(low))
    x: Floats = canvas.x_of(window[0] + columns * raster.column_time)
    return x, canvas.y_of(high[columns]), canvas.y_of(low[columns])


def _fill(painter: QPainter, canvas: Canvas, colours: tuple[str, str], line: Columns, thickness: float) -> None:
    """Fill each column from its top to its bottom, at least so thick, with a halo below; colours of halo and line."""
    x, top, bottom = line
    column = 1.0 / canvas.devicePixelRatioF()
    half = np.full(len(x), thickness / 2)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.setPen(Qt.PenStyle.NoPen)
    # a thin line has a narrow halo, so that it does not hide what it is drawn over
    for colour, wider in zip(colours, (_HALO if thickness > 1.0 else _HALO / 2, 0.0), strict=True):
        painter.setBrush(QColor(colour))
        # a strong line is wider along time too, where it rises steeply
        side = wider + (thickness - 1.0) / 2
        lefts, tops = x - side, top - half - wider
        heights = bottom - top + 2 * (half + wider)
        painter.drawRects(
            [
                QRectF(left, y, column + 2 * side, height)
                for left, y, height in zip(lefts.tolist(), tops.tolist(), heights.tolist(), strict=True)
            ]
        )
