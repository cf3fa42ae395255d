"""The title of a panel with its two buttons, in the letters and colours that the desk is in.

Qt draws the title of a dock in the letters that the dock was built in, and the signs of its buttons in a colour and a
size of their own.
"""

from __future__ import annotations

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QEnterEvent, QPainter, QPaintEvent, QPalette, QPen
from PySide6.QtWidgets import QAbstractButton, QDockWidget, QHBoxLayout, QLabel, QSizePolicy, QWidget

_AIR = 8
"""Pixels at both ends."""


class _TitleButton(QAbstractButton):
    """A small sign to press: a cross that closes, or a page before another that sets the panel free."""

    def __init__(self, cross: bool, name: str) -> None:
        super().__init__()
        self._cross = cross
        self.setAccessibleName(name)
        self.setToolTip(name)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        """Return a square as high as a line of text."""
        side = self.fontMetrics().height()
        return QSize(side, side)

    def enterEvent(self, event: QEnterEvent) -> None:
        """Show that it can be pressed."""
        super().enterEvent(event)
        self.update()

    def leaveEvent(self, event: QEvent) -> None:
        """Show it plain again."""
        super().leaveEvent(event)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the sign, and a frame where it has the keyboard or the pointer."""
        painter, side = QPainter(self), float(self.height())
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        role = QPalette.ColorRole
        if self.hasFocus() or self.underMouse():
            painter.setPen(QPen(self.palette().color(role.Link), 1.0))
            painter.drawRect(QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5))
        painter.setPen(QPen(self.palette().color(role.WindowText), max(1.0, side / 14)))
        low, high = 0.3 * side, 0.7 * side
        if self._cross:
            painter.drawLine(QPointF(low, low), QPointF(high, high))
            painter.drawLine(QPointF(low, high), QPointF(high, low))
        else:
            away = 0.12 * side
            painter.drawRect(QRectF(low - away, low + away, high - low, high - low))
            painter.drawPolyline(
                [QPointF(low + away, low - away), QPointF(high + away, low - away), QPointF(high + away, high - away)]
            )


class DockTitle(QWidget):
    """Stands above a panel; the dock is dragged by it.

    Parameters
    ----------
    title : str
        The panel's name.
    dock : QDockWidget
        What it is the title of.
    """

    def __init__(self, title: str, dock: QDockWidget) -> None:
        super().__init__(dock)
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.label = QLabel(title)
        floats, closes = _TitleButton(False, f"Float the panel {title}"), _TitleButton(True, f"Close the panel {title}")
        floats.clicked.connect(lambda: dock.setFloating(not dock.isFloating()))
        closes.clicked.connect(dock.close)
        row = QHBoxLayout(self)
        row.setContentsMargins(_AIR, 4, _AIR // 2, 4)
        row.setSpacing(4)
        row.addWidget(self.label, 1)
        for button in (floats, closes):
            row.addWidget(button)
