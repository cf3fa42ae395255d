"""Afterglow: how many records' traces pass through each pixel of a picture.

The picture is only a grid over time and value: nothing here knows a screen. A column's stretch is the least to the
greatest of the samples in it, joined to the first sample of the next column. Where samples are sparser than columns, it
is what the straight lines between samples cover.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Codes, Floats

_SPARE = 3
"""Samples beyond a picture's edges that are looked at."""


@dataclass(frozen=True)
class Raster:
    """A grid of pixels over a stretch of time and of values.

    Column 0 begins at `time_low`. Row 0 is at the top: it begins at `value_high` and goes down.

    Attributes
    ----------
    width, height : int
        Columns and rows, at least one of each.
    time_low, time_high : float
        Seconds from the trigger; a column has its left edge and not its right one.
    value_low, value_high : float
        In the channel's unit; a row has its upper edge, the last one its lower edge too.

    Raises
    ------
    ValueError
        If there is no pixel, or a range is empty.
    """

    width: int
    height: int
    time_low: float
    time_high: float
    value_low: float
    value_high: float

    def __post_init__(self) -> None:
        if self.width < 1 or self.height < 1:
            raise ValueError(f"a raster of {self.width} × {self.height} has no pixel")
        if not (self.time_low < self.time_high and self.value_low < self.value_high):
            raise ValueError("a raster's time and value must each end above where they begin")

    @property
    def column_time(self) -> float:
        """Width of a column, seconds."""
        return (self.time_high - self.time_low) / self.width

    @property
    def row_value(self) -> float:
        """Height of a row, in the channel's unit."""
        return (self.value_high - self.value_low) / self.height

    def column(self, time: float) -> int:
        """Return the column that a time falls into; outside the picture it is below 0, or `width` and more.

        Parameters
        ----------
        time : float
            Seconds from the trigger.
        """
        return int(np.floor((time - self.time_low) / self.column_time))

    def row(self, value: float) -> int:
        """Return the row that a value falls into; outside the picture it is below 0, or `height` and more.

        Parameters
        ----------
        value : float
            In the channel's unit.
        """
        row = int(np.floor((self.value_high - value) / self.row_value))
        return row - 1 if value == self.value_low and row == self.height else row


def in_pixels(
    raster: Raster, first_sample_time: Floats, sample_interval: float, scale: float, offset: float
) -> tuple[Floats, float, float, float]:
    """Return where samples and codes lie in a raster, as the kernels take it.

    Parameters
    ----------
    raster : Raster
    first_sample_time, sample_interval, scale, offset
        As for `Afterglow.add`.

    Returns
    -------
    array (records,), float, float, float
        Sample 0 of each record and the step to the next sample, columns; code 0, rows from the top, and the step to the
        next code.
    """
    return (
        (first_sample_time - raster.time_low) / raster.column_time,
        float(sample_interval / raster.column_time),
        float((raster.value_high - offset) / raster.row_value),
        float(-scale / raster.row_value),
    )


@dataclass(frozen=True)
class Part:
    """Which part of its records a block of samples holds.

    Attributes
    ----------
    first : int
        Number of its first sample in the record.
    length : int
        Samples of a whole record.
    """

    first: int
    length: int


def part_seen(
    first_sample_time: Floats,
    sample_interval: float,
    length: int,
    raster: Raster,
    columns: tuple[int, int] | None = None,
) -> tuple[int, int]:
    """Return which samples of some records a raster shows: the first, and the one after the last.

    With a few to spare at each end: what joins the traces to their neighbours outside, and the rounding of times.

    Parameters
    ----------
    first_sample_time : array (records,)
        Time of sample 0 of each record from its trigger, seconds.
    sample_interval : float
        Seconds.
    length : int
        Samples of a record.
    raster : Raster
    columns : (int, int), optional
        The first and the last of the columns that count; all if None.
    """
    if not len(first_sample_time):
        return 0, 0
    first, last = columns or (0, raster.width - 1)
    low, high = (raster.time_low + edge * raster.column_time for edge in (first, last + 1))
    begin = np.floor((low - float(first_sample_time.max())) / sample_interval) - _SPARE
    end = np.ceil((high - float(first_sample_time.min())) / sample_interval) + _SPARE
    begin, end = (int(min(max(place, 0.0), float(length))) for place in (begin, end))
    return begin, max(begin, end)


class Afterglow:
    """Counts, for each pixel, the records whose trace passes through it: a record counts once in a pixel.

    Records may be added block by block in any order; `counts` is the same as for all at once. One thread may add to
    one object; objects of several threads are put together with `merge`.

    Parameters
    ----------
    raster : Raster
    """

    def __init__(self, raster: Raster) -> None:
        self.raster = raster
        self.records = 0
        self._difference = np.zeros((raster.height + 1, raster.width), dtype=np.int32)

    def add(
        self,
        codes: Codes,
        first_sample_time: Floats,
        sample_interval: float,
        scale: float = 1.0,
        offset: float = 0.0,
        part: Part | None = None,
    ) -> None:
        """Add a block of records of one channel.

        Parameters
        ----------
        codes : array (records, samples)
            As stored; not copied if int16, float32 or float64.
        first_sample_time : array (records,)
            Time of sample 0 of each record from its trigger, seconds.
        sample_interval : float
            Seconds.
        scale, offset : float
            Units per code, and units at code 0.
        part : Part, optional
            Which part of its records `codes` holds; the whole of them if None. The picture is the same, to the last
            count, if `part_seen` says that the part is enough.

        Raises
        ------
        ValueError
            If `codes` and `first_sample_time` do not go together, `sample_interval` is not above 0, or the part is too
            small for the raster.
        """
        from pulsewright_analysis import overlay_kernels as kernels

        block = _Block.of(codes, first_sample_time, sample_interval, scale, offset, self.raster, part)
        if block.length:
            kernels.accumulate(*block.arguments, self._difference)
        self.records += len(block.x_first)

    def merge(self, other: Afterglow) -> None:
        """Add the records of another object with the same raster.

        Parameters
        ----------
        other : Afterglow
            Left as it is.

        Raises
        ------
        ValueError
            If its raster is another one.
        """
        if other.raster != self.raster:
            raise ValueError("only afterglows of the same raster can be put together")
        self._difference += other._difference
        self.records += other.records

    @property
    def counts(self) -> NDArray[np.uint32]:
        """Records through each pixel, a new array (height, width); row 0 is at `value_high`."""
        summed: NDArray[np.int32] = np.cumsum(self._difference[:-1], axis=0, dtype=np.int32)
        return summed.view(np.uint32)

    @property
    def difference(self) -> NDArray[np.int32]:
        """What the kernels add to, (height + 1, width): its sums down the columns are the counts."""
        return self._difference

    def clear(self) -> None:
        """Forget all records."""
        self._difference[:] = 0
        self.records = 0


