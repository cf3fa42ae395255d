"""What a drag on the plot takes hold of: a span first, then a marker, then a level; the one taken hears of the rest."""

from __future__ import annotations

from PySide6.QtCore import QPointF, Qt

from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.level_hand import LevelHand
from pulsewright_app.desk.views.level_layer import LevelLayer
from pulsewright_app.desk.views.marker_hand import MarkerHand
from pulsewright_app.desk.views.marker_layer import MarkerLayer
from pulsewright_app.desk.views.span_hand import SpanHand


class Hands:
    """All hands of one view."""

    def __init__(
        self, viewing: Viewing, canvas: Canvas, spans: SpanHand, markers: MarkerHand, levels: LevelHand
    ) -> None:
        self._viewing, self._canvas = viewing, canvas
        self._spans, self._markers, self._levels = spans, markers, levels
        self._holding: SpanHand | MarkerHand | LevelHand | None = None

    def grab(self, point: QPointF, time_refused: str) -> bool:
        """Take hold of what lies under a point in pixels; return whether there is something.

        Where `time_refused` says why times have no place, only levels are taken hold of; a span that was to be drawn
        is told of, and the drag does nothing.
        """
        if time_refused and self._viewing.spans.name is not None:
            self._holding = None
            self._viewing.spans.draw(None)
            self._viewing.tell(time_refused)
            return True
        hands = (self._levels,) if time_refused else (self._spans, self._markers, self._levels)
        self._holding = next((hand for hand in hands if hand.grab(point)), None)
        return self._holding is not None

    def drag(self, time: float, height: float) -> None:
        """Move what is held."""
        if self._holding is not None:
            self._holding.drag(time, height)

    def drop(self, time: float, height: float) -> None:
        """Let go of what is held."""
        if self._holding is not None:
            self._holding.drop(time, height)
        self._holding = None

    def let_go(self) -> None:
        """Hold nothing any more, and put nothing down."""
        for hand in (self._spans, self._markers, self._levels):
            hand.let_go()
        self._holding = None

    def shape_at(
        self, point: QPointF, markers: MarkerLayer, levels: LevelLayer, time_refused: str
    ) -> Qt.CursorShape | None:
        """Return the pointer's shape over what can be taken hold of; None elsewhere."""
        if not time_refused:
            drawing = self._viewing.spans.name is not None
            if drawing or self._spans.end_at(point) is not None or markers.marker_at(point, self._canvas) is not None:
                return Qt.CursorShape.SizeHorCursor
        return Qt.CursorShape.SizeVerCursor if levels.level_at(point, self._canvas) is not None else None
