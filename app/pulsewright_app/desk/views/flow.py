"""A row of controls that goes on in a second line where there is no room in the first."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QWidget


class FlowRow(QLayout):
    """Lays its widgets out from left to right, and below where the line is full.

    Parameters
    ----------
    gap : int
        Pixels between two widgets, and between two lines.
    """

    def __init__(self, parent: QWidget | None = None, gap: int = 8) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self.setSpacing(gap)

    def addItem(self, item: QLayoutItem) -> None:
        """Add a widget's item at the end."""
        self._items.append(item)

    def count(self) -> int:
        """Return how many items there are."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        """Return an item, None past the end."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        """Take an item out, None past the end."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:
        """Ask for no room beyond what is needed."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:
        """Say that a narrow row is a high one."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Return the height at a width."""
        return self._arrange(QRect(0, 0, width, 0), place=False)

    def setGeometry(self, rect: QRect) -> None:
        """Put every widget in its place."""
        super().setGeometry(rect)
        self._arrange(rect, place=True)

    def sizeHint(self) -> QSize:
        """Return the room of the widest widget, as the least."""
        return self.minimumSize()

    def minimumSize(self) -> QSize:
        """Return the room of the widest widget."""
        least = QSize()
        for item in self._items:
            if not item.isEmpty():
                least = least.expandedTo(item.minimumSize())
        margins = self.contentsMargins()
        return least + QSize(margins.left() + margins.right(), margins.top() + margins.bottom())

    def _arrange(self, rect: QRect, place: bool) -> int:
        """Return the height that is needed, and put the widgets in their places if asked to."""
        margins, gap = self.contentsMargins(), self.spacing()
        inside = rect.adjusted(margins.left(), margins.top(), -margins.right(), -margins.bottom())
        y, lines = inside.top(), self._lines(inside.width())
        if not lines:
            return margins.top() + margins.bottom()
        for line in lines:
            x, height = inside.left(), max(item.sizeHint().height() for item in line)
            for item in line:
                size = item.sizeHint()
                if place:  # in the middle of its line
                    width = min(size.width(), inside.width())
                    item.setGeometry(QRect(x, y + (height - size.height()) // 2, width, size.height()))
                x += size.width() + gap
            y += height + gap // 2
        return y - gap // 2 - rect.top() + margins.bottom()

    def _lines(self, width: int) -> list[list[QLayoutItem]]:
        """Return the items that are shown, line by line."""
        lines: list[list[QLayoutItem]] = []
        left = 0
        for item in self._items:
            if item.isEmpty():
                continue
            needed = item.sizeHint().width()
            if not lines or needed > left:
                lines.append([])
                left = width
            lines[-1].append(item)
            left -= needed + self.spacing()
        return lines
