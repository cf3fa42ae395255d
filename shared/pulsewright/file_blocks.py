"""Blocks of samples out of a file: by positioned reads where samples lie in one piece, else through HDF5."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.block_source import EVERY, Codes
from pulsewright.errors import SessionFileError

_POSITIONED_READ: Callable[..., int] | None = getattr(os, "preadv", None)
_BINARY = getattr(os, "O_BINARY", 0)
WORTH_SKIPPING = 16 << 10
"""Bytes of a record's other channels from which on reading each record by itself is faster than reading them too."""


def can_read_at() -> bool:
    """Say whether this machine reads at a position without moving a shared one."""
    return _POSITIONED_READ is not None


class _Descriptor:
    """An open file that closes when its last user lets go, so that closing never pulls it from under a reader."""

    def __init__(self, path: Path) -> None:
        self.number = -1
        self.number = os.open(path, os.O_RDONLY | _BINARY)

    def __del__(self) -> None:
        if self.number >= 0:
            os.close(self.number)


class FileSource:
    """What both sources share: shape, type, and the error for a file that changes while it is read.

    Parameters
    ----------
    name : str
        The file's name, for errors.
    shape : tuple of int
        Records, channels, record length.
    stored_dtype : dtype
        The type of a sample in the file, in the file's byte order.
    """

    def __init__(self, name: str, shape: tuple[int, int, int], stored_dtype: np.dtype[Any]) -> None:
        self._name = name
        self._shape = shape
        self._stored_dtype = stored_dtype
        self._dtype = stored_dtype.newbyteorder("=")

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._shape

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample, in this machine's byte order."""
        return self._dtype

    def _span(self, first: int, stop: int) -> tuple[int, int]:
        """Return first and stop as a slice would take them."""
        start, end, _ = slice(first, stop).indices(self._shape[0])
        return start, max(start, end)

    def _failed(self, first: int, stop: int, why: object) -> SessionFileError:
        reason = " ".join(str(why).split())
        return SessionFileError(
            f"{self._name}: /samples cannot be read in records {first} to {stop - 1} ({reason})",
            "copy the file again",
        )

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, read-only.

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.

        Returns
        -------
        array (stop − first, channels, record length)
            Samples as stored, in this machine's byte order.

        Raises
        ------
        NotImplementedError
            Here; each kind of source reads in its own way.
        """
        raise NotImplementedError

    def read_channel(self, first: int, stop: int, channel: int) -> Codes:
        """Return records first … stop − 1 on one channel, read-only, shape (stop − first, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.
        channel : int
            Place of the channel, from 0.
        """
        return self.read(first, stop)[:, channel]

    def close(self) -> None:
        """Give back the file.

        Raises
        ------
        NotImplementedError
            Here; each kind of source closes what it holds.
        """
        raise NotImplementedError


class PositionedSource(FileSource):
    """Samples in one piece, read where they lie: any number of threads at once, at the speed of memory.

    Not by memory map: a file that shrinks would end the process, and mapped pages count as resident memory.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Its name, for errors.
    start : int
        The first sample's place, bytes from the start of the file.
    shape, stored_dtype
        As for `FileSource`.
    """

    def __init__(
        self, path: Path, name: str, start: int, shape: tuple[int, int, int], stored_dtype: np.dtype[Any]
    ) -> None:
        super().__init__(name, shape, stored_dtype)
        self._start = start
        self._descriptor: _Descriptor | None = _Descriptor(path)

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, shape (stop − first, channels, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.

        Raises
        ------
        SessionFileError
            If the file has become shorter, cannot be read, or has been closed.
        """
        first, stop = self._span(first, stop)
        block = np.empty((stop - first, *self._shape[1:]), self._stored_dtype)
        return self._filled(first, stop, [(block, self._place(first, 0))], block)

    def read_channel(self, first: int, stop: int, channel: int) -> Codes:
        """Return records first … stop − 1 on one channel, shape (stop − first, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.
        channel : int
            Place of the channel, from 0.

        Raises
        ------
        SessionFileError
            If the file has become shorter, cannot be read, or has been closed.
        """
        _, channels, length = self._shape
        if (channels - 1) * length * self._stored_dtype.itemsize < WORTH_SKIPPING:
            return self.read(first, stop)[:, channel]
        return self.read_channel_stretch(first, stop, channel, 0, length)

    def read_channel_stretch(self, first: int, stop: int, channel: int, begin: int, end: int) -> Codes:
        """Return samples begin … end − 1 of records first … stop − 1 on one channel, shape (records, samples).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.
        channel : int
            Place of the channel, from 0.
        begin, end : int
            First sample, and the one after the last; inside the record.

        Raises
        ------
        SessionFileError
            If the file has become shorter, cannot be read, or has been closed.
        """
        first, stop = self._span(first, stop)
        block = np.empty((stop - first, end - begin), self._stored_dtype)
        skipped = begin * self._stored_dtype.itemsize
        pieces = [(block[i], self._place(first + i, channel) + skipped) for i in range(stop - first)]
        return self._filled(first, stop, pieces, block)

    def read_stretch(self, record: int, first: int, stop: int, channels: slice = EVERY) -> Codes:
        """Return samples first … stop − 1 of one record, shape (channels, stop − first).

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        first, stop : int
            First sample, and the one after the last, as a slice takes them.
        channels : slice
            The places of those wanted.

        Raises
        ------
        SessionFileError
            If the file has become shorter, cannot be read, or has been closed.
        """
        _, count, length = self._shape
        first, stop, _ = slice(first, stop).indices(length)
        wanted = range(count)[channels]
        block = np.empty((len(wanted), max(stop - first, 0)), self._stored_dtype)
        skipped = first * self._stored_dtype.itemsize
        pieces = [(row, self._place(record, channel) + skipped) for row, channel in zip(block, wanted, strict=True)]
        return self._filled(record, record + 1, pieces, block)

    def _place(self, record: int, channel: int) -> int:
        """Return where a record's samples on a channel begin, bytes from the start of the file."""
        _, channels, length = self._shape
        return self._start + (record * channels + channel) * length * self._stored_dtype.itemsize

    def _filled(self, first: int, stop: int, pieces: list[tuple[Codes, int]], block: Codes) -> Codes:
        """Read every piece of a block from its place in the file, and return the block in this machine's byte order."""
        descriptor = self._descriptor
        if descriptor is None:
            raise self._failed(first, stop, "the session has been closed")
        try:
            for piece, position in pieces:
                self._fill(descriptor.number, piece, position)
        except (OSError, EOFError) as error:
            raise self._failed(first, stop, error) from error
        codes = block.astype(self._dtype, copy=False)
        codes.flags.writeable = False
        return codes

    @staticmethod
    def _fill(number: int, block: Codes, position: int) -> None:
        assert _POSITIONED_READ is not None
        room = block.reshape(-1).view(np.uint8)
        done = 0
        while done < len(room):  # one call reads 2 GB at most
            count = _POSITIONED_READ(number, [room[done:]], position + done)
            if count == 0:
                raise EOFError("the file has become shorter")
            done += count

    def close(self) -> None:
        """Give back the file, once reads under way have ended."""
        self._descriptor = None


class ChunkedSource(FileSource):
    """Chunked or compressed samples, through HDF5, whose own lock lets one thread read at a time.

    Parameters
    ----------
    file : h5py.File
        Open for reading; closed with the source.
    dataset : h5py.Dataset
        The samples.
    name, shape
        As for `FileSource`.
    """

    def __init__(self, file: Any, dataset: Any, name: str, shape: tuple[int, int, int]) -> None:
        super().__init__(name, shape, dataset.dtype)
        self._file = file
        self._dataset = dataset

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, shape (stop − first, channels, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.

        Raises
        ------
        SessionFileError
            If a chunk is damaged, or the session has been closed.
        """
        return self._taken(first, stop, slice(None))

    def read_channel(self, first: int, stop: int, channel: int) -> Codes:
        """Return records first … stop − 1 on one channel, shape (stop − first, record length).

        Chunks that hold other channels too are unpacked whole all the same.

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.
        channel : int
            Place of the channel, from 0.

        Raises
        ------
        SessionFileError
            If a chunk is damaged, or the session has been closed.
        """
        return self._taken(first, stop, channel)

    def read_channel_stretch(self, first: int, stop: int, channel: int, begin: int, end: int) -> Codes:
        """Return samples begin … end − 1 of records first … stop − 1 on one channel, shape (records, samples).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.
        channel : int
            Place of the channel, from 0.
        begin, end : int
            First sample, and the one after the last; inside the record.

        Raises
        ------
        SessionFileError
            If a chunk is damaged, or the session has been closed.
        """
        return self._taken(first, stop, channel, slice(begin, end))

    def read_stretch(self, record: int, first: int, stop: int, channels: slice = EVERY) -> Codes:
        """Return samples first … stop − 1 of one record, shape (channels, stop − first).

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        first, stop : int
            First sample, and the one after the last, as a slice takes them.
        channels : slice
            The places of those wanted.

        Raises
        ------
        SessionFileError
            If a chunk is damaged, or the session has been closed.
        """
        stretch: Codes = self._taken(record, record + 1, channels, slice(first, stop))[0]
        return stretch

    def _taken(self, first: int, stop: int, channels: int | slice, samples: slice = slice(None)) -> Codes:
        first, stop = self._span(first, stop)
        if not self._file:
            raise self._failed(first, stop, "the session has been closed")
        try:
            codes: Codes = np.asarray(self._dataset[first:stop, channels, samples]).astype(self._dtype, copy=False)
        except Exception as error:  # h5py answers damage with nearly any type of exception
            raise self._failed(first, stop, error) from error
        codes.flags.writeable = False
        return codes

    def close(self) -> None:
        """Give back the file."""
        self._file.close()
