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
                self._taken.add_line(QRectF(plot.left(), y - 1.0, plot.width(), 2.0))
            self._taken.add_line(dimension_line(painter, canvas, ends, across, colour, level=False))
            painter.restore()

    def paint(self, painter: QPainter, canvas: Canvas) -> None:
        """Write beside the dimension line of every pair what it comes to."""
        session = self._document.session
        if session is None:
            return
        for pair, place, across in self._placed(canvas):
            text = level_text(pair, session, self._viewing, self._document.scale_percent)
            self._write(painter, canvas, _ends(canvas, pair, place), _lane(canvas, place), across, text)

    def _write(
        self, painter: QPainter, canvas: Canvas, ends: tuple[float, float], lane: QRectF, across: float, text: str
    ) -> None:
        if max(ends) < lane.top():
            text = f"{text} ▴"
        elif min(ends) > lane.bottom():
            text = f"{text} ▾"
        width, height = text_size(painter, canvas, text)
        seen = [min(max(end, lane.top()), lane.bottom()) for end in ends]
        middle = min(max(sum(seen) / 2, lane.top() + height / 2), max(lane.bottom() - height / 2, lane.top()))
        beside = QRectF(across - width - 8.0, middle - height / 2, width, height)
        place = self._taken.beside_traces(beside, lane, canvas.plot_rect())
        text_box(painter, canvas, place.left(), place.top(), text, self._taken)


def _lane(canvas: Canvas, place: LevelRow) -> QRectF:
    """Return where a channel's values are drawn, in pixels."""
    plot = canvas.plot_rect()
    top, bottom = (canvas.y_of(edge) for edge in (place.high, place.low))
    return QRectF(plot.left(), top, plot.width(), bottom - top).intersected(plot)


def _ends(canvas: Canvas, pair: LevelPair, place: LevelRow) -> tuple[float, float]:
    """Return the pixel rows of a pair's two levels."""
    first, second = (float(canvas.y_of(place.row.height(pair.level(which).value))) for which in _CHOICES)
    return first, second
