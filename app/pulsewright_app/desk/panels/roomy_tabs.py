"""Tabs that have room for the whole of their words."""

from __future__ import annotations

from PySide6.QtCore import QSize
from PySide6.QtWidgets import QStyle, QTabBar, QTabWidget, QWidget


class _RoomyBar(QTabBar):
    """The style draws the words of a tab that is not chosen lower, and cuts what hangs below the line."""

    def tabSizeHint(self, index: int) -> QSize:
        """Return a tab's size, with the room that lowering takes above and below."""
        size = super().tabSizeHint(index)
        lowered = self.style().pixelMetric(QStyle.PixelMetric.PM_TabBarTabShiftVertical, None, self)
        return size + QSize(0, 2 * abs(lowered))


class RoomyTabs(QTabWidget):
    """Pages behind tabs, each as wide as its words."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setTabBar(_RoomyBar())
        self.setDocumentMode(True)
        self.tabBar().setExpanding(False)
