"""Lines of text that may be narrow: a tooltip shows the whole."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QLabel


class ElidedLabel(QLabel):
    """A label that can be made narrow; its whole text stays in `text` and for those who hear it."""

    def minimumSizeHint(self) -> QSize:
        """Ask for room for a few letters."""
        return QSize(4 * self.fontMetrics().averageCharWidth(), super().minimumSizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw as much of the text as fits."""
        painter, room = QPainter(self), self.contentsRect()
        shown = self.fontMetrics().elidedText(self.text(), Qt.TextElideMode.ElideRight, room.width())
        painter.drawText(room, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, shown)


class NarrowLabel(QLabel):
    """A line that is cut where there is no room for all of it, so that it keeps no window wide."""

    def __init__(self, text: str = "") -> None:
        super().__init__()
        self.setMinimumWidth(1)
        self.setText(text)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the text, or as much of it as fits, with a sign that there is more."""
        text, room, metrics = self.text(), self.contentsRect(), self.fontMetrics()
        if metrics.horizontalAdvance(text) <= room.width():
            super().paintEvent(event)
            return
        shown = metrics.elidedText(text, Qt.TextElideMode.ElideRight, room.width())
        QPainter(self).drawText(room, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, shown)

    def setText(self, text: str) -> None:
        """Show a text, and the whole of it in the tooltip."""
        super().setText(text)
        plain = self.textFormat() is Qt.TextFormat.PlainText  # a tooltip would read marks in it
        self.setToolTip(f"<span>{escape(text)}</span>" if plain and "<" in text else text)
