"""Bytes at a place: out of a file, or out of a packed member of an archive."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import IO, Protocol

from pulsewright.errors import RecordingError

_BINARY = getattr(os, "O_BINARY", 0)


class ByteSource(Protocol):
    """Where bytes come from."""

    @property
    def length(self) -> int:
        """How many there are."""

    def read_at(self, place: int, count: int) -> bytes:
        """Return `count` bytes from `place` on.

        Parameters
        ----------
        place, count : int
            Bytes.
        """

    def close(self) -> None:
        """Give back what is held."""


def ended_early(name: str) -> RecordingError:
    """Return the error for a file that holds less than it promises.

    Parameters
    ----------
    name : str
        The file's name.
    """
    return RecordingError(f"{name}: the file is cut short", "copy the file again")


class FileBytes:
    """The bytes of a file, by positioned reads where the machine has them.

    Parameters
    ----------
    path : Path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self._name = path.name
        self._number = -1
        self._number = os.open(path, os.O_RDONLY | _BINARY)
        self._length = os.fstat(self._number).st_size
        self._lock = threading.Lock()

    def __del__(self) -> None:
        if self._number >= 0:
            os.close(self._number)

    @property
    def length(self) -> int:
        """Bytes in the file when it was opened."""
        return self._length

    def read_at(self, place: int, count: int) -> bytes:
        """Return `count` bytes from `place` on.

        Parameters
        ----------
        place, count : int
            Bytes.

        Raises
        ------
        RecordingError
            If the file does not hold them, has been closed, or cannot be read.
        """
        if place < 0 or count < 0 or place + count > self._length:
            raise ended_early(self._name)
        if self._number < 0:
            raise RecordingError(f"{self._name}: has been closed", "open it again")
        found = bytearray()
        try:
            while len(found) < count:
                piece = self._read_some(place + len(found), min(count - len(found), 1 << 30))
                if not piece:
                    raise ended_early(self._name)
                if len(piece) == count:
                    return piece
                found += piece
        except OSError as error:
            raise RecordingError(f"{self._name}: cannot be read ({error.strerror})", "copy the file again") from error
        return bytes(found)

    def _read_some(self, place: int, count: int) -> bytes:
        if hasattr(os, "pread"):
            return os.pread(self._number, count, place)
        with self._lock:
            os.lseek(self._number, place, os.SEEK_SET)
            return os.read(self._number, count)

    def close(self) -> None:
        """Give back the file."""
        number, self._number = self._number, -1
        if number >= 0:
            os.close(number)


class FilePart:
    """A stretch of a file as bytes of their own.

    Parameters
    ----------
    whole : FileBytes
        The file; closed with the part.
    start, length : int
        Where the stretch begins, and its bytes.
    name : str
        The file's name, for errors.

    Raises
    ------
    RecordingError
        If the file does not hold all of it.
    """

    def __init__(self, whole: FileBytes, start: int, length: int, name: str) -> None:
        self._whole, self._start, self._length, self._name = whole, start, length, name
        if start < 0 or length < 0 or start + length > whole.length:
            raise ended_early(name)

    @property
    def length(self) -> int:
        """Bytes of the stretch."""
        return self._length

    def read_at(self, place: int, count: int) -> bytes:
        """Return `count` bytes from `place` on.

        Parameters
        ----------
        place, count : int
            Bytes of the stretch.

        Raises
        ------
        RecordingError
            If the stretch does not hold them.
        """
        if place < 0 or place + count > self._length:
            raise ended_early(self._name)
        return self._whole.read_at(self._start + place, count)

    def close(self) -> None:
        """Give back the file."""
        self._whole.close()


class PackedBytes:
    """Bytes that must be unpacked in order: quick forwards, from the start again backwards.

    Parameters
    ----------
    name : str
        The file's name, for errors.
    reopen : callable
        Opens the packed stream anew, at its start.
    length : int
        Bytes when unpacked, as promised.
    """

    def __init__(self, name: str, reopen: Callable[[], IO[bytes]], length: int) -> None:
        self._name = name
        self._reopen = reopen
        self._length = length
        self._stream: IO[bytes] | None = None
        self._place = 0
        self._lock = threading.Lock()

    @property
    def length(self) -> int:
        """Bytes when unpacked, as promised."""
        return self._length

    def read_at(self, place: int, count: int) -> bytes:
        """Return `count` bytes from `place` on.

        Parameters
        ----------
        place, count : int
            Bytes of the unpacked stream.

        Raises
        ------
        RecordingError
            If the stream ends before, or is damaged.
        """
        if place < 0 or count < 0 or place + count > self._length:
            raise ended_early(self._name)
        with self._lock:
            try:
                return self._taken(place, count)
            except RecordingError:
                raise
            except Exception as error:  # zipfile and zlib answer damage with several kinds
                raise RecordingError(
                    f"{self._name}: cannot be unpacked ({str(error) or type(error).__name__})", "copy the file again"
                ) from error

    def _taken(self, place: int, count: int) -> bytes:
        if self._stream is None or place < self._place:
            self.close()
            self._stream, self._place = self._reopen(), 0
        while self._place < place:
            skipped = len(self._stream.read(min(place - self._place, 1 << 20)))
            if not skipped:
                raise ended_early(self._name)
            self._place += skipped
        found = bytearray()
        while len(found) < count:
            piece = self._stream.read(min(count - len(found), 1 << 22))
            if not piece:
                raise ended_early(self._name)
            found += piece
        self._place += count
        return bytes(found)

    def close(self) -> None:
        """Give back the stream."""
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.close()
