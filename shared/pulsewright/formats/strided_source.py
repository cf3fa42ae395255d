"""Samples at regular places of a file: any order of records, channels and samples, headers and gaps between them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource, Codes
from pulsewright.formats.byte_sources import ByteSource, ended_early
from pulsewright.formats.sample_types import StoredType, as_type

_WASTE = 2
"""Up to so many times as many bytes as are wanted are read in one go, rather than each stretch by itself."""
_ONE_READ = 64 << 20


class StridedSource(BlockSource):
    """A block source over bytes in which each sample's place is start + record, channel and sample times their strides.

    Parameters
    ----------
    data : ByteSource
        Closed with the source.
    name : str
        The file's name, for errors.
    start : int
        Place of the first sample, bytes.
    shape, strides : tuple of int
        Records, channels, record length; and bytes from one to the next of each.
    stored : StoredType
        How a sample lies in the file.
    dtype : dtype
        The type to hand out.

    Raises
    ------
    RecordingError
        If the last sample would lie beyond the end.
    """

    def __init__(
        self,
        data: ByteSource,
        name: str,
        start: int,
        shape: tuple[int, int, int],
        strides: tuple[int, int, int],
        stored: StoredType,
        dtype: np.dtype[Any],
    ) -> None:
        self._data, self._name, self._start = data, name, start
        self._shape, self._strides = shape, strides
        self._stored, self._dtype = stored, dtype
        last = start + sum((size - 1) * stride for size, stride in zip(shape, strides, strict=True)) + stored.size
        if start < 0 or min(shape) < 1 or min(strides) < 0 or last > data.length:
            raise ended_early(name)

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._shape

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as it is handed out."""
        return self._dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.
        """
        ranges = (records, channels, samples)
        counts = tuple(len(axis) for axis in ranges)
        out = np.empty(counts, self._dtype)
        if out.size:
            start = self._start + sum(axis[0] * stride for axis, stride in zip(ranges, self._strides, strict=True))
            self._fill(out, start, counts)
        return out

    def close(self) -> None:
        """Give back the file."""
        self._data.close()

    def _fill(self, out: Codes, start: int, counts: tuple[int, ...]) -> None:
        """Read whole stretches along the quick axes, and step through the slow ones."""
        slowest_first = sorted(range(3), key=lambda axis: -self._strides[axis])
        stepped = next(depth for depth in range(4) if depth == 3 or self._worth_one_read(counts, slowest_first[depth:]))
        slow = slowest_first[:stepped]
        for places in product(*(range(counts[axis]) for axis in slow)):
            chosen: list[int | slice] = [slice(None)] * 3
            at = start
            for axis, place in zip(slow, places, strict=True):
                chosen[axis] = slice(place, place + 1)
                at += place * self._strides[axis]
            piece = tuple(1 if axis in slow else counts[axis] for axis in range(3))
            out[tuple(chosen)] = self._piece(at, piece)

    def _worth_one_read(self, counts: tuple[int, ...], axes: list[int]) -> bool:
        wanted = self._stored.size
        for axis in axes:
            wanted *= counts[axis]
        span = self._span(counts, axes)
        return span <= max(_WASTE * wanted, 4096) and span <= max(_ONE_READ, wanted)

    def _span(self, counts: tuple[int, ...], axes: list[int]) -> int:
        return self._stored.size + sum((counts[axis] - 1) * self._strides[axis] for axis in axes)

    def _piece(self, at: int, counts: tuple[int, ...]) -> Codes:
        raw = self._data.read_at(at, self._span(counts, [0, 1, 2]))
        shape, strides = counts, self._strides
        if self._stored.packed:
            shape, strides = (*counts, 3), (*self._strides, 1)  # type: ignore[assignment]
        view: Codes = np.ndarray(shape, self._stored.dtype, buffer=raw, strides=strides)
        return as_type(self._stored.unpacked(view), self._dtype, self._name)


class PlacedSource(BlockSource):
    """A block source over bytes in which every record begins at a place of its own.

    Parameters
    ----------
    data : ByteSource
        Closed with the source.
    name : str
        The file's name, for errors.
    places : sequence of int
        First byte of each record.
    channels, length : int
        Of a record.
    strides : (int, int)
        Bytes from channel to channel, and from sample to sample.
    stored, dtype
        As for `StridedSource`.

    Raises
    ------
    RecordingError
        If a record would reach beyond the end.
    """

    def __init__(
        self,
        data: ByteSource,
        name: str,
        places: Sequence[int],
        channels: int,
        length: int,
        strides: tuple[int, int],
        stored: StoredType,
        dtype: np.dtype[Any],
    ) -> None:
        self._data, self._places = data, tuple(places)
        self._shape = (len(self._places), channels, length)
        one = (1, channels, length), (0, *strides), stored, dtype
        # the first and the last by their place in the file: what lies between them lies inside it too
        for place in (min(self._places), max(self._places)):
            StridedSource(data, name, place, *one)
        self._name, self._one = name, one
        self._dtype = dtype

    def _record(self, place: int) -> StridedSource:
        return StridedSource(self._data, self._name, place, *self._one)

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._shape

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as it is handed out."""
        return self._dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.
        """
        block = np.empty((len(records), len(channels), len(samples)), self._dtype)
        for row, record in enumerate(records):
            block[row] = self._record(self._places[record]).part(range(1), channels, samples)[0]
        return block

    def close(self) -> None:
        """Give back the file."""
        self._data.close()
