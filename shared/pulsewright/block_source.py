"""Where a session's samples come from: blocks of records, one channel of them, or a stretch of either."""

from __future__ import annotations

import math
import os
from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.errors import SessionFileError
from pulsewright.watched_file import WatchedFile

Codes = NDArray[Any]
EVERY = slice(None)
"""Every record, channel or sample."""


class Room:
    """Memory that one reader reads into again and again.

    The system clears fresh memory before it hands it out, which takes several times as long as reading into it.
    """

    def __init__(self) -> None:
        self._bytes = np.empty(0, np.uint8)

    def array(self, shape: tuple[int, ...], dtype: np.dtype[Any]) -> Codes:
        """Return an array over this memory; it holds whatever was there, and the next one takes its place.

        Parameters
        ----------
        shape : tuple of int
        dtype : dtype
        """
        size = math.prod(shape) * dtype.itemsize
        if len(self._bytes) < size:
            self._bytes = np.empty(size, np.uint8)
        held: Codes = self._bytes[:size].view(dtype).reshape(shape)
        return held


class BlockSource(ABC):
    """Samples of one fixed type, records × channels × record length, of which any part can be read.

    What is asked for is cut to what there is, as a slice of a sequence is; what comes back cannot be written to. A kind
    of source says its shape, its type, and how it reads a part.

    Attributes
    ----------
    watched : tuple of WatchedFile
        The files that its samples come from, where it has no other way to tell what becomes of them.
    """

    watched: tuple[WatchedFile, ...] = ()

    @property
    @abstractmethod
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""

    @property
    @abstractmethod
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as it is handed out."""

    @abstractmethod
    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return some neighbouring records on neighbouring channels, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            Their places, in steps of one; inside the shape, and perhaps none.
        """

    def part_in(self, room: Room, records: range, channels: range, samples: range) -> Codes:
        """Return a part as `part` does, in the room given where a kind of source can do so.

        Parameters
        ----------
        room : Room
            What was read into it before is lost.
        records, channels, samples : range
            As for `part`.
        """
        return self.part(records, channels, samples)

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, shape (stop − first, channels, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last.
        """
        return self._taken(slice(first, stop), EVERY, EVERY)

    def read_channel(
        self, first: int, stop: int, channel: int, samples: slice = EVERY, room: Room | None = None
    ) -> Codes:
        """Return records first … stop − 1 on one channel, shape (stop − first, samples).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last.
        channel : int
            Place of the channel, from 0.
        samples : slice
            Which of each record's.
        room : Room, optional
            To read into; fresh memory if None.

        Raises
        ------
        IndexError
            If there is no such channel.
        """
        return self._taken(slice(first, stop), slice(channel, channel + 1), samples, room=room)[:, 0]

    def read_pieces(self, record: int, channel: int, pieces: NDArray[np.int64], room: Room) -> Codes:
        """Return some pieces of one record on one channel one after another, shape (samples,).

        Where a kind of source does not say otherwise, what lies between them is read too.

        Parameters
        ----------
        record, channel : int
            Their places, from 0.
        pieces : int array (pieces, 2)
            First sample of each and the one after its last, rising and inside the record; at least one.
        room : Room
            To read into.
        """
        first, stop = int(pieces[0, 0]), int(pieces[-1, 1])
        whole: Codes = self.read_channel(record, record + 1, channel, slice(first, stop), room)[0]
        if len(pieces) == 1:
            return whole
        codes: Codes = np.concatenate([whole[begin - first : end - first] for begin, end in pieces.tolist()])
        return codes

    def read_stretch(self, record: int, first: int, stop: int, channels: slice = EVERY) -> Codes:
        """Return samples first … stop − 1 of one record, shape (channels, stop − first).

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        first, stop : int
            First sample, and the one after the last.
        channels : slice
            The places of those wanted.

        Raises
        ------
        IndexError
            If there is no such record.
        """
        stretch: Codes = self._taken(slice(record, record + 1), channels, slice(first, stop))[0]
        return stretch

    def _taken(self, *slices: slice, room: Room | None = None) -> Codes:
        """Return a part, cut to what there is."""
        records, channels, samples = (range(size)[wanted] for size, wanted in zip(self.shape, slices, strict=True))
        codes = (
            self.part(records, channels, samples) if room is None else self.part_in(room, records, channels, samples)
        )
        codes.flags.writeable = False
        return codes

    def file_status(self) -> os.stat_result | None:
        """Return the state of the file that is open, whatever has become of its name; None where there is none."""
        return None

    def altered(self) -> str:
        """Return what has become of the file since it was opened, as a clause; empty where it is as it was."""
        return next(filter(None, (file.altered() for file in self.watched)), "")

    def close(self) -> None:
        """Give back what the source holds; nothing, if a kind of source does not say otherwise."""
        return


def slice_of(places: range) -> slice:
    """Return neighbouring places as a slice.

    Parameters
    ----------
    places : range
        In steps of one.
    """
    return slice(places.start, places.stop)


class ArraySource(BlockSource):
    """A block source over an array in memory, for notebooks, simulations and tests."""

    def __init__(self, samples: Codes) -> None:
        self._samples = samples

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        records, channels, length = self._samples.shape
        return records, channels, length

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as stored."""
        return self._samples.dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a view of a part.

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.
        """
        return self._samples[slice_of(records), slice_of(channels), slice_of(samples)]


def pieces_of(source: BlockSource, piece_bytes: int = 32 << 20) -> Iterator[tuple[int, int, Codes]]:
    """Yield all samples in pieces of at most about `piece_bytes`, records larger than that in stretches.

    Parameters
    ----------
    source : BlockSource
        Open.
    piece_bytes : int
        Bytes of a piece as stored; one sample on every channel is the least.

    Yields
    ------
    int, int, array (records, channels, samples)
        Number of the piece's first record, place of its first sample in that record, samples as stored.

    Raises
    ------
    SessionFileError
        After the last one, if the file was altered meanwhile.
    """
    yield from _pieces(source, piece_bytes)
    require_unaltered(source)


def require_unaltered(source: BlockSource) -> None:
    """See that a source's file is as it was when it was opened: what was read of it belongs together then.

    Parameters
    ----------
    source : BlockSource

    Raises
    ------
    SessionFileError
        If it was cut or written to, or if its name means another file now. A file that was removed is still whole
        for whoever has it open.
    """
    altered = source.altered()
    if altered:
        raise altered_meanwhile(altered)


def altered_meanwhile(altered: str) -> SessionFileError:
    """Return the error for a file that is no longer the one that was opened.

    Parameters
    ----------
    altered : str
        What became of it, as `BlockSource.altered` tells.
    """
    return SessionFileError(
        f"{altered} while it was open, so what was read of it may not belong together",
        "open it again once nothing writes there any more",
    )


def _pieces(source: BlockSource, piece_bytes: int) -> Iterator[tuple[int, int, Codes]]:
    records, channels, length = source.shape
    a_sample = max(1, channels * source.dtype.itemsize)
    if a_sample * length <= piece_bytes:
        step = max(1, piece_bytes // max(1, a_sample * length))
        for first in range(0, records, step):
            yield first, 0, source.read(first, min(first + step, records))
        return
    step = max(1, piece_bytes // a_sample)
    for record in range(records):
        for first in range(0, length, step):
            yield record, first, source.read_stretch(record, first, min(first + step, length))[None]
