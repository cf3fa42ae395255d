"""Lets background work wait while the window paints or takes a result: both need the interpreter. No widgets."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

_WAIT = 0.05
"""Seconds that a worker waits at most for one event, each time it gives way."""
_PICTURE = 0.2
"""Seconds that the picture of the view in front goes before all other work; a longer one shares the cores with it."""
_LONG = 0.15
"""Seconds after which the window no longer counts as at work: it may be waiting for a worker itself."""


class Attention:
    """Knows whether the window's thread is at something that a person waits for."""

    def __init__(self) -> None:
        self._rests = threading.Event()
        self._rests.set()
        self._asked = False
        self._held = False
        self._until = 0.0
        """When whoever waits goes on all the same, by the monotonic clock."""
        self._drawn = threading.Event()
        self._drawn.set()
        self._drawing, self._drawing_until = 0, 0.0
        self._count = threading.Lock()

    @property
    def at_work(self) -> bool:
        """Whether it is, and has not been for too long."""
        return not self._rests.is_set() and time.monotonic() < self._until

    @property
    def held(self) -> bool:
        """Whether it is at something that goes on over several events."""
        return self._held and self.at_work

    @contextmanager
    def asked(self) -> Iterator[None]:
        """Ask for the workers' patience meanwhile; on the window's thread alone."""
        if self.at_work:  # asked for already, by what this is a part of
            yield
            return
        self._asked, self._held = True, False  # a hold from before has lasted too long
        self._begin(_LONG)
        try:
            yield
        finally:
            self._asked = False
            if not self._held:
                self._rests.set()

    def hold(self, seconds: float) -> None:
        """Ask for the workers' patience until `release`, or for some seconds at most; on the window's thread alone."""
        self._held = True
        self._begin(seconds)

    def release(self) -> None:
        """End what `hold` began."""
        self._held = False
        if not self._asked:
            self._rests.set()

    def _begin(self, seconds: float) -> None:
        self._until = time.monotonic() + seconds
        self._rests.clear()

    def give_way(self) -> None:
        """Wait on a worker's thread until the window is done, or until it no longer counts as at work."""
        left = self._until - time.monotonic()
        if self.at_work and left > 0:
            self._rests.wait(left if self._held else min(left, _WAIT))

    @contextmanager
    def drawing(self) -> Iterator[None]:
        """Let other workers wait for a picture that is being made; on the worker's thread that makes it."""
        with self._count:
            self._drawing += 1
            self._drawing_until = time.monotonic() + _PICTURE
            self._drawn.clear()
        try:
            yield
        finally:
            with self._count:
                self._drawing -= 1
                if not self._drawing:
                    self._drawn.set()

    def give_way_to_pictures(self) -> None:
        """Wait on a worker's thread for the window, and for the picture of the view in front where that takes long."""
        self.give_way()
        left = self._drawing_until - time.monotonic()
        if not self._drawn.is_set() and left > 0:
            self._drawn.wait(left)


OF_ALL_WINDOWS = Attention()
"""Whatever windows there are, one thread handles the events of all."""