def passing_records(
    codes: Codes,
    first_sample_time: Floats,
    sample_interval: float,
    raster: Raster,
    column: int,
    row: int,
    *,
    scale: float = 1.0,
    offset: float = 0.0,
    reach: int = 1,
    part: Part | None = None,
) -> NDArray[np.bool_]:
    """Return which records' traces go through a pixel or one at most `reach` away from it, shape (records,).

    Parameters
    ----------
    codes, first_sample_time, sample_interval, scale, offset, part :
        As for `Afterglow.add`.
    raster : Raster
    column, row : int
        The pixel; row 0 is at `value_high`. Pixels outside the raster hold nothing.
    reach : int
        0 for that pixel alone: as many records as `Afterglow.counts` shows there.

    Raises
    ------
    ValueError
        As for `Afterglow.add`.
    """
    from pulsewright_analysis import overlay_kernels as kernels

    near = max(column - reach, 0), min(column + reach, raster.width - 1)
    block = _Block.of(codes, first_sample_time, sample_interval, scale, offset, raster, part, near)
    result = np.zeros(len(block.x_first), dtype=np.bool_)
    columns = np.array(near, dtype=np.int64)
    rows = np.array([max(row - reach, 0), min(row + reach, raster.height - 1)], dtype=np.int64)
    if block.length and rows[0] <= rows[1]:
        kernels.passing(*block.arguments, raster.height, columns, rows, result)
    return result


@dataclass(frozen=True)
class _Block:
    """A block of records in the form that the kernels take: flat samples, and coordinates in pixels."""

    flat: NDArray[Any]
    row_step: int
    held: int
    held_from: int
    length: int
    x_first: Floats
    x_step: float
    y_zero: float
    y_step: float

    @classmethod
    def of(
        cls,
        codes: Codes,
        first_sample_time: Floats,
        sample_interval: float,
        scale: float,
        offset: float,
        raster: Raster,
        part: Part | None,
        columns: tuple[int, int] | None = None,
    ) -> _Block:
        times = np.asarray(first_sample_time, dtype=np.float64)
        if codes.ndim != 2 or times.shape != codes.shape[:1]:
            raise ValueError(f"codes {codes.shape} need one first sample time a record, not {times.shape}")
        if not sample_interval > 0:
            raise ValueError(f"a sample interval of {sample_interval} s is not above 0")
        held = codes.shape[1]
        part = part or Part(0, held)
        begin, end = part_seen(times, sample_interval, part.length, raster, columns)
        if len(times) and not part.first <= begin <= end <= part.first + held:
            raise ValueError(f"samples {part.first} to {part.first + held - 1} are not all that the raster shows")
        flat, row_step = _flattened(in_known_type(codes))
        return cls(
            flat,
            row_step,
            held,
            part.first,
            part.length,
            *in_pixels(raster, times, sample_interval, scale, offset),
        )

    @property
    def arguments(self) -> tuple[NDArray[Any], int, int, int, int, Floats, float, float, float]:
        """The kernels' first arguments, in order."""
        samples = (self.flat, self.row_step, self.held, self.held_from, self.length)
        return (*samples, self.x_first, self.x_step, self.y_zero, self.y_step)


def in_known_type(codes: Codes) -> Codes:
    """Return the samples in one of the three types that kernels are compiled for.

    Parameters
    ----------
    codes : array
        Of any type that a session has.
    """
    if codes.dtype in (np.int16, np.float32, np.float64):
        return codes
    return codes.astype(np.int16 if codes.dtype.itemsize == 1 else np.float64)


def _flattened(codes: Codes) -> tuple[NDArray[Any], int]:
    """Return the samples as one flat read-only array and the distance from record to record in it.

    One channel of a block of all channels has its records far apart; it is looked at where it lies, not copied.
    Always read-only, because Numba compiles anew for an array that can be written to.
    """
    size = codes.dtype.itemsize
    records, length = codes.shape
    row_stride, sample_stride = codes.strides
    if sample_stride != size or row_stride % size or row_stride < length * size or not codes.dtype.isnative:
        codes = np.ascontiguousarray(codes, dtype=codes.dtype.newbyteorder("="))
        row_stride = length * size
    row_step = row_stride // size
    reach = (records - 1) * row_step + length if records and length else 0
    flat = np.lib.stride_tricks.as_strided(codes, shape=(reach,), strides=(size,), writeable=False)
    return flat, row_step
