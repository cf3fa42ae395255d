"""How much a packed file may unpack to: recordings shrink to a half or a tenth, never to a thousandth."""

from __future__ import annotations

import bz2
import lzma
import zlib
from collections.abc import Callable
from io import RawIOBase
from typing import Any

from pulsewright.errors import RecordingError
from pulsewright.formats.byte_sources import FileBytes

MOST_RATIO = 250
"""A packed file that promises or gives more than so many times its size is no recording."""
ALWAYS_ALLOWED = 64 << 20
"""Bytes that may be unpacked from a file of any size."""


def check_ratio(name: str, unpacked: int, packed: int) -> None:
    """Refuse what would unpack to far more than a recording does.

    Parameters
    ----------
    name : str
        The file's name.
    unpacked, packed : int
        Bytes, as promised or as counted so far.

    Raises
    ------
    RecordingError
        If there are more than `ALWAYS_ALLOWED`, and more than `MOST_RATIO` for each packed one.
    """
    if unpacked > max(ALWAYS_ALLOWED, MOST_RATIO * packed):
        raise RecordingError(
            f"{name}: unpacks to more than {MOST_RATIO} times its size ({unpacked:,} bytes from {packed:,})",
            "unpack it yourself if you trust it, and give what comes out",
        )


_MARKS = {b"\x1f\x8b": "gzip", b"BZh": "bzip2", b"\xfd7zXZ\x00": "xz"}
_DICTIONARY = 192 << 20
"""Bytes that unpacking xz may need; its strongest usual setting needs 65 MB."""
_STEP = 1 << 16


def packed_how(head: bytes) -> str | None:
    """Return the name of the packing that a file begins with: gzip, bzip2 or xz; None for another beginning.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    """
    return next((how for mark, how in _MARKS.items() if head.startswith(mark)), None)


class Unpacking(RawIOBase):
    """A packed stretch of a file, unpacked as it is read, by no more than is asked for and allowed.

    Parameters
    ----------
    data : FileBytes
        The file.
    start, stop : int
        Where the packed bytes lie.
    how : str
        gzip, bzip2, xz, or zlib.
    name : str
        The file's name, for errors.
    """

    def __init__(self, data: FileBytes, start: int, stop: int, how: str, name: str) -> None:
        super().__init__()
        self._data, self._place, self._start, self._stop = data, start, start, stop
        self._how, self._name = how, name
        self._engine: Any = _ENGINES[how]()
        self._waiting = b""
        self._given = 0

    @property
    def share(self) -> float:
        """How much of the packed bytes has been read, 0 … 1."""
        return (self._place - self._start) / max(1, self._stop - self._start)

    def read(self, count: int = -1) -> bytes:
        """Return up to `count` bytes; fewer than that only at the end.

        Parameters
        ----------
        count : int
            At least 0.

        Raises
        ------
        RecordingError
            If the stream is damaged, ends early, or unpacks to far more than a recording does.
        """
        found = bytearray()
        while len(found) < count:
            if self._engine.eof and not self._next_member():
                break
            try:
                piece = self._step(count - len(found))
            except (zlib.error, OSError, lzma.LZMAError, EOFError, MemoryError) as error:
                raise RecordingError(f"{self._name}: cannot be unpacked ({error})", "copy the file again") from error
            if piece is None:
                raise RecordingError(f"{self._name}: its packed content is cut short", "copy the file again")
            found += piece
        self._given += len(found)
        check_ratio(self._name, self._given, self._place - self._start)
        return bytes(found)

    def _step(self, room: int) -> bytes | None:
        """Unpack a little; None where more is needed and there is no more."""
        engine = self._engine
        hungry = not self._waiting if self._how in ("gzip", "zlib") else engine.needs_input
        if hungry:
            self._waiting = self._data.read_at(self._place, min(_STEP, self._stop - self._place))
            self._place += len(self._waiting)
            if not self._waiting:
                return None
        if self._how in ("gzip", "zlib"):
            piece: bytes = engine.decompress(self._waiting, room)
            self._waiting = engine.unused_data if engine.eof else engine.unconsumed_tail
            return piece
        given, self._waiting = self._waiting, b""
        piece = engine.decompress(given, room)
        if engine.eof:
            self._waiting = engine.unused_data
        return piece

    def _next_member(self) -> bool:
        """Begin the next of several packed pieces in one file; what is no such piece ends the content."""
        if self._how == "zlib":
            return False
        if not self._waiting:
            self._waiting = self._data.read_at(self._place, min(_STEP, self._stop - self._place))
            self._place += len(self._waiting)
        self._waiting = self._waiting.lstrip(b"\0")
        if packed_how(self._waiting) != self._how:
            return False
        self._engine = _ENGINES[self._how]()
        return True


_ENGINES: dict[str, Callable[[], Any]] = {
    "gzip": lambda: zlib.decompressobj(31),
    "zlib": zlib.decompressobj,
    "bzip2": bz2.BZ2Decompressor,
    "xz": lambda: lzma.LZMADecompressor(memlimit=_DICTIONARY),
}
