"""The samples that were drawn last, kept up to a number of bytes. No widgets."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from typing import Generic, TypeVar

from pulsewright.session import Codes

K = TypeVar("K", bound=Hashable)


class Kept(Generic[K]):
    """Arrays by key; the one that was used longest ago makes room first, and the newest always stays.

    Parameters
    ----------
    most_bytes : int
        How much is kept.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self._bytes = 0
        self._arrays: OrderedDict[K, Codes] = OrderedDict()

    def get(self, key: K) -> Codes | None:
        """Return what is kept under a key, as used now; None where nothing is."""
        codes = self._arrays.get(key)
        if codes is not None:
            self._arrays.move_to_end(key)
        return codes

    def put(self, key: K, codes: Codes) -> None:
        """Keep an array."""
        self.drop(key)
        self._arrays[key] = codes
        self._bytes += codes.nbytes
        while self._bytes > self._most and len(self._arrays) > 1:
            self._bytes -= self._arrays.popitem(last=False)[1].nbytes

    def drop(self, key: K) -> None:
        """Keep an array no longer."""
        gone = self._arrays.pop(key, None)
        if gone is not None:
            self._bytes -= gone.nbytes

    def clear(self) -> None:
        """Keep nothing."""
        self._arrays.clear()
        self._bytes = 0

    @property
    def newest(self) -> Codes | None:
        """What was used last; None where nothing is kept."""
        return next(reversed(self._arrays.values()), None)
