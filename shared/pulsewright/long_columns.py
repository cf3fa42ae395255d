"""Columns that grow piece by piece, and lie in a temporary file once they are long."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

LONG_BYTES = 1 << 20
"""What a column holds in memory before it goes into a file."""
ROWS_AT_ONCE = 1 << 15
"""Of a long array: what `blocks_of` names at a time."""


class LongColumn:
    """Values that are added piece by piece, and handed out in one array at the end.

    A long one lies in a temporary file without a name. It is mapped and not held: the system keeps in memory what is
    looked at, and takes that room back whenever somebody needs it. Where no file can be written, it is held.
    """

    def __init__(self) -> None:
        self._parts: list[NDArray[Any]] = []
        self._bytes = 0
        self._file: IO[bytes] | None = None
        self._held = False

    def add(self, values: NDArray[Any]) -> None:
        """Add some more.

        Parameters
        ----------
        values : array (values,)
            Of the type of those before.
        """
        self._parts.append(np.array(values))  # a copy: a view would keep what it was cut out of
        self._bytes += values.nbytes
        if self._bytes > LONG_BYTES and not self._held:
            self._write()

    def _write(self) -> None:
        written = 0
        try:
            if self._file is None:
                self._file = tempfile.TemporaryFile(prefix="pulsewright-", suffix=".column", buffering=0)  # noqa: SIM115
            written = self._file.tell()
            for part in self._parts:
                write_all(self._file, part)
        except OSError:  # no room on the disk: what is there already is taken back
            self._held = True
            if self._file is not None:
                self._parts.insert(0, self._mapped(written).copy())
                self._file.close()
                self._file = None
            return
        self._parts = [self._parts[-1][:0]]  # its type
        self._bytes = 0

    def whole(self) -> NDArray[Any]:
        """Return all values, shape (values,); nothing can be added after that."""
        if self._file is None:
            return np.concatenate(self._parts) if self._parts else np.zeros(0)
        self._write()
        if self._file is None:
            return np.concatenate(self._parts)
        whole = self._mapped(self._file.tell())
        self._file.close()  # the map keeps what it needs
        self._file = None
        return whole

    def _mapped(self, size: int) -> NDArray[Any]:
        dtype = self._parts[0].dtype
        if not size:
            return np.zeros(0, dtype)
        assert self._file is not None
        # a page that somebody changed would be copied, and the file stay as it is
        return np.asarray(np.memmap(self._file, dtype, mode="c", shape=(size // dtype.itemsize,)))


def blocks_of(rows: int) -> Iterator[slice]:
    """Yield the places of some neighbouring rows at a time, until all were named; one empty slice where there are none.

    Parameters
    ----------
    rows : int
        How many there are.
    """
    for begin in range(0, max(rows, 1), ROWS_AT_ONCE):
        yield slice(begin, min(begin + ROWS_AT_ONCE, rows))


def in_blocks(rows: int, make: Callable[[slice], NDArray[Any]]) -> NDArray[Any]:
    """Return an array that is made some rows at a time, and lies in a temporary file where it is long.

    Parameters
    ----------
    rows : int
        Of the array.
    make : callable
        Returns the rows of a slice, (some rows, …), of one type and shape in all.
    """
    column = LongColumn()
    for places in blocks_of(rows):
        some = make(places)
        column.add(some.reshape(-1))
    return column.whole().reshape(rows, *some.shape[1:])


def write_all(file: IO[bytes], values: NDArray[Any]) -> None:
    """Write values, as they lie in memory, into a file without a buffer, which may take them bit by bit.

    Parameters
    ----------
    file : binary file
        Written to where it stands.
    values : array
        In one piece.
    """
    if not len(values):
        return
    rest = values.data.cast("B")
    while len(rest):
        rest = rest[file.write(rest) :]
