"""Lines of text that may be narrow: a tooltip shows the whole, or they take as many lines as they need."""

from __future__ import annotations

from html import escape
from itertools import pairwise

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import (
    QAbstractTextDocumentLayout,
    QPainter,
    QPaintEvent,
    QPalette,
    QResizeEvent,
    QTextCursor,
    QTextDocument,
    QTextLayout,
)
from PySide6.QtWidgets import QLabel

_MORE = "…"


def _cut(document: QTextDocument, width: float, more: float) -> None:
    """Take away from the end of a line what does not fit, and put a sign there that is `more` wide."""
    document.size()  # lays it out
    line = document.firstBlock().layout().lineAt(0)
    if line.naturalTextWidth() <= width:
        return
    cursor = QTextCursor(document)
    place = line.xToCursor(max(width - more, 0.0))
    cursor.setPosition(place[0] if isinstance(place, tuple) else place)
    cursor.movePosition(QTextCursor.MoveOperation.End, QTextCursor.MoveMode.KeepAnchor)
    cursor.insertText(_MORE)


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


class WholeLabel(QLabel):
    """Lines that are never cut: it asks for the height that its words take in the width that it has."""

    def __init__(self, text: str = "") -> None:
        super().__init__(text)
        self.setWordWrap(True)

    def minimumSizeHint(self) -> QSize:
        """Return the room for every line."""
        least = super().minimumSizeHint()
        return QSize(least.width(), max(least.height(), self.heightForWidth(self.width())))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Ask for another height where another width makes other lines."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.updateGeometry()


class NarrowLabel(QLabel):
    """A text that is cut where there is no room for all of it, so that it keeps no window wide.

    Plain text takes as many lines as there is height for; one with marks in it takes one.
    """

    def __init__(self, text: str = "") -> None:
        super().__init__()
        self.setMinimumWidth(1)
        self.setText(text)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the text, or as much of it as fits, with a sign that there is more."""
        if self.textFormat() is Qt.TextFormat.RichText:
            self._draw_marked(self.text(), self.contentsRect())
        elif self.fontMetrics().horizontalAdvance(self.text()) <= self.contentsRect().width():
            super().paintEvent(event)
        else:
            lines = "\n".join(self.lines_shown())
            flags = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
            QPainter(self).drawText(self.contentsRect(), flags, lines)

    def lines_shown(self) -> list[str]:
        """Return the lines that a plain text is drawn in: where they are too few, the last one is cut."""
        room, metrics = self.contentsRect(), self.fontMetrics()
        most = max(room.height() // metrics.lineSpacing(), 1)
        layout = QTextLayout(self.text(), self.font())
        starts: list[int] = []
        layout.beginLayout()
        while len(starts) < most and (line := layout.createLine()).isValid():
            line.setLineWidth(room.width())
            starts.append(line.textStart())
        layout.endLayout()
        lines = [self.text()[start:end].strip() for start, end in pairwise([*starts, len(self.text())])]
        return [metrics.elidedText(line, Qt.TextElideMode.ElideRight, room.width()) for line in lines]

    def _draw_marked(self, text: str, room: QRect) -> None:
        """Draw a text with marks in it: its letters are cut, not its marks."""
        document = QTextDocument()
        document.setDocumentMargin(0)
        document.setDefaultFont(self.font())
        document.setHtml(f"<span style='white-space: pre'>{text}</span>")
        _cut(document, room.width(), self.fontMetrics().horizontalAdvance(_MORE))
        context = QAbstractTextDocumentLayout.PaintContext()
        context.palette = self.palette()
        context.palette.setColor(QPalette.ColorRole.Text, self.palette().color(self.foregroundRole()))
        painter = QPainter(self)
        painter.translate(room.left(), room.top() + (room.height() - document.size().height()) / 2)
        document.documentLayout().draw(painter, context)

    def setText(self, text: str) -> None:
        """Show a text, and the whole of it in the tooltip."""
        super().setText(text)
        plain = self.textFormat() is Qt.TextFormat.PlainText  # a tooltip would read marks in it
        self.setToolTip(f"<span>{escape(text)}</span>" if plain and "<" in text else text)
