"""Very many points of a figure as one item: they are drawn in one call, and found by where they are."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from pyqtgraph.graphicsItems.ScatterPlotItem import Symbols
from PySide6.QtCore import QPointF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPen, QTransform

from pulsewright_app.desk.plots.many import Floats, Many, across, distinct, down, pixels, range_of

_SYMBOL, _MOST_SYMBOLS = 6.0, 400
"""Pixels of a symbol, and how many points in sight are drawn as one each."""
_REACH = 4.0
"""Pixels from a point within which a click is meant for it."""


class ManyPoints(Many):
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
        super().__init__(range_of(x), range_of(y), size)
        self._x, self._y, self._numbers = x, y, numbers
        self._symbol = QTransform.fromScale(_SYMBOL, _SYMBOL).map(Symbols[symbol])
        self._pen = QPen(QColor(colour), size, c=Qt.PenCapStyle.SquareCap)
        self.drawn = 0
        """Points of the last painting."""

    def paint(self, painter: QPainter, *_: Any) -> None:
        """Draw the points that are in sight."""
        transform, seen = painter.transform(), painter.device()
        margin = math.ceil(self._reach)  # a point beyond the edge reaches into sight
        columns, rows = pixels(across(self._x, transform)) + margin, pixels(down(self._y, transform)) + margin
        columns, rows = distinct(columns, rows, seen.width() + 2 * margin, seen.height() + 2 * margin)
        columns, rows = columns - margin, rows - margin
        self.drawn = len(columns)
        painter.save()
        painter.resetTransform()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        if self.drawn <= _MOST_SYMBOLS:
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
        x, y = across(self._x, transform), down(self._y, transform)
        at = transform.map(QPointF(event.pos()))
        away = np.maximum(np.abs(x - at.x()), np.abs(y - at.y()))
        nearest = len(away) - 1 - int(np.argmin(away[::-1]))
        if away[nearest] > _REACH:
            event.ignore()
            return
        event.accept()
        self.chosen.emit(int(self._numbers[nearest]))
