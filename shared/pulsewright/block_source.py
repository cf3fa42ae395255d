"""Where a session's samples come from: blocks of records, one channel of them, or a stretch of one record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[Any]
EVERY = slice(None)
"""Every channel."""


class BlockSource(Protocol):
    """Where a session's samples come from; codes of one fixed integer type, or float32."""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as stored."""

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, shape (stop − first, channels, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last.
        """

    def read_channel(self, first: int, stop: int, channel: int) -> Codes:
        """Return records first … stop − 1 on one channel, shape (stop − first, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last.
        channel : int
            Place of the channel, from 0.
        """

    def close(self) -> None:
        """Give back what the source holds."""


@runtime_checkable
class StretchSource(Protocol):
    """A block source that can read a part of a record, so that one record may be larger than memory."""

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
        """


@runtime_checkable
class ChannelStretchSource(Protocol):
    """A block source that can read a part of one channel, so that a zoom costs what is seen."""

    def read_channel_stretch(self, first: int, stop: int, channel: int, begin: int, end: int) -> Codes:
        """Return samples begin … end − 1 of records first … stop − 1 on one channel, shape (records, samples).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last.
        channel : int
            Place of the channel, from 0.
        begin, end : int
            First sample, and the one after the last; inside the record.
        """


class ArraySource:
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

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, as a read-only view.

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.

        Returns
        -------
        array (stop − first, channels, record length)
            Samples as stored.
        """
        block = self._samples[first:stop]
        block.flags.writeable = False
        return block

    def read_channel(self, first: int, stop: int, channel: int) -> Codes:
        """Return records first … stop − 1 on one channel, as a read-only view.

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.
        channel : int
            Place of the channel, from 0.

        Returns
        -------
        array (stop − first, record length)
            Samples as stored.
        """
        return self.read(first, stop)[:, channel]

    def read_stretch(self, record: int, first: int, stop: int, channels: slice = EVERY) -> Codes:
        """Return samples first … stop − 1 of one record, as a read-only view.

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        first, stop : int
            First sample, and the one after the last, as a slice takes them.
        channels : slice
            The places of those wanted.

        Returns
        -------
        array (channels, stop − first)
            Samples as stored.
        """
        return self.read(record, record + 1)[0, channels, first:stop]

    def close(self) -> None:
        """Nothing is held."""


def stretch_of(source: BlockSource, record: int, first: int, stop: int, channels: slice = EVERY) -> Codes:
    """Return samples first … stop − 1 of one record, the whole record read only where the source knows no other way.

    Parameters
    ----------
    source : BlockSource
        Open.
    record : int
        Number of the record, from 0.
    first, stop : int
        First sample, and the one after the last.
    channels : slice
        The places of those wanted.

    Returns
    -------
    array (channels, stop − first)
        Samples as stored.
    """
    if isinstance(source, StretchSource):
        return source.read_stretch(record, first, stop, channels)
    return source.read(record, record + 1)[0, channels, first:stop]


def channel_stretch_of(source: BlockSource, first: int, stop: int, channel: int, begin: int, end: int) -> Codes:
    """Return samples begin … end − 1 of records first … stop − 1 on one channel, whole records where need be.

    Parameters
    ----------
    source : BlockSource
        Open.
    first, stop : int
        First record, and the one after the last.
    channel : int
        Place of the channel, from 0.
    begin, end : int
        First sample, and the one after the last; inside the record.

    Returns
    -------
    array (stop − first, end − begin)
        Samples as stored.
    """
    if isinstance(source, ChannelStretchSource):
        return source.read_channel_stretch(first, stop, channel, begin, end)
    return source.read_channel(first, stop, channel)[:, begin:end]


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
    """
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
            yield record, first, stretch_of(source, record, first, min(first + step, length))[None]
