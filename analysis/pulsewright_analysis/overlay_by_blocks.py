"""The afterglow of long records by their blocks: a coarse picture at once, then made exact, column by column.

The coarse picture draws each column of a record as far as its blocks reach. Making it exact reads only samples of
blocks that a column's edge cuts, and only where these could change a row: then every count is that of `Afterglow.add`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Codes, Floats
from pulsewright_analysis.overlay import Afterglow, Raster, in_known_type, in_pixels
from pulsewright_analysis.pyramid import Pyramid

Ints = NDArray[np.int64]
ReadPieces = Callable[[Ints], Codes]
"""Gets pieces of a record, (pieces, 2): first sample and the one after the last; returns them in one array."""

_AT_ONCE_BYTES = 1 << 20
_PIECES_AT_ONCE = 1024


@dataclass(frozen=True)
class Scales:
    """What turns samples into places of a picture.

    Attributes
    ----------
    sample_interval : float
        Seconds.
    scale, offset : float
        Units per code, and units at code 0.
    """

    sample_interval: float
    scale: float = 1.0
    offset: float = 0.0


def add_coarse(glow: Afterglow, pyramid: Pyramid, records: Ints, first_sample_time: Floats, scales: Scales) -> None:
    """Add records as far as their blocks reach: never less than they really cover, by a block at most too wide.

    Parameters
    ----------
    glow : Afterglow
    pyramid : Pyramid
        Of the records' channel; each column of the raster of `glow` must span at least three of its blocks.
    records : int array
        Their numbers.
    first_sample_time : array (records,)
        Time of sample 0 of each from its trigger, seconds.
    scales : Scales
    """
    from pulsewright_analysis import pyramid_kernels as kernels

    places = in_pixels(glow.raster, first_sample_time, scales.sample_interval, scales.scale, scales.offset)
    low, high = (_readable(blocks[records]) for blocks in (pyramid.low, pyramid.high))
    kernels.add_coarse(low, high, pyramid.block, pyramid.length, *places, glow.difference)
    glow.records += len(records)


class Refinement:
    """Makes records that `add_coarse` added exact, one after another; one thread may use one object.

    Parameters
    ----------
    width : int
        Columns of the picture.
    pyramid, scales
        As for `add_coarse`.
    gap : int
        Bytes between two pieces of a record below which reading both at once is no slower.
    """

    def __init__(self, width: int, pyramid: Pyramid, scales: Scales, gap: int) -> None:
        self._pyramid, self._scales = pyramid, scales
        self._spans, self._rows = np.empty((width, 2), np.int64), np.empty((width, 2), np.int64)
        self._inner, self._doubts = np.empty((width, 2)), np.empty(width, np.uint8)
        self._pieces = np.empty((_PIECES_AT_ONCE, 2), np.int64)
        size = pyramid.low.dtype.itemsize
        self._gap, self._most = gap // size, _AT_ONCE_BYTES // size
        self.samples_read = 0
        """Samples that were read so far."""

    def add(
        self,
        glow: Afterglow,
        record: int,
        first_sample_time: float,
        read: ReadPieces,
        stopped: Callable[[], bool] = lambda: False,
    ) -> None:
        """Make one record exact.

        Parameters
        ----------
        glow : Afterglow
            To put what changes in: the one that the record was added to, or one that is merged with it later.
        record : int
            Its number.
        first_sample_time : float
            Time of its sample 0 from its trigger, seconds.
        read : callable
            Reads pieces of it.
        stopped : callable
            Asked before each reading whether to leave off; the rest of the record then stays coarse.
        """
        from pulsewright_analysis import pyramid_kernels as kernels

        pyramid, raster, scales = self._pyramid, glow.raster, self._scales
        block, length = pyramid.block, pyramid.length
        places = in_pixels(raster, np.array([first_sample_time]), scales.sample_interval, scales.scale, scales.offset)
        start, x_step, y_zero, y_step = float(places[0][0]), *places[1:]
        found = (self._spans, self._inner, self._rows, self._doubts)
        low, high = _readable(pyramid.low[record]), _readable(pyramid.high[record])
        doubtful = kernels.find_doubts(low, high, block, length, start, x_step, y_zero, y_step, raster.height, *found)
        column = 0 if doubtful else raster.width
        while column < raster.width and not stopped():
            after, count = kernels.find_pieces(
                self._spans, self._doubts, block, length, column, self._most, self._gap, self._pieces
            )
            pieces = self._pieces[:count]
            if count:
                samples = _readable(read(pieces))
                self.samples_read += len(samples)
                columns = np.array([column, after], np.int64)
                kernels.finish(samples, pieces, columns, block, length, y_zero, y_step, *found, glow.difference)
            column = after


def load_compiled(pyramid: Pyramid) -> None:
    """Load the compiled code for a pyramid's type of samples, which may take seconds the first time.

    Parameters
    ----------
    pyramid : Pyramid
        Left as it is.
    """
    two = np.array([[0, 1]], pyramid.low.dtype)
    small, glow = Pyramid(1, 2, two, two), Afterglow(Raster(1, 2, 0.25, 0.75, 0.0, 2.0))
    add_coarse(glow, small, np.zeros(1, np.int64), np.zeros(1), Scales(0.5))
    Refinement(1, small, Scales(0.5), 0).add(glow, 0, 0.0, lambda pieces: two[0, : int(pieces[0, 1] - pieces[0, 0])])


def _readable(codes: Codes) -> NDArray[Any]:
    """Return samples in a type that kernels are compiled for, in one piece and read-only."""
    known = np.ascontiguousarray(in_known_type(codes)).view()
    known.flags.writeable = False
    return known
