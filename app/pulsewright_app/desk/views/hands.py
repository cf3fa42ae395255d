"""What a drag on the plot takes hold of: a span first, then a marker; the one that was taken hears of the rest."""

from __future__ import annotations

from PySide6.QtCore import QPointF

from pulsewright_app.desk.views.marker_hand import MarkerHand
from pulsewright_app.desk.views.span_hand import SpanHand


class Hands:
    """Both hands of one view."""

    def __init__(self, spans: SpanHand, markers: MarkerHand) -> None:
        self._spans, self._markers = spans, markers
        self._holding: SpanHand | MarkerHand | None = None

    def grab(self, point: QPointF) -> bool:
        """Take hold of what lies under a point in pixels; return whether there is something."""
        self._holding = next((hand for hand in (self._spans, self._markers) if hand.grab(point)), None)
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
