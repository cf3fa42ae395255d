"""Lines drawn over the Afterglow picture: the mean with one standard deviation to each side, and the current record."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from pulsewright_analysis.mean_trace import Mean
from pulsewright_analysis.overlay import Raster, line_envelope
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.theme import Theme

Floats = NDArray[np.float64]


def draw_mean(painter: QPainter, canvas: Canvas, theme: Theme, mean: Mean) -> None:
    """Draw the mean as a strong line, and one standard deviation above and below it as thin ones."""
    sides = (mean.value + mean.deviation, mean.value - mean.deviation)
    for side, values in enumerate(sides):  # of a column's many values the outer one
        x, ends = _columns(canvas, values, mean.first_time, mean.interval)
        line = _polygon(x, canvas.y_of(ends[:, 1 - side]))
        _stroke(painter, line, theme.plot, 2.6)
        _stroke(painter, line, theme.ink, 1.0)
    line = outline(canvas, mean.value, mean.first_time, mean.interval)
    _stroke(painter, line, theme.plot, 4.0)
    _stroke(painter, line, theme.ink, 1.8)


def draw_current(
    painter: QPainter, canvas: Canvas, theme: Theme, values: NDArray[Any], start: float, interval: float
) -> None:
    """Draw one record's trace so that it stands out from the others."""
    line = outline(canvas, values, start, interval)
    _stroke(painter, line, theme.plot, 3.0)
    _stroke(painter, line, theme.ink, 1.1)


def outline(canvas: Canvas, values: NDArray[Any], start: float, interval: float) -> QPolygonF:
    """Return a trace in pixels: in each column from its least to its greatest value.

    Parameters
    ----------
    canvas : Canvas
    values : array (samples,)
        In the channel's unit; NaN where there is none, at the ends only.
    start, interval : float
        Time of sample 0, and from sample to sample, seconds.
    """
    x, ends = _columns(canvas, values, start, interval)
    # from the side where the last column ended, so that a line does not run back and forth
    ends[1::2] = ends[1::2, ::-1]
    return _polygon(np.repeat(x, 2), canvas.y_of(ends.reshape(-1)))


def _columns(canvas: Canvas, values: NDArray[Any], start: float, interval: float) -> tuple[Floats, Floats]:
    """Return the pixel columns that a trace reaches, (columns,), and its least and greatest there, (columns, 2)."""
    known = np.flatnonzero(np.isfinite(values))
    if not len(known):
        return np.zeros(0), np.zeros((0, 2))
    first, window = int(known[0]), canvas.windows()[0]
    width = max(round(canvas.plot_rect().width()), 1)
    raster = Raster(width, 1, *window, 0.0, 1.0)
    low, high = line_envelope(values[first : int(known[-1]) + 1], start + first * interval, interval, raster)
    columns = np.flatnonzero(np.isfinite(low))
    x: Floats = canvas.x_of(window[0] + (columns + 0.5) * raster.column_time)
    return x, np.stack([low[columns], high[columns]], axis=1)


def _polygon(x: Floats, y: Floats) -> QPolygonF:
    return QPolygonF([QPointF(a, b) for a, b in zip(x, y, strict=True)])


def _stroke(painter: QPainter, line: QPolygonF, colour: str, width: float) -> None:
    pen = QPen(QColor(colour), width)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(pen)
    painter.drawPolyline(line)
