"""The mean of many records' traces and their standard deviation, sample by sample, block after block.

Records lie on a common grid of samples: each record's sample counts for the grid point nearest to it, so that nothing
is interpolated and noise keeps its size. On a steep edge that adds up to slope·Ts/√12 to the deviation where triggers
were not in step with the samples.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Codes, Floats, Session

_BLOCK_BYTES = 4 << 20


@dataclass(frozen=True)
class Mean:
    """A mean trace.

    Attributes
    ----------
    first_time, interval : float
        Time of point 0, and from point to point, seconds.
    value, deviation : array (points,)
        Mean and standard deviation (n − 1), in the channel's unit; NaN where no record, or only one, reaches.
    records : int
        How many went in.
    """

    first_time: float
    interval: float
    value: Floats
    deviation: Floats
    records: int


class MeanTrace:
    """Sums up records of one channel on a common grid; `mean` is the same whatever the order of the blocks.

    Parameters
    ----------
    first_time : float
        Time of the grid's point 0, seconds.
    interval : float
        The sample interval, seconds.
    points : int
        Length of the grid; samples outside it do not count.

    Raises
    ------
    ValueError
        If there is no point, or `interval` is not above 0.
    """

    def __init__(self, first_time: float, interval: float, points: int) -> None:
        if points < 1 or not interval > 0:
            raise ValueError(f"no mean over {points} points {interval} s apart")
        self._first_time, self._interval = first_time, interval
        self._pivot: Floats | None = None
        self._sum: Floats = np.zeros(points)
        self._squares: Floats = np.zeros(points)
        self._count: NDArray[np.int64] = np.zeros(points, dtype=np.int64)
        self._records = 0

    def add(self, codes: Codes, first_sample_time: Floats) -> None:
        """Add a block of records of one channel; one with a NaN or an infinity takes no part, as in the measuring.

        Parameters
        ----------
        codes : array (records, samples)
            As stored.
        first_sample_time : array (records,)
            Time of sample 0 of each record, seconds.
        """
        length = codes.shape[1]
        shifts = np.rint((first_sample_time - self._first_time) / self._interval).astype(np.int64)
        for record, shift in zip(codes, shifts.tolist(), strict=True):
            if not np.all(np.isfinite(record)):
                continue
            start, stop = max(shift, 0), min(shift + length, len(self._sum))
            self._records += 1
            if start >= stop:
                continue
            part = record[start - shift : stop - shift].astype(np.float64)
            if self._pivot is None:
                # sums are taken about the first record, so that a large offset does not eat the digits of the scatter
                self._pivot = np.full(len(self._sum), float(np.mean(part)))
                self._pivot[start:stop] = part
            part -= self._pivot[start:stop]
            self._sum[start:stop] += part
            self._squares[start:stop] += part * part
            self._count[start:stop] += 1

    def mean(self, scale: float = 1.0, offset: float = 0.0) -> Mean:
        """Return the mean and the deviation so far.

        Parameters
        ----------
        scale, offset : float
            Units per code, and units at code 0.
        """
        count = self._count.astype(np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            about = self._sum / count
            variance = (self._squares - self._sum * about) / (count - 1)
        pivot = np.zeros(len(count)) if self._pivot is None else self._pivot
        value = np.where(count > 0, (pivot + about) * scale + offset, np.nan)
        deviation = np.where(count > 1, np.sqrt(np.maximum(variance, 0.0)) * abs(scale), np.nan)
        return Mean(self._first_time, self._interval, value, deviation, self._records)


def mean_over(first_sample_time: Floats, interval: float, length: int) -> MeanTrace:
    """Return an empty mean over all the time that some records cover.

    Parameters
    ----------
    first_sample_time : array (records,)
        Time of sample 0 of each record, seconds; NaN for a record that has no place. At least one has.
    interval : float
        The sample interval, seconds.
    length : int
        Samples of a record.
    """
    known = first_sample_time[np.isfinite(first_sample_time)]
    low, high = float(known.min()), float(known.max())
    return MeanTrace(low, interval, length + round((high - low) / interval))


def session_means(
    session: Session,
    left_out: Collection[int] = (),
    cancelled: Callable[[], bool] = lambda: False,
    so_far: Callable[[int, Callable[[], tuple[Mean, ...]]], None] | None = None,
) -> tuple[Mean, ...]:
    """Return the mean trace of every channel over the records that take part, in codes.

    Parameters
    ----------
    session : Session
    left_out : collection of int
        Records that take no part.
    cancelled : callable
        Asked between two blocks of records; once it returns True, the means so far are returned.
    so_far : callable, optional
        Told after each block how many records were read, and given what makes the means of those.

    Raises
    ------
    FormatError
        If the samples cannot be read any more.
    """
    channels, skipped = range(len(session.channels)), np.zeros(session.records, dtype=bool)
    skipped[[record for record in left_out if 0 <= record < session.records]] = True
    starts = [session.first_sample_time(channel) for channel in channels]
    sums = [mean_over(each, session.sample_interval, session.record_length) for each in starts]

    def means() -> tuple[Mean, ...]:
        return tuple(each.mean() for each in sums)

    for first, block in session.blocks(block_bytes=_BLOCK_BYTES):
        if cancelled():
            break
        stop = first + len(block)
        kept = np.flatnonzero(~skipped[first:stop])
        for channel in channels:
            sums[channel].add(block[kept, channel], starts[channel][first + kept])
        if so_far is not None:
            so_far(stop, means)
    return means()
