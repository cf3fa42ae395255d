"""Looks for garbage on the window's thread alone: what Qt owns must not be taken apart on another."""

from __future__ import annotations

from PySide6.QtCore import QObject, QTimer

from pulsewright_app.desk.attention import WindowThread
from pulsewright_app.desk.memory import SEARCHES, look_for_garbage

_EVERY = 500
"""Milliseconds between two looks."""


class Tidying(QObject):
    """While it is at work, the interpreter begins no search for garbage by itself.

    It would begin one on whatever thread makes an object at that moment. A worker would then take apart widgets that
    only refer to each other, whose destruction belongs to the thread that handles their events: the process may end.
    """

    def __init__(self, thread: WindowThread, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._thread = thread
        self._ended = False
        SEARCHES.rest()
        self._clock = QTimer(self)
        self._clock.timeout.connect(self._look)
        self._clock.start(_EVERY)

    def _look(self) -> None:
        if not self._thread.held:  # a person waits for something that takes several events
            look_for_garbage()

    def end(self) -> None:
        """Let the interpreter search by itself again, unless another is still at work; may be called twice."""
        if not self._ended:
            self._ended = True
            self._clock.stop()
            SEARCHES.resume()
