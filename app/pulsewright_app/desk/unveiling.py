"""Shows what fills the whole window part by part: laying out and painting all of it at once would hold it up."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QWidget

from pulsewright_app.desk.attention import Attention

_LONGEST = 0.5
"""Seconds that all work in the background waits at most until everything is seen."""
_NEXT_MS = 1
"""Other events come in between two parts."""
_REST_MS = 25
"""Until then, most workers have come to where they wait."""


class Unveiling(QObject):
    """Fills a window while none of its parts is painted, and then lets them be painted one after another.

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
        self._work: list[Callable[[], object]] = []
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.timeout.connect(self._go_on)

    @property
    def busy(self) -> bool:
        """Whether something is still to be filled or to be painted."""
        return self._soon.isActive()

    def soon(self, fill: Callable[[], object]) -> None:
        """Do what fills the window as an event of its own, and have its parts painted in those that follow."""
        self._veil()
        self._work.append(fill)
        self._soon.start(_REST_MS if self._attention.held else _NEXT_MS)

    def now(self, fill: Callable[[], object]) -> None:
        """Do what fills the window at once, and have its parts painted in the events that follow."""
        self._veil()
        self._soon.start(_NEXT_MS)
        fill()

    def _veil(self) -> None:
        if not self._window.isVisible():
            return
        self._attention.hold(_LONGEST)
        self._veiled = list(self._parts())
        for part in self._veiled:
            part.setUpdatesEnabled(False)

    def _go_on(self) -> None:
        if not self._work and not self._veiled:
            self._attention.release()
            return
        self._soon.start(_NEXT_MS)  # first, as what fills the window may fail
        if self._work:
            self._work.pop(0)()
        else:
            self._veiled.pop(0).setUpdatesEnabled(True)
