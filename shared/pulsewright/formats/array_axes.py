"""What the axes of an array are, and arrays as block sources: in a file at regular places, in HDF5, or in memory."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource, Codes
from pulsewright.errors import RecordingError
from pulsewright.formats.byte_sources import ByteSource
from pulsewright.formats.sample_types import StoredType, as_type
from pulsewright.formats.strided_source import StridedSource

AXES = ("records", "channels", "samples")
_FEW = 32
"""An axis with up to so many places, the other many times as long, is taken for channels."""


@dataclass(frozen=True)
class AxesLayout:
    """Which axis of an array is what.

    Attributes
    ----------
    axes : tuple of str
        For each axis of the array, the slowest first, one of `AXES`.
    shape : tuple of int
        Records, channels, record length of the session.
    cut : bool
        Whether the samples of one long axis are cut into records.
    """

    axes: tuple[str, ...]
    shape: tuple[int, int, int]
    cut: bool

    def place(self, axis: str) -> int | None:
        """Return the place of an axis in the array, or None.

        Parameters
        ----------
        axis : str
            One of `AXES`.
        """
        return self.axes.index(axis) if axis in self.axes else None


@dataclass(frozen=True)
class NamedArray:
    """An array of numbers in a file, not read.

    Attributes
    ----------
    name : str
        Its name, or its path in the file.
    shape : tuple of int
        Of the array, the slowest axis first as the file names them.
    stored : StoredType
        How one number lies in the file.
    source : callable
        Takes an `AxesLayout` and a dtype, and returns a block source.
    values : callable
        Reads the whole array; only for small ones.
    rate : float or None
        A sample rate that the file says beside it, hertz.
    """

    name: str
    shape: tuple[int, ...]
    stored: StoredType
    source: Callable[[AxesLayout, np.dtype[Any]], BlockSource]
    values: Callable[[], Codes]
    rate: float | None = None

    @property
    def size(self) -> int:
        """How many numbers it holds."""
        count = 1
        for axis in self.shape:
            count *= int(axis)
        return count


def guessed_axes(shape: Sequence[int]) -> tuple[tuple[str, ...], str]:
    """Return what the axes of an array are likely to be, and why.

    Parameters
    ----------
    shape : sequence of int
        One to three sizes.

    Returns
    -------
    tuple of str, str
        One of `AXES` for each, and a clause.
    """
    if len(shape) == 1:
        return ("samples",), "one axis"
    if len(shape) == 2:
        short, long = min(shape), max(shape)
        if short <= _FEW and long > 8 * short:
            axes = ("channels", "samples") if shape[0] == short else ("samples", "channels")
            return axes, f"{short} is few beside {long:,}"
        return ("records", "samples"), "a row is taken for a record"
    if shape[2] <= _FEW and shape[2] < shape[1]:
        return ("records", "samples", "channels"), f"the last axis is short, {shape[2]}"
    return AXES, "the order of a session"


def parse_axes(text: str, dimensions: int) -> tuple[str, ...]:
    """Read ``"records,samples"``.

    Parameters
    ----------
    text : str
        One of `AXES` for each axis, none of them twice.
    dimensions : int
        Axes that the array has.

    Raises
    ------
    RecordingError
        If it is not so, or there are no samples among them.
    """
    axes = tuple(part.strip() for part in text.split(","))
    if len(axes) != dimensions or len(set(axes)) != len(axes) or not set(axes) <= set(AXES) or "samples" not in axes:
        raise RecordingError(
            f"axes: {text!r} does not name {dimensions} axes", "choose from records, channels and samples, each once"
        )
    return axes


def strided_array(
    data: ByteSource,
    file_name: str,
    name: str,
    start: int,
    shape: tuple[int, ...],
    strides: tuple[int, ...],
    stored: StoredType,
) -> NamedArray:
    """Return an array whose numbers lie at regular places of some bytes.

    Parameters
    ----------
    data : ByteSource
        The bytes.
    file_name, name : str
        Of the file, for errors, and of the array.
    start : int
        Place of the first number, bytes.
    shape, strides : tuple of int
        Of the array; bytes from one place to the next.
    stored : StoredType
        How a number lies there.
    """

    def source(layout: AxesLayout, dtype: np.dtype[Any]) -> BlockSource:
        steps = []
        for axis in AXES:
            place = layout.place(axis)
            steps.append(0 if place is None else strides[place])
        if layout.cut:
            steps[0] = steps[2] * layout.shape[2]
        return StridedSource(data, file_name, start, layout.shape, (steps[0], steps[1], steps[2]), stored, dtype)

    def values() -> Codes:
        axes = {1: ("samples",), 2: ("records", "samples"), 3: AXES}[len(shape)]
        sizes = dict(zip(axes, shape, strict=True))
        full = (sizes.get("records", 1), sizes.get("channels", 1), sizes["samples"])
        whole = source(AxesLayout(axes, full, cut=False), stored.natural)
        codes: Codes = whole.read(0, full[0]).reshape(shape)
        return codes

    return NamedArray(name, shape, stored, source, values)


class StackedSource(BlockSource):
    """Several sources with the same records, one channel or more of each after another.

    Parameters
    ----------
    sources : sequence of BlockSource
        Of the same records and record length.
    dtype : dtype
        The type to hand out.
    name : str
        Of the file, for errors.

    Raises
    ------
    RecordingError
        If they have other records, or other lengths.
    """

    def __init__(self, sources: Sequence[BlockSource], dtype: np.dtype[Any], name: str) -> None:
        self._sources, self._dtype, self._name = tuple(sources), dtype, name
        first = self._sources[0].shape
        if any((source.shape[0], source.shape[2]) != (first[0], first[2]) for source in self._sources):
            raise RecordingError(f"{name}: its channels differ in records or in record length", "choose other arrays")
        self._shape = (first[0], sum(source.shape[1] for source in self._sources), first[2])

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
        parts, begin = [], 0
        for source in self._sources:
            own = range(max(channels.start - begin, 0), min(channels.stop - begin, source.shape[1]))
            if own:
                parts.append(source.part(records, own, samples))
            begin += source.shape[1]
        if not parts:
            return np.empty((len(records), 0, len(samples)), self._dtype)
        return as_type(np.concatenate(parts, axis=1), self._dtype, self._name)

    def altered(self) -> str:
        """Return what has become of a file since it was opened, as a clause; empty where all are as they were."""
        return super().altered() or next(filter(None, (source.altered() for source in self._sources)), "")

    def close(self) -> None:
        """Close every source."""
        for source in self._sources:
            source.close()
