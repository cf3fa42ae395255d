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


class WindowThread:
    """What workers look at: whether the one thread that handles the events of all windows is at work."""

    def __init__(self) -> None:
        self._rests = threading.Event()
        self._rests.set()
        self._asked_until = 0.0
        """When an event that is being handled no longer counts; 0 while none is."""
        self._holds: dict[Attention, float] = {}
        """What goes on over several events, each with its end."""
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
        """Whether any window is at something that goes on over several events; on the windows' thread alone."""
        return any(until > time.monotonic() for until in self._holds.values())

    def held_by(self, holder: Attention) -> bool:
        """Return whether what a window is at goes on over several events; on the windows' thread alone."""
        return self._holds.get(holder, 0.0) > time.monotonic()

    @contextmanager
    def asked(self) -> Iterator[None]:
        """Ask for the workers' patience meanwhile; on the windows' thread alone."""
        if self.at_work:  # asked for already, by what this is a part of
            yield
            return
        self._asked_until = time.monotonic() + _LONG
        self._settle()
        try:
            yield
        finally:
            self._asked_until = 0.0
            self._settle()

    def hold(self, holder: Attention, seconds: float) -> None:
        """Let a window ask for patience over several events."""
        self._holds[holder] = time.monotonic() + seconds
        self._settle()

    def release(self, holder: Attention) -> None:
        """End what one window asked for, and nothing else."""
        self._holds.pop(holder, None)
        self._settle()

    def release_all(self) -> None:
        """End what every window asked for: the thread is about to wait for a worker."""
        self._holds.clear()
        self._settle()

    def _settle(self) -> None:
        now = time.monotonic()
        self._holds = {holder: until for holder, until in self._holds.items() if until > now}
        self._until = max(self._asked_until, *self._holds.values(), 0.0)
        if self._until:
            self._rests.clear()
        else:
            self._rests.set()

    def give_way(self) -> None:
        """Wait on a worker's thread until the windows are done, or until they no longer count as at work."""
        left = self._until - time.monotonic()
        if self.at_work and left > 0:
            self._rests.wait(left if self._holds else min(left, _WAIT))

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
        """Wait on a worker's thread for the windows, and for the picture in front where that takes long."""
        self.give_way()
        left = self._drawing_until - time.monotonic()
        if not self._drawn.is_set() and left > 0:
            self._drawn.wait(left)


OF_ALL_WINDOWS = WindowThread()
"""Whatever windows there are, one thread handles the events of all."""


class Attention:
    """What one window asks of all workers; what another window asked for is not ended by it."""

    def __init__(self, thread: WindowThread) -> None:
        self.thread = thread

    @property
    def held(self) -> bool:
        """Whether the window is at something that goes on over several events."""
        return self.thread.held_by(self)

    def hold(self, seconds: float) -> None:
        """Ask for the workers' patience until `release`, or for some seconds at most; on the windows' thread alone."""
        self.thread.hold(self, seconds)

    def release(self) -> None:
        """End what `hold` began."""
        self.thread.release(self)
