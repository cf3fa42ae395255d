"""Shows a session just opened part by part: laying out and painting all of the window at once would hold it up."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QWidget

from pulsewright_app.desk.attention import Attention

_LONGEST = 0.5
"""Seconds that all work in the background waits at most until everything is seen."""
_NEXT_MS = 1
"""Other events come in between two parts."""


class Unveiling(QObject):
    """Fills a window while nothing of it is painted, and then lets its parts be painted one after another.

    Parameters
    ----------
    window : QWidget
        The window.
    attention : Attention
        What the workers look at, which wait meanwhile.
    parts : callable
        Returns the parts of the window that take long to paint, the one to be seen first in front.
    """

    def __init__(self, window: QWidget, attention: Attention, parts: Callable[[], Sequence[QWidget]]) -> None:
        super().__init__(window)
        self._window, self._attention, self._parts = window, attention, parts
        self._veiled: list[QWidget] = []
        self._work: list[Callable[[], None]] = []
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.setInterval(_NEXT_MS)
        self._soon.timeout.connect(self._go_on)

    def begin(self, fill: Callable[[], None]) -> None:
        """Do what fills the window as the next event, and have everything painted in those that follow."""
        self._work.append(fill)
        if self._window.isVisible():
            self._attention.hold(_LONGEST)
            self._window.setUpdatesEnabled(False)
        self._soon.start()

    def _go_on(self) -> None:
        if not self._work and self._window.updatesEnabled() and not self._veiled:
            self._attention.release()
            return
        self._soon.start()  # first, as what fills the window may fail
        if self._work:
            self._fill()
        elif not self._window.updatesEnabled():
            self._window.setUpdatesEnabled(True)
        else:
            self._veiled.pop(0).setUpdatesEnabled(True)

    def _fill(self) -> None:
        try:
            while self._work:
                self._work.pop(0)()
        finally:
            if self._window.isVisible():
                self._veiled = list(self._parts())
                for part in self._veiled:
                    part.setUpdatesEnabled(False)
