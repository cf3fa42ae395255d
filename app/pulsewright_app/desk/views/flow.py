"""A row of controls that goes on in a second line where there is no room in the first."""

from __future__ import annotations

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtWidgets import QLayout, QLayoutItem, QWidget


class FlowRow(QLayout):
    """Lays its widgets out from left to right, and below where the line is full; none is left alone in the last line.

    Parameters
    ----------
    gap : int
        Pixels between two widgets, and between two lines.
    even : bool
        Whether all are made alike in size, so that they stand in columns that fill the width.
    one_line : bool
        Whether it asks for room for all of them in one line, where there is any.
    """

    def __init__(
        self, parent: QWidget | None = None, gap: int = 8, *, even: bool = False, one_line: bool = False
    ) -> None:
        super().__init__(parent)
        self._items: list[QLayoutItem] = []
        self._even, self._one_line = even, one_line
        self._heights: dict[int, int] = {}
        """Heights that were asked for, by width: laying out a window asks for the same ones many times over."""
        self._hint: QSize | None = None
        self.setSpacing(gap)

    def invalidate(self) -> None:
        """Forget what was worked out: a widget came, went, or needs other room."""
        self._heights.clear()
        self._hint = None
        super().invalidate()

    def addItem(self, item: QLayoutItem) -> None:
        """Add a widget's item at the end."""
        self._items.append(item)
        self.invalidate()

    def put_first(self, widget: QWidget) -> None:
        """Add a widget before all others."""
        self.addWidget(widget)
        self._items.insert(0, self._items.pop())
        self.invalidate()

    def count(self) -> int:
        """Return how many items there are."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        """Return an item, None past the end."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        """Take an item out, None past the end."""
        if not 0 <= index < len(self._items):
            return None
        self.invalidate()
        return self._items.pop(index)

    def expandingDirections(self) -> Qt.Orientation:
        """Ask for no room beyond what is needed."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:
        """Say that a narrow row is a high one."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Return the height at a width."""
        if width not in self._heights:
            self._heights[width] = self._arrange(QRect(0, 0, width, 0), place=False)
        return self._heights[width]

    def setGeometry(self, rect: QRect) -> None:
        """Put every widget in its place."""
        super().setGeometry(rect)
        self._arrange(rect, place=True)

    def sizeHint(self) -> QSize:
        """Return the room of the widest widget, as the least; or of all in one line."""
        if self._hint is None:
            self._hint = self._one_lined() if self._one_line else self.minimumSize()
        return self._hint

    def _one_lined(self) -> QSize:
        shown = [item.sizeHint() for item in self._items if not item.isEmpty()]
        margins = self.contentsMargins()
        width = sum(size.width() for size in shown) + self.spacing() * max(len(shown) - 1, 0)
        height = max((size.height() for size in shown), default=0)
        return QSize(width + margins.left() + margins.right(), height + margins.top() + margins.bottom())

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
        if self._even:
            return self._arrange_evenly(rect, inside, place) + margins.bottom()
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

    def _arrange_evenly(self, rect: QRect, inside: QRect, place: bool) -> int:
        """Do so in columns of one width, and return the height that is needed without the lower margin."""
        shown, gap = [item for item in self._items if not item.isEmpty()], self.spacing()
        if not shown:
            return inside.top() - rect.top()
        widest = max(item.sizeHint().width() for item in shown)
        highest = max(item.sizeHint().height() for item in shown)
        columns = min(max((inside.width() + gap) // (widest + gap), 1), len(shown))
        width = (inside.width() + gap) / columns - gap
        for number, item in enumerate(shown if place else []):
            row, column = divmod(number, columns)
            left, right = (inside.left() + round(c * (width + gap)) for c in (column, column + 1))
            (item.widget() or item).setGeometry(  # an item would keep a tool button as small as its words
                QRect(left, inside.top() + row * (highest + gap), right - gap - left, highest)
            )
        rows = -(-len(shown) // columns)
        height: int = inside.top() + rows * (highest + gap) - gap - rect.top()
        return height

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
        if len(lines) > 1 and len(lines[-1]) == 1 and len(lines[-2]) > 2:
            two = (lines[-2][-1], lines[-1][0])
            if sum(item.sizeHint().width() for item in two) + self.spacing() <= width:
                lines[-2:] = [lines[-2][:-1], list(two)]
        return lines
