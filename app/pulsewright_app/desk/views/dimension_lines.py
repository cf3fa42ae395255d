"""What pairs of markers and levels are drawn with: an arrowed line between two places, and a text that can be read.

As in a technical drawing: where the two places lie close, the arrows point inward from outside.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPen, QPolygonF

from pulsewright_app.desk.views.canvas import Canvas

ARROW = 8.0
_BESIDE = 3.0
_GROUND = 6.0
"""Pixels to each side of an arrowed line that are its ground where the plot is full of ink."""
_GAP = 4.0
_SHARES = 10
"""Parts of its width in which a text may lie on something: places that differ by less are alike."""
_A_LINE = 5
"""How many of those a line or a sign counts as; a trace counts as two lines, and as much of it as there is."""
_STEP, _ROWS, _PARTS = 1.0, 80, 4
"""From one place that is tried for a text to the next: pixels upward, but no more rows than so many, and parts of its
width to the left."""
_MOST = 600
"""Places of a text that are looked at, the nearest first: where traces are everywhere, all would take long."""
_ASIDE = 4
"""A text is as near to its place so many pixels left of it as one pixel above or below."""
_PAGE_WIDER = 10.0
"""Pixels by which the page below a text is wider than it."""
_EDGE = 1.0
"""Pixels of the edge at each side of a line: no more, as it hides what lies there."""
_COVERS = 225
"""How strong the page below a text is, of 255: what lies there is seen through it, and does not trouble the letters."""


def straight_line(painter: QPainter, canvas: Canvas, start: QPointF, end: QPointF, pen: QPen) -> None:
    """Draw a line, with an edge in the plot's own colour where the plot may be full of ink."""
    if canvas.full_of_ink:
        painter.setPen(QPen(page_below(canvas), pen.widthF() + 2 * _EDGE))
        painter.drawLine(start, end)
    painter.setPen(pen)
    painter.drawLine(start, end)


def dimension_line(
    painter: QPainter, canvas: Canvas, ends: tuple[float, float], across: float, colour: QColor, level: bool
) -> QRectF:
    """Draw the arrowed line, and return where it lies.

    Parameters
    ----------
    canvas : Canvas
        What it is drawn on.
    ends : (float, float)
        Pixels along its direction.
    across : float
        Pixels of where it lies across that.
    level : bool
        Whether it lies level, from left to right; else it stands upright.
    """
    low, high = sorted(ends)
    inside = high - low > 3 * ARROW
    reach = 0.0 if inside else 2 * ARROW
    across = math.floor(across) + 0.5  # in the middle of a row of pixels, or it would be pale in two

    def at(along: float, away: float = 0.0) -> QPointF:
        return QPointF(along, across + away) if level else QPointF(across + away, along)

    if canvas.full_of_ink:  # a ground of its own: arrows over colours that change within their length are not seen
        painter.fillRect(QRectF(at(low - reach, -_GROUND), at(high + reach, _GROUND)), page_below(canvas))
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(QPen(colour, 1.0))
    painter.drawLine(at(low - reach), at(high + reach))
    painter.setBrush(colour)
    for tip, way in ((low, 1.0 if inside else -1.0), (high, -1.0 if inside else 1.0)):
        back = tip + way * ARROW
        painter.drawPolygon(QPolygonF([at(tip), at(back, -_BESIDE), at(back, _BESIDE)]))
    return QRectF(at(low - reach, -_BESIDE), at(high + reach, _BESIDE)).normalized()


def text_size(painter: QPainter, canvas: Canvas, text: str) -> tuple[float, float]:
    """Return the width and height of a text with its page, pixels."""
    painter.setFont(QFont(canvas.font()))
    size = painter.fontMetrics().size(0, text)
    return size.width() + _PAGE_WIDER, size.height() + 2.0


def page_below(canvas: Canvas) -> QColor:
    """Return the colour that lies between a text and what it is written over."""
    page = QColor(canvas.theme.plot)
    page.setAlpha(_COVERS)
    return page


