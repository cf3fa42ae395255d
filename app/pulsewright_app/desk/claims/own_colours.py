"""Lets the chosen row of a list keep its own colour, where that says something."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QBrush, QPalette
from PySide6.QtWidgets import QStyledItemDelegate, QStyleOptionViewItem


class OwnColours(QStyledItemDelegate):
    """Draws a chosen row in the colour of its letters, not in that of chosen rows."""

    def initStyleOption(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> None:
        """Take the row's own colour for the letters of a chosen one."""
        super().initStyleOption(option, index)
        colour = index.data(Qt.ItemDataRole.ForegroundRole)
        if isinstance(colour, QBrush):
            option.palette.setBrush(QPalette.ColorRole.HighlightedText, colour)
