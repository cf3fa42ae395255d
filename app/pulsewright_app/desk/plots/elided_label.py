"""One line of text that ends in … where there is no room for all of it."""

from __future__ import annotations

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