class Taken:
    """Where texts lie on one plot, so that none is written over another; begun anew with every painting."""

    def __init__(self) -> None:
        self._boxes: list[QRectF] = []
        self._lines: list[tuple[QRectF, int]] = []
        self.traces: Callable[[QRectF], float] = lambda _: 0.0
        """Returns in how much of a box's width there are traces, 0 … 1."""

    def begin(self) -> None:
        """Forget what was written before."""
        self._boxes, self._lines = [], []

    def add(self, box: QRectF) -> None:
        """Keep a place free of every text."""
        self._boxes.append(box)

    def add_line(self, box: QRectF, of: int = 0) -> None:
        """Keep a line or a sign free of texts that can be put elsewhere; `of` is the pair whose it is, 0 for none."""
        self._lines.append((box, of))

    def free(self, box: QRectF, within: QRectF) -> QRectF:
        """Return the box, or where it is free the nearest left of it, above or below; where it was, if nothing is."""
        steps = range(1, round(within.height() / max(box.height(), 1.0)) + 1)
        away = [0.0, *(way * step * box.height() for step in steps for way in (1, -1))]
        for moved in (box.translated(0.0, by) for by in away):
            for place in (moved, self._left_of_all(moved)):
                if within.contains(place) and not self._across(place):
                    return place
        return box

    def clear(self, box: QRectF, within: QRectF, but: int = -1) -> QRectF | None:
        """Return the nearest place to a box where it lies on no trace, line, sign or text; None where there is none.

        The lines of the pair `but` do not count.
        """
        bare = (place for place, crossed in self._open(box, within, but) if not crossed)
        return next((place for place in islice(bare, _MOST) if self.traces(place) == 0), None)

    def emptiest(self, box: QRectF, within: QRectF) -> QRectF:
        """Return where a box lies on no trace, or on much less than where it is; else the box itself."""
        best, least = box, self._ink(box, int(_hits(_corners([box]), _corners(line for line, _ in self._lines))[0]))
        enough = least / 2
        for place, crossed in self._open(box, within):
            ink = self._ink(place, crossed) if _A_LINE * crossed < least else least
            if ink < least:
                best, least = place, ink
        return best if least <= enough or (self.traces(box) and not self.traces(best)) else box

    def _open(self, box: QRectF, within: QRectF, but: int = -1) -> Iterator[tuple[QRectF, int]]:
        """Yield where a box could lie on no text, the nearest first, and how many lines and signs it would lie on."""
        places = _places(box, within)
        places = places[_hits(places, _corners(self._boxes)) == 0]
        hits = _hits(places, _corners(line for line, of in self._lines if of != but))
        for (left, top, _, _), crossed in zip(places.tolist(), hits.tolist(), strict=True):
            yield QRectF(left, top, box.width(), box.height()), crossed

    def _ink(self, box: QRectF, crossed: int) -> int:
        """Return how much a box would hide: a little of a trace, which may be a pulse, counts more than a line."""
        share = self.traces(box)
        return (2 * _A_LINE + math.ceil(_SHARES * share) if share else 0) + _A_LINE * crossed

    def _across(self, box: QRectF) -> list[QRectF]:
        return [other for other in self._boxes if other.intersects(box)]

    def _left_of_all(self, box: QRectF) -> QRectF:
        """Return the box beside the leftmost of those that it would lie over."""
        edge = min((other.left() for other in self._across(box)), default=box.right() + _GAP)
        return box.translated(edge - _GAP - box.right(), 0.0)


def _corners(boxes: Iterable[QRectF]) -> NDArray[np.float64]:
    """Return left, top, right and bottom of each, (boxes, 4)."""
    return np.array([(box.left(), box.top(), box.right(), box.bottom()) for box in boxes]).reshape(-1, 4)


def _hits(places: NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return on how many others each place lies."""
    apart = (places[:, None, :2] >= others[None, :, 2:]) | (others[None, :, :2] >= places[:, None, 2:])
    hits: NDArray[np.int64] = np.count_nonzero(~apart.any(axis=2), axis=1)
    return hits


def _places(box: QRectF, within: QRectF) -> NDArray[np.float64]:
    """Return where else a box could lie, at its own column or left of it, by its corners; the nearest first."""
    lefts = np.arange(box.left(), within.left(), -box.width() / _PARTS)
    tops = np.arange(within.top(), within.bottom() - box.height() + 1e-6, max(_STEP, within.height() / _ROWS))
    left, top = (axis.ravel() for axis in np.meshgrid(lefts, tops))
    nearest = np.argsort(np.abs(top - box.top()) + np.abs(left - box.left()) / _ASIDE, kind="stable")
    left, top = left[nearest], top[nearest]
    return np.stack([left, top, left + box.width(), top + box.height()], axis=1)


def text_box(
    painter: QPainter, canvas: Canvas, left: float, top: float, text: str, taken: Taken, colour: str = ""
) -> None:
    """Write a text that can be read over whatever lies there, inside the plot and beside the texts that lie there.

    In the colour of the markers, unless another is given; cut, with a sign that there is more, in a narrow plot.
    """
    plot = canvas.plot_rect()
    painter.setFont(QFont(canvas.font()))
    room = round(plot.width() - _PAGE_WIDER) - 4
    text = painter.fontMetrics().elidedText(text, Qt.TextElideMode.ElideRight, room)
    width, height = text_size(painter, canvas, text)
    left = min(max(left, plot.left() + 2), max(plot.right() - width - 2, plot.left() + 2))
    top = min(max(top, plot.top() + 1), max(plot.bottom() - height - 1, plot.top() + 1))
    box = taken.free(QRectF(left, top, width, height), plot)
    taken.add(box)
    painter.fillRect(box, page_below(canvas))
    painter.setPen(QColor(colour or canvas.theme.marker))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)
