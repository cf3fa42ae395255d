"""Level pairs over a view: two lines across the plot, and between them an arrowed one with their difference."""

from __future__ import annotations

from collections.abc import Callable
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

    def _placed(self) -> list[tuple[LevelPair, LevelRow]]:
        """Return the pairs whose channel is drawn."""
        pairs = [(pair, self._rows(pair.channel)) for pair in self._document.levels]
        return [(pair, place) for pair, place in pairs if place is not None]

    def paint_lines(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the levels themselves, below every text that is written over the traces."""
        plot, colour = canvas.plot_rect(), QColor(canvas.theme.marker)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        for pair, place in self._placed():
            lane = _lane(canvas, place)
            for which in _CHOICES:
                y = float(canvas.y_of(place.row.height(pair.level(which).value)))
                if lane.top() <= y <= lane.bottom():
                    is_selected = self._viewing.selected_marker == (pair.id, which)
                    painter.setPen(QPen(colour, 2.0 if is_selected else 1.0))
                    painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))

    def paint(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the dimension line of every pair, those of one lane beside each other."""
        session, taken = self._document.session, dict[float, int]()
        if session is None:
            return
        for pair, place in self._placed():
            column = taken[place.low] = taken.get(place.low, -1) + 1
            text = level_text(pair, session, self._viewing, self._document.scale_percent)
            self._paint_pair(painter, canvas, pair, place, column, text)

    def _paint_pair(
        self, painter: QPainter, canvas: Canvas, pair: LevelPair, place: LevelRow, column: int, text: str
    ) -> None:
        plot, colour, lane = canvas.plot_rect(), QColor(canvas.theme.marker), _lane(canvas, place)
        ends = [float(canvas.y_of(place.row.height(pair.level(which).value))) for which in _CHOICES]
        painter.save()
        painter.setClipRect(lane)
        x = plot.right() - _FIRST_COLUMN - column * _COLUMN
        dimension_line(painter, (ends[0], ends[1]), x, colour, level=False)
        painter.restore()
        width, height = text_size(painter, canvas, text)
        if max(ends) < lane.top():
            text = f"{text} ▴"
        elif min(ends) > lane.bottom():
            text = f"{text} ▾"
        seen = [min(max(end, lane.top()), lane.bottom()) for end in ends]
        middle = min(max(sum(seen) / 2, lane.top() + height / 2), max(lane.bottom() - height / 2, lane.top()))
        text_box(painter, canvas, x - width - 8.0, middle - height / 2, text, self._taken)


def _lane(canvas: Canvas, place: LevelRow) -> QRectF:
    """Return where a channel's values are drawn, in pixels."""
    plot = canvas.plot_rect()
    top, bottom = (canvas.y_of(edge) for edge in (place.high, place.low))
    return QRectF(plot.left(), top, plot.width(), bottom - top).intersected(plot)
