"""Draws the traces of a view as one picture in the canvas, and as lines where a drawing is wanted instead."""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPaintEngine, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from pulsewright_app.desk.views import ink
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.columns import reduce_trace
from pulsewright_app.theme import components, mixed

DOT_SPACING = 6.0
"""Pixels between samples from which on they are drawn as dots."""

_PEN = 1.8
"""Pixels. Where it lies between two rows of them, each is covered so far that the palest channel stands out 3 : 1."""
_THIN = 0.75
_DOT, _LESSER_DOT = 2.5, 2.0
_UNSLICED = 4.0
_BUDGET = 0.03
"""Seconds of one painting for traces that NumPy draws; what is left is drawn in the next."""
_PALE = 0.45
_BETWEEN = 0.55
"""Share of the page in pale traces, and in the line between dots."""


@dataclass(frozen=True, eq=False)
class Trace:
    """One line of the plot: sample i lies at ``start + i·interval`` and ``base + sample·gain``.

    Attributes
    ----------
    samples : array (samples,)
        As stored, or in any unit; not copied.
    start, interval : float
        Time of sample 0, and between samples; seconds.
    base, gain : float
        Height of a sample of 0, and heights for each unit of the samples.
    colour : str
        ``#rrggbb``.
    strong : bool
        Whether it is drawn as the current one; the others are paler.
    """

    samples: NDArray[Any]
    start: float
    interval: float
    base: float
    gain: float
    colour: str
    strong: bool = True


class TraceLayer:
    """All traces of a view: drawn into one picture when they or the window change, and laid on the canvas.

    A drawing without pixels, such as SVG, gets lines instead.
    """

    def __init__(self) -> None:
        self._traces: tuple[Trace, ...] = ()
        self._pixels = np.zeros((1, 1), np.uint32)
        self._picture = QImage()
        self._drawn: tuple[Any, ...] = ()
        """What the picture was drawn from."""
        self._at = (QPointF(), 1.0)
        """Where the picture's corner lies on the canvas, and its density."""
        self._left: deque[Trace] = deque()
        """Those of its traces that are not in it yet."""

    def show(self, traces: Sequence[Trace]) -> None:
        """Draw these traces from now on, the last one on top."""
        self._traces = tuple(traces)

    def paint(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw all traces; a layer of the canvas."""
        if not self._traces:
            return
        if painter.paintEngine().type() != QPaintEngine.Type.Raster:
            self._paint_lines(painter, canvas)
            return
        # the picture's pixels must be the screen's, or they would be smeared over two
        transform = painter.deviceTransform()
        device = transform.mapRect(canvas.plot_rect()).toAlignedRect()
        density = transform.m11()
        corner = transform.inverted()[0].map(QPointF(device.topLeft()))
        wanted = (
            self._traces,
            canvas.windows(),
            canvas.plot_rect(),
            corner,
            density,
            canvas.theme.name,
            ink.is_loaded(),
        )
        if wanted != self._drawn:
            self._clear(device.width(), device.height(), density)
            self._left = deque(self._traces)
            self._drawn = wanted
        self._at = (corner, density)
        # a picture that is taken away must be whole; one on the screen may be drawn on in the next idle moment
        self._draw(canvas, corner, density, _BUDGET if isinstance(painter.device(), QWidget) else math.inf)
        painter.drawImage(corner, self._picture)
        if self._left:
            canvas.paint_on()

    def share_of(self, box: QRectF) -> float:
        """Return in how much of a box's width there are traces, 0 … 1, by the picture as it was last painted."""
        corner, density = self._at
        left, right = (max(round((x - corner.x()) * density), 0) for x in (box.left(), box.right()))
        top, bottom = (max(round((y - corner.y()) * density), 0) for y in (box.top(), box.bottom()))
        inside = self._pixels[top:bottom, left:right]
        return float(inside.any(axis=0).mean()) if inside.size else 0.0

    def _clear(self, width: int, height: int, density: float) -> None:
        if self._pixels.shape != (height, width):
            self._pixels = np.zeros((height, width), np.uint32)
            self._picture = QImage(
                self._pixels.data, width, height, 4 * width, QImage.Format.Format_ARGB32_Premultiplied
            )
            self._picture.setDevicePixelRatio(density)
        else:
            self._pixels.fill(0)

    def _draw(self, canvas: Canvas, corner: QPointF, density: float, budget: float) -> None:
        """Draw the traces that are left: all of them, or, without compiled code, for so many seconds."""
        pixel_time, pixel_height = canvas.pixel_time, canvas.pixel_height
        end = time.monotonic() + (math.inf if ink.is_loaded() else budget)
        while self._left and time.monotonic() < end:
            trace = self._left.popleft()
            line = ink.Line(
                trace.samples,
                float(canvas.x_of(trace.start) - corner.x()) * density,
                trace.interval / pixel_time * density,
                float(canvas.y_of(trace.base) - corner.y()) * density,
                -trace.gain / pixel_height * density,
            )
            self._ink(line, trace, canvas, density)
        ink.load_soon()

    def _ink(self, line: ink.Line, trace: Trace, canvas: Canvas, density: float) -> None:
        colour = _colour(trace, canvas)
        if not has_dots(trace, canvas):
            # whole columns until compiled code is there: else the first pictures would hold the desk up
            slicing = density if ink.is_loaded() else _UNSLICED
            ink.draw_trace(self._pixels, line, (*components(colour), 1.0), _PEN * density, slicing)
            return
        between = mixed(colour, canvas.theme.plot, _BETWEEN)
        ink.draw_trace(self._pixels, line, (*components(between), 1.0), _THIN * density, density)
        radius = _DOT if trace.strong else _LESSER_DOT
        ink.draw_dots(self._pixels, line, (*components(colour), 1.0), radius * density)

    def _paint_lines(self, painter: QPainter, canvas: Canvas) -> None:
        window, _ = canvas.windows()
        width = round(canvas.plot_rect().width())
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for trace in self._traces:
            reduced = reduce_trace(trace.samples, trace.start, trace.interval, window, width)
            points = [
                QPointF(x, y)
                for x, y in zip(
                    canvas.x_of(reduced.time), canvas.y_of(trace.base + reduced.code * trace.gain), strict=True
                )
            ]
            colour, dots = _colour(trace, canvas), has_dots(trace, canvas)
            line = mixed(colour, canvas.theme.plot, _BETWEEN) if dots else colour
            painter.setPen(QPen(QColor(line), _THIN if dots else _PEN))
            painter.drawPolyline(QPolygonF(points))
            if dots:
                painter.setPen(Qt.PenStyle.NoPen)
                painter.setBrush(QColor(colour))
                radius = _DOT if trace.strong else _LESSER_DOT
                for point in points:
                    painter.drawEllipse(QRectF(point.x() - radius, point.y() - radius, 2 * radius, 2 * radius))
                painter.setBrush(Qt.BrushStyle.NoBrush)


def has_dots(trace: Trace, canvas: Canvas) -> bool:
    """Return whether a trace's samples lie far enough apart to be drawn as dots."""
    return trace.interval / canvas.pixel_time > DOT_SPACING


def _colour(trace: Trace, canvas: Canvas) -> str:
    return trace.colour if trace.strong else mixed(trace.colour, canvas.theme.plot, _PALE)
