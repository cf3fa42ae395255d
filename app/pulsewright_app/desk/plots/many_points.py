"""Very many points of a figure as one item: they are drawn in one call, and found by where they are."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from pyqtgraph.graphicsItems.ScatterPlotItem import Symbols
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPen, QTransform

Floats = NDArray[np.float64]

_SYMBOL, _MOST_SYMBOLS = 6.0, 400
"""Pixels of a symbol, and how many points in sight are drawn as one each."""
_REACH = 4.0
"""Pixels from a point within which a click is meant for it."""


class ManyPoints(pg.GraphicsObject):  # type: ignore[misc]
    """Points of one colour, drawn as squares, or as symbols where few are in sight; once where one pixel has several.

    Parameters
    ----------
    x, y : array (points,)
        Where they are; finite.
    numbers : int array (points,)
        What a click on each announces.
    colour : str
    size : float
        Pixels.
    symbol : str
        As pyqtgraph calls it.
    """

    chosen = Signal(int)

    def __init__(self, x: Floats, y: Floats, numbers: NDArray[np.int64], colour: str, size: float, symbol: str) -> None:
        super().__init__()
        self._x, self._y, self._numbers, self._size = x, y, numbers, size
        self._symbol = QTransform.fromScale(_SYMBOL, _SYMBOL).map(Symbols[symbol])
        self._pen = QPen(QColor(colour), size, c=Qt.PenCapStyle.SquareCap)
        self._ranges = tuple((float(values.min()), float(values.max())) for values in (x, y))

    def dataBounds(self, axis: int, frac: float = 1.0, orthoRange: object = None) -> tuple[float, float]:
        """Return the range of the points along an axis, 0 or 1, for the view that shows everything."""
        return self._ranges[axis]

    def pixelPadding(self) -> float:
        """Return how far a point reaches beyond its place, pixels."""
        return self._size

    def viewTransformChanged(self) -> None:
        """Take on another zoom: a pixel is another distance now."""
        self.prepareGeometryChange()

    def boundingRect(self) -> QRectF:
        """Return where anything is drawn."""
        (left, right), (low, high) = self._ranges
        wide, tall = (self._size * (length or 0.0) for length in (self.pixelWidth(), self.pixelHeight()))
        return QRectF(left - wide, low - tall, right - left + 2 * wide, high - low + 2 * tall)

    def _pixels(self, transform: Any) -> tuple[Floats, Floats]:
        """Return where the points lie by a transform that scales, turns over and moves."""
        return self._x * transform.m11() + transform.dx(), self._y * transform.m22() + transform.dy()

    def paint(self, painter: QPainter, *_: Any) -> None:
        """Draw the points that are in sight."""
        x, y = (np.round(place) for place in self._pixels(painter.transform()))
        seen, margin = painter.device(), self._size
        inside = (x >= -margin) & (x <= seen.width() + margin) & (y >= -margin) & (y <= seen.height() + margin)
        places = np.unique((x[inside].astype(np.int64) << 32) + y[inside].astype(np.int64))
        rows = (places + (1 << 31)) % (1 << 32) - (1 << 31)
        columns = (places - rows) >> 32
        painter.save()
        painter.resetTransform()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        if len(places) <= _MOST_SYMBOLS:
            for column, row in zip(columns.tolist(), rows.tolist(), strict=True):
                painter.fillPath(self._symbol.translated(column, row), self._pen.color())
        else:
            painter.setPen(self._pen)
            painter.drawPoints(pg.functions.arrayToQPolygonF(columns.astype(np.float64), rows.astype(np.float64)))
        painter.restore()

    def mouseClickEvent(self, event: Any) -> None:
        """Announce the point that is clicked, the last one of several at one place."""
        if event.button() != Qt.MouseButton.LeftButton:
            event.ignore()
            return
        transform = self.sceneTransform()  # a pixel of the scene is one of the screen
        x, y = self._pixels(transform)
        at = transform.map(QPointF(event.pos()))
        away = np.maximum(np.abs(x - at.x()), np.abs(y - at.y()))
        nearest = len(away) - 1 - int(np.argmin(away[::-1]))
        if away[nearest] > _REACH:
            event.ignore()
            return
        event.accept()
        self.chosen.emit(int(self._numbers[nearest]))
