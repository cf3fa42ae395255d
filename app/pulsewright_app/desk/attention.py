"""Lets background work wait while the window's thread is at work: both need the interpreter, and a person sees one."""

from __future__ import annotations

import threading
import time

from PySide6.QtCore import QAbstractEventDispatcher, QObject

_WAIT = 0.05
"""Seconds that a worker waits at most, each time it gives way."""
_LONG = 0.15
"""Seconds after which the window's thread no longer counts as at work: it waits for a worker, or never rests."""


class Attention(QObject):
    """Knows whether the thread that it was made on handles an event; its event loop says so."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._rests = threading.Event()
        self._rests.set()
        self._began = 0.0
        dispatcher = QAbstractEventDispatcher.instance()
        if dispatcher is not None:
            dispatcher.awake.connect(self._work)
            dispatcher.aboutToBlock.connect(self._rest)

    def _work(self) -> None:
        if self._rests.is_set():
            self._began = time.monotonic()
            self._rests.clear()

    def _rest(self) -> None:
        self._rests.set()

    def give_way(self) -> None:
        """Wait on a worker's thread until the window's thread rests, for some hundredths of a second at most."""
        if not self._rests.is_set() and time.monotonic() - self._began < _LONG:
            self._rests.wait(_WAIT)
