"""Memory of the desk: where freed blocks go, and when and on which thread garbage is looked for. No widgets."""

from __future__ import annotations

import ctypes
import gc
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX = -1, -3, -8
"""Numbers of the settings of mallopt(3), from its manual page."""
LARGE = 256 << 10
"""Bytes of a block that is asked of the system by itself. A picture or a block of records is larger."""
_KEPT_AT_THE_END = 512 << 10
_ARENAS = 2


def give_back_large_blocks() -> bool:
    """Let the C library return large blocks when they are freed; say whether it could be told so.

    Without this it raises the size from which on it does so up to 32 MiB as the program goes on, and pictures and
    blocks of records of many sizes then leave gaps in its heaps: a desk that is used all day takes ever more memory,
    while no object of it grows.
    """
    if not sys.platform.startswith("linux"):
        return False
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError):  # a C library without it
        return False
    told = ((_MMAP_THRESHOLD, LARGE), (_TRIM_THRESHOLD, _KEPT_AT_THE_END), (_ARENA_MAX, _ARENAS))
    return all(mallopt(setting, value) for setting, value in told)


class Searches:
    """Holds back the interpreter's own searches for garbage while anybody wants them to rest."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._resting = 0

    def rest(self) -> None:
        """Let none begin by itself, until `resume` is called as often as this; on any thread."""
        with self._lock:
            self._resting += 1
            gc.disable()

    def resume(self) -> None:
        """Take back one `rest`."""
        with self._lock:
            self._resting -= 1
            if not self._resting:
                gc.enable()


SEARCHES = Searches()
_ONE_AT_A_TIME = threading.RLock()


def look_for_garbage() -> None:
    """Do what the interpreter would do by itself: search the generations whose threshold has been passed."""
    over = [count > threshold for count, threshold in zip(gc.get_count(), gc.get_threshold(), strict=True)]
    if over[0]:
        gc.collect(2 if all(over) else 1 if over[1] else 0)


@contextmanager
def unsearched() -> Iterator[None]:
    """Look for no garbage meanwhile, nor ever in what was there by then: for making what stays for good.

    A library brings some ten thousand objects that do. Each search for garbage that goes through all of them keeps the
    interpreter, on whatever thread it happens, for longer than a person waits without noticing.
    """
    SEARCHES.rest()
    try:
        yield
    finally:
        gc.freeze()
        SEARCHES.resume()


@contextmanager
def loading(module: str) -> Iterator[None]:
    """Import a module without a pause of the window (see `unsearched`); nothing is done where it was imported before.

    One thread at a time imports: where two import modules that need each other, in different orders, the interpreter
    hands one of them out half loaded, and whoever asked for it fails. Others wait: nothing long belongs in here.
    """
    with _ONE_AT_A_TIME:
        if module in sys.modules:
            yield
            return
        with unsearched():
            yield
