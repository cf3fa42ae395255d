"""What pairs of markers and levels are drawn with: an arrowed line between two places, and a text that can be read.

As in a technical drawing: where the two places lie close, the arrows point inward from outside.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
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
_STEP, _ROWS, _PARTS = 3.0, 60, 4
"""From one place that is tried for a text to the next: pixels upward, but no more rows than so many, and parts of its
width to the left."""
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
        self._lines: list[QRectF] = []
        self.traces: Callable[[QRectF], float] = lambda _: 0.0
        """Returns in how much of a box's width there are traces, 0 … 1."""

    def begin(self) -> None:
        """Forget what was written before."""
        self._boxes, self._lines = [], []

    def add(self, box: QRectF) -> None:
        """Keep a place free of every text."""
        self._boxes.append(box)

    def add_line(self, box: QRectF) -> None:
        """Keep a line or a sign free of texts that can be put elsewhere."""
        self._lines.append(box)

    def free(self, box: QRectF, within: QRectF) -> QRectF:
        """Return the box, or where it is free the nearest left of it, above or below; where it was, if nothing is."""
        steps = range(1, round(within.height() / max(box.height(), 1.0)) + 1)
        away = [0.0, *(way * step * box.height() for step in steps for way in (1, -1))]
        for moved in (box.translated(0.0, by) for by in away):
            for place in (moved, self._left_of_all(moved)):
                if within.contains(place) and not self._across(place):
                    return place
        return box

    def beside_traces(self, box: QRectF, lane: QRectF, plot: QRectF) -> QRectF:
        """Return the nearest place to a box where it lies on no trace, line, sign or text: in its lane, else elsewhere.

        Where there is none in the whole plot, that in the lane with much less of them; else the box itself.
        """
        best, least = box, self._ink(box, self._crossed([box])[0])
        enough = least / 2
        for within in (lane, plot):
            places = [place for place in _places(box, within) if not self._across(place)]
            for place, crossed in zip(places, self._crossed(places), strict=True):
                if crossed and within is plot:
                    continue
                ink = self._ink(place, crossed)
                if ink == 0:
                    return place
                if ink < least and within is lane:
                    best, least = place, ink
        return best if least <= enough else box

    def _ink(self, box: QRectF, crossed: int) -> int:
        """Return on how many tenths of its width a box has traces, and ten for each line or sign that it crosses."""
        return math.ceil(_SHARES * self.traces(box)) + _SHARES * crossed

    def _crossed(self, boxes: list[QRectF]) -> list[int]:
        """Return how many lines and signs each box lies on."""
        ours, theirs = (
            np.array([(b.left(), b.top(), b.right(), b.bottom()) for b in some]).reshape(-1, 4)
            for some in (boxes, self._lines)
        )
        apart = (ours[:, None, :2] >= theirs[None, :, 2:]) | (theirs[None, :, :2] >= ours[:, None, 2:])
        crossed: list[int] = np.count_nonzero(~apart.any(axis=2), axis=1).tolist()
        return crossed

    def _across(self, box: QRectF) -> list[QRectF]:
        return [other for other in self._boxes if other.intersects(box)]

    def _left_of_all(self, box: QRectF) -> QRectF:
        """Return the box beside the leftmost of those that it would lie over."""
        edge = min((other.left() for other in self._across(box)), default=box.right() + _GAP)
        return box.translated(edge - _GAP - box.right(), 0.0)


def _places(box: QRectF, within: QRectF) -> list[QRectF]:
    """Return where else a box could lie, at its own place or left of it; the nearest first."""
    step = max(_STEP, within.height() / _ROWS)
    lefts = np.arange(box.left(), within.left(), -box.width() / _PARTS)
    tops = np.arange(box.top() % step + step * math.floor(within.top() / step), within.bottom(), step)
    tops = tops[(tops >= within.top()) & (tops + box.height() <= within.bottom())]
    left, top = (axis.ravel() for axis in np.meshgrid(lefts, tops))
    nearest = np.argsort(np.abs(top - box.top()) + np.abs(left - box.left()) / _ASIDE, kind="stable")
    return [QRectF(left[i], top[i], box.width(), box.height()) for i in nearest]


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
