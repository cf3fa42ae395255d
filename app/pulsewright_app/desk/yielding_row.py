"""A row of controls in which the lesser ones give way where there is no room for all."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QWidget


class YieldingRow(QWidget):
    """A row that can be made narrow: what gives way must be found in a menu, too.

    Parameters
    ----------
    row : QHBoxLayout
        All controls.
    yielding : sequence of QWidget
        Those that give way, the last one first.
    """

    def __init__(self, row: QHBoxLayout, yielding: Sequence[QWidget], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._row, self._yielding = row, tuple(yielding)
        self.setLayout(row)

    def minimumSizeHint(self) -> QSize:
        """Return the room that the others need."""
        least = self._row.minimumSize()
        spared = sum(_width(control) + self._row.spacing() for control in self._yielding if not control.isHidden())
        return QSize(least.width() - spared, least.height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Show as many as there is room for."""
        super().resizeEvent(event)
        room = self.width() - self.minimumSizeHint().width()
        for control in self._yielding:
            room -= _width(control) + self._row.spacing()
            control.setVisible(room >= 0)


def _width(control: QWidget) -> int:
    return max(control.minimumSizeHint().width(), control.minimumWidth())
