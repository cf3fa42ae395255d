"""A row of controls in which the lesser ones give way where there is no room for all."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QWidget

_MOST_OF_WINDOW = 0.4


class YieldingRow(QWidget):
    """A row that can be made narrow: what gives way must be found in a menu, too.

    Parameters
    ----------
    row : QHBoxLayout
        All controls.
    yielding : sequence of QWidget
        Those that give way, the last one first.
    at_last : sequence of QWidget
        Those that give way after all others, and only where the row would take a large part of the window, as it does
        in large letters on a small screen.
    """

    def __init__(
        self,
        row: QHBoxLayout,
        yielding: Sequence[QWidget],
        at_last: Sequence[QWidget] = (),
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._row, self._yielding, self._at_last = row, tuple(yielding), tuple(at_last)
        self.setLayout(row)

    def minimumSizeHint(self) -> QSize:
        """Return the room that the others need."""
        least = self._row.minimumSize()
        width = least.width() - self._needed([control for control in self._yielding if not control.isHidden()])
        shown, hidden = ([c for c in self._at_last if c.isHidden() is so] for so in (False, True))
        if width + self._needed(hidden) > _MOST_OF_WINDOW * self.window().width():
            width -= self._needed(shown)
        else:
            width += self._needed(hidden)
        return QSize(width, least.height())

    def _needed(self, controls: Sequence[QWidget]) -> int:
        return sum(_width(control) + self._row.spacing() for control in controls)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Show as many as there is room for."""
        super().resizeEvent(event)
        least = self._row.minimumSize().width()
        every = (*self._at_last, *self._yielding)
        room = self.width() - least + self._needed([control for control in every if not control.isHidden()])
        for control in every:
            room -= _width(control) + self._row.spacing()
            control.setVisible(room >= 0)


def _width(control: QWidget) -> int:
    return max(control.minimumSizeHint().width(), control.minimumWidth())
