"""Draws many traces as one item of the plot: a path and a pen each, and dots where samples lie apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF, QTransform
from PySide6.QtWidgets import QStyleOptionGraphicsItem, QWidget

from pulsewright_app.theme import mixed

Floats = NDArray[np.float64]

DOT_SPACING = 6.0
"""Pixels between samples from which on they are drawn as dots."""


@dataclass(frozen=True)
class Trace:
    """One line of the plot.

    Attributes
    ----------
    time, height : array (points,)
        Where its points are, in the plot's coordinates.
    colour : str
        ``#rrggbb``.
    strong : bool
        Whether it is drawn as the current one; the others are paler.
    dots : bool
        Whether its points are samples far enough apart to be drawn as dots.
    """

    time: Floats
    height: Floats
    colour: str
    strong: bool = True
    dots: bool = False


class TracesItem(pg.GraphicsObject):  # type: ignore[misc]
    """All traces of a view in one item: an item for each would be slow."""

    def __init__(self) -> None:
        super().__init__()
        self._traces: tuple[Trace, ...] = ()
        self._page = "#ffffff"

    def show(self, traces: Sequence[Trace], page: str) -> None:
        """Draw these traces, the last one on top; pale ones are mixed with the colour of the page."""
        self._traces, self._page = tuple(traces), page
        self.prepareGeometryChange()
        self.update()

    def boundingRect(self) -> QRectF:
        """Return the whole view: what lies outside is not handed to this item."""
        return QRectF(self.viewRect())

    def paint(self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None) -> None:
        """Draw all traces; called by the scene."""
        for trace in self._traces:
            if len(trace.time):
                self._draw(painter, trace)

    def _draw(self, painter: QPainter, trace: Trace) -> None:
        colour = trace.colour if trace.strong else mixed(trace.colour, self._page, 0.45)
        path = pg.arrayToQPath(trace.time, trace.height, connect="all")
        line = mixed(colour, self._page, 0.55) if trace.dots else colour
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, len(trace.time) < 4000)
        painter.setPen(_cosmetic(line, 1.0))
        painter.drawPath(path)
        if trace.dots:
            pen = QPen(QColor(colour), 5.0 if trace.strong else 4.0)
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            _draw_dots(painter, pg.functions.arrayToQPolygonF(trace.time, trace.height), pen)


def _draw_dots(painter: QPainter, points: QPolygonF, pen: QPen) -> None:
    """Draw dots in pixels: in the plot's own coordinates, which differ by many powers of ten, they smear."""
    transform = painter.worldTransform()
    painter.save()
    painter.setWorldTransform(QTransform())
    painter.setPen(pen)
    painter.drawPoints(transform.map(points))
    painter.restore()


def _cosmetic(colour: str, width: float) -> QPen:
    pen = QPen(QColor(colour), width)
    pen.setCosmetic(True)
    return pen
