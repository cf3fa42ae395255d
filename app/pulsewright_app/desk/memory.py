"""Gives large blocks of memory back as soon as they are free, where the C library would keep them. No widgets."""

from __future__ import annotations

import ctypes
import sys

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
