"""Level pairs over a view: two lines across the plot, and between them an arrowed one with their difference."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter, QPen

from pulsewright.session import Session
from pulsewright_analysis.level_markers import level_difference
from pulsewright_app.desk.additions import LevelPair, Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.dimension_lines import Taken, dimension_line, text_box, text_size
from pulsewright_app.desk.views.rows import Row
from pulsewright_app.wording import held_for

REACH = 5.0
"""Pixels from a level's line within which the mouse takes hold of it."""

_OVER_EDGE = 0.25
"""Share of a lane's height by which a text may stand over its edge: it is nearer to no other trace."""
_FIRST_COLUMN = 22.0
_COLUMN = 26.0
_CHOICES: tuple[Which, Which] = (1, 2)


@dataclass(frozen=True)
class LevelRow:
    """Where the values of one channel lie in a view.

    Attributes
    ----------
    row : Row
    low, high : float
        The heights between which they are drawn.
    """

    row: Row
    low: float
    high: float


Rows = Callable[[int], LevelRow | None]
"""Returns where a channel's values lie; None where the view draws none of them."""


def level_text(pair: LevelPair, session: Session, viewing: Viewing, scale_percent: float) -> str:
    """Return what stands beside the dimension line: Δ ± U, and what it holds for where that is not seen."""
    about = session.channels[pair.channel]
    told = level_difference(pair.first, pair.second, about.unit, scale_percent)
    notes = held_for(pair.records, viewing.record)
    if viewing.view == "single" and not viewing.lanes and pair.channel != viewing.channel:
        notes.append(about.name)
    return f"{pair.name}: Δ {told}" + (f"  ({', '.join(notes)})" if notes else "")


class LevelLayer:
    """Draws the level pairs of one view, and finds the level that lies under the mouse."""

    def __init__(self, document: Document, viewing: Viewing, rows: Rows, taken: Taken) -> None:
        self._document, self._viewing, self._rows, self._taken = document, viewing, rows, taken

    def level_at(self, point: QPointF, canvas: Canvas) -> tuple[int, Which] | None:
        """Return the nearest level within reach of a point in pixels."""
        found: list[tuple[float, tuple[int, Which]]] = []
        for pair in self._document.levels:
            place = self._rows(pair.channel)
            if place is None or not place.low <= canvas.height_at(point.y()) <= place.high:
                continue
            for which in _CHOICES:
                distance = abs(canvas.y_of(place.row.height(pair.level(which).value)) - point.y())
                if distance <= REACH:
                    found.append((distance, (pair.id, which)))
        return min(found)[1] if found else None

    def _placed(self, canvas: Canvas) -> Iterator[tuple[LevelPair, LevelRow, float]]:
        """Yield the pairs whose channel is drawn, and the pixel column of each dimension line: beside each other."""
        taken: dict[float, int] = {}
        for pair in self._document.levels:
            place = self._rows(pair.channel)
            if place is not None:
                column = taken[place.low] = taken.get(place.low, -1) + 1
                yield pair, place, canvas.plot_rect().right() - _FIRST_COLUMN - column * _COLUMN

    def paint_lines(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the levels and their dimension lines, below every text that is written over the traces."""
        plot, colour = canvas.plot_rect(), QColor(canvas.theme.marker)
        for pair, place, across in self._placed(canvas):
            painter.save()
            painter.setClipRect(_lane(canvas, place))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
            ends = _ends(canvas, pair, place)
            for which, y in zip(_CHOICES, ends, strict=True):
                # without an edge: along a base it would hide all that lies there
                painter.setPen(QPen(colour, 2.0 if self._viewing.selected_marker == (pair.id, which) else 1.0))
                painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
                self._taken.add_line(QRectF(plot.left(), y - 1.0, plot.width(), 2.0), pair.id)
            self._taken.add(dimension_line(painter, canvas, ends, across, colour, level=False))  # no text hides it
            painter.restore()

    def paint(self, painter: QPainter, canvas: Canvas) -> None:
        """Write beside the dimension line of every pair what it comes to."""
        session = self._document.session
        if session is None:
            return
        for pair, place, across in self._placed(canvas):
            text = level_text(pair, session, self._viewing, self._document.scale_percent)
            ends, lane = _ends(canvas, pair, place), _lane(canvas, place)
            if max(ends) < lane.top():
                text = f"{text} ▴"
            elif min(ends) > lane.bottom():
                text = f"{text} ▾"
            text, box = self._put(painter, canvas, pair, (text, across), (ends, lane))
            text_box(painter, canvas, box.left(), box.top(), text, self._taken)

    def _put(
        self, painter: QPainter, canvas: Canvas, pair: LevelPair, written: tuple[str, float],
        where: tuple[tuple[float, float], QRectF],
    ) -> tuple[str, QRectF]:  # fmt: skip
        """Return where a text hides nothing: in its lane, else in the plot with its channel's name.

        It may lie on the pair's own lines; where there is no place at all it lies on what is least.
        """
        (text, across), (ends, lane), plot = written, where, canvas.plot_rect()
        seen = [min(max(end, lane.top()), lane.bottom()) for end in ends]

        def beside(text: str) -> QRectF:
            width, height = text_size(painter, canvas, text)
            middle = min(max(sum(seen) / 2, lane.top() + height / 2), max(lane.bottom() - height / 2, lane.top()))
            return QRectF(across - width - 8.0, middle - height / 2, width, height)

        over, named = lane.height() * _OVER_EDGE, self._named(text, pair)
        roomy = lane.adjusted(0, -over, 0, over).intersected(plot)
        for words, within in ((text, lane), (named, roomy), (named, plot)):
            place = self._taken.clear(beside(words), within) or self._taken.clear(beside(words), within, but=pair.id)
            if place is not None:
                return words, place
        return named, self._taken.emptiest(beside(named), lane)

    def _named(self, text: str, pair: LevelPair) -> str:
        """Return a text that could stand in another channel's lane with the name of its own."""
        session, viewing = self._document.session, self._viewing
        if session is None or viewing.view != "single" or not viewing.lanes or len(viewing.visible_channels) < 2:
            return text
        return f"{text} on {session.channels[pair.channel].name}"


def _lane(canvas: Canvas, place: LevelRow) -> QRectF:
    """Return where a channel's values are drawn, in pixels."""
    plot = canvas.plot_rect()
    top, bottom = (canvas.y_of(edge) for edge in (place.high, place.low))
    return QRectF(plot.left(), top, plot.width(), bottom - top).intersected(plot)


def _ends(canvas: Canvas, pair: LevelPair, place: LevelRow) -> tuple[float, float]:
    """Return the pixel rows of a pair's two levels."""
    first, second = (float(canvas.y_of(place.row.height(pair.level(which).value))) for which in _CHOICES)
    return first, second
