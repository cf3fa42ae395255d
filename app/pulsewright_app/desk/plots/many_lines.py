"""Very many bars of error, a very long line and many upright ones, each as one item that draws what pixels can show."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtGui import QPainter, QPen, QTransform

from pulsewright_app.desk.plots.many import Floats, Many, Range, across, down, paired, pixels, range_of, strokes


class _ManyStrokes(Many):
    """What is drawn with one pen, by pixels."""

    def __init__(self, x_range: Range, y_range: Range | None, pen: QPen) -> None:
        super().__init__(x_range, y_range, pen.widthF())
        self._pen = pen
        self.drawn = 0
        """Strokes of the last painting."""

    def paint(self, painter: QPainter, *_: Any) -> None:
        """Draw what is in sight."""
        transform, seen = painter.transform(), painter.device()
        painter.save()
        painter.resetTransform()
        painter.setPen(self._pen)
        self.drawn = 0
        self._paint(painter, transform, seen.width(), seen.height())
        painter.restore()

    def _paint(self, painter: QPainter, transform: QTransform, width: int, height: int) -> None:
        raise NotImplementedError

    def _draw(self, painter: QPainter, x: Floats, y: Floats) -> None:
        """Draw strokes, each from one place to the next."""
        self.drawn += len(x) // 2
        painter.drawPath(pg.functions.arrayToQPath(x, y, connect="pairs"))


class ManyBars(_ManyStrokes):
    """Upright bars about their middles.

    Parameters
    ----------
    x, y, half : array (bars,)
        Where their middles are, and how far they reach up and down; one that is not known is left away.
    pen : QPen
    """

    def __init__(self, x: Floats, y: Floats, half: Floats, pen: QPen) -> None:
        known = np.isfinite(half)
        x, y, half = x[known], y[known], half[known]
        self._x, self._low, self._high = x, y - half, y + half
        super().__init__(range_of(x), (range_of(self._low)[0], range_of(self._high)[1]), pen)

    def _paint(self, painter: QPainter, transform: QTransform, width: int, height: int) -> None:
        column = pixels(across(self._x, transform))
        low, high = (pixels(down(values, transform)) for values in (self._low, self._high))
        column, top, foot = strokes(column, high, low, width, height)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        self._draw(painter, paired(column, column), paired(top, foot + 1))


class ManyLine(_ManyStrokes):
    """A line from point to point, broken where one is not finite: each piece within a pixel column is a part of it.

    Parameters
    ----------
    x, y : array (points,)
        Where they are; `x` rising where it is finite.
    pen : QPen
    """

    def __init__(self, x: Floats, y: Floats, pen: QPen) -> None:
        super().__init__(range_of(x), range_of(y), pen)
        known = np.isfinite(x) & np.isfinite(y)
        begin = np.flatnonzero(known[:-1] & known[1:])
        self._x, self._y = (x[begin], x[begin + 1]), (y[begin], y[begin + 1])

    def _paint(self, painter: QPainter, transform: QTransform, width: int, height: int) -> None:
        x, y = ([across(one, transform) for one in self._x], [down(one, transform) for one in self._y])
        columns = [pixels(one) for one in x]
        within = columns[0] == columns[1]
        begin, end = (pixels(one[within]) for one in y)
        column, top, foot = strokes(columns[0][within], begin, end, width, height)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        self._draw(painter, paired(column, column), paired(top, foot + 1))
        # as it is: there are no more of them than columns
        over = ~within & (np.maximum(x[0], x[1]) >= 0) & (np.minimum(x[0], x[1]) <= width)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        self._draw(painter, paired(x[0][over], x[1][over]), paired(y[0][over], y[1][over]))


class ManyUprights(_ManyStrokes):
    """Lines over the whole height.

    Parameters
    ----------
    x : array (lines,)
        At least one.
    pen : QPen
    """

    def __init__(self, x: Floats, pen: QPen) -> None:
        self._x = x
        super().__init__(range_of(x), None, pen)

    def _paint(self, painter: QPainter, transform: QTransform, width: int, height: int) -> None:
        column = np.unique(pixels(across(self._x, transform)))
        column = column[(column >= 0) & (column < width)]
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        self._draw(painter, paired(column, column), paired(np.zeros(len(column)), np.full(len(column), height)))
