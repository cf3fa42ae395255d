"""Lets background work wait while the window paints or takes a result: both need the interpreter. No widgets."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

_WAIT = 0.05
"""Seconds that a worker waits at most, each time it gives way."""
_LONG = 0.15
"""Seconds after which the window no longer counts as at work: it may be waiting for a worker itself."""


class Attention:
    """Knows whether the window's thread is at something that a person waits for."""

    def __init__(self) -> None:
        self._rests = threading.Event()
        self._rests.set()
        self._began = 0.0

    @property
    def at_work(self) -> bool:
        """Whether it is."""
        return not self._rests.is_set()

    @contextmanager
    def asked(self) -> Iterator[None]:
        """Ask for the workers' patience meanwhile; on the window's thread alone."""
        if self.at_work:  # asked for already, by what this is a part of
            yield
            return
        self._began = time.monotonic()
        self._rests.clear()
        try:
            yield
        finally:
            self._rests.set()

    def give_way(self) -> None:
        """Wait on a worker's thread until the window is done, for some hundredths of a second at most."""
        if self.at_work and time.monotonic() - self._began < _LONG:
            self._rests.wait(_WAIT)


OF_ALL_WINDOWS = Attention()
"""Whatever windows there are, one thread handles the events of all."""
