"""The least and the greatest sample of each block of a long record, so that a picture need not look at every sample.

One level is enough: its blocks are as small as a fixed amount of memory allows, so that looking through all of them
takes a millisecond or two. Coarser levels above would save less than that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pulsewright.block_source import Room
from pulsewright.session import Codes, Session
from pulsewright_analysis.overlay import Raster

LEAST_LENGTH = 50_000
"""Samples of a record from which on it is long."""
MOST_BYTES = 32 << 20
"""Memory that the blocks of one channel may take."""
_LEAST_BLOCK = 64
_STRETCH_BYTES = 1 << 20


@dataclass(frozen=True, eq=False)
class Pyramid:
    """The least and the greatest of the samples of one channel, block by block.

    Attributes
    ----------
    block, length : int
        Samples of a block, the last of a record excepted, and of a record.
    low, high : array (records, blocks)
        In codes, of the session's type; no number where one of the samples is none.
    """

    block: int
    length: int
    low: Codes
    high: Codes

    def blocks_a_column(self, raster: Raster, sample_interval: float) -> float:
        """Return how many blocks a column of a raster spans: the more, the more of its rows they decide.

        Parameters
        ----------
        raster : Raster
        sample_interval : float
            Seconds.
        """
        return raster.column_time / (sample_interval * self.block)

    @property
    def nbytes(self) -> int:
        """Memory that it takes."""
        return self.low.nbytes + self.high.nbytes


def block_of(session: Session) -> int | None:
    """Return how many samples a block should have, None where records are too short for a pyramid to be of use.

    Parameters
    ----------
    session : Session
    """
    records, length, size = session.records, session.record_length, session.dtype.itemsize
    if length < LEAST_LENGTH or not records:
        return None
    block = _LEAST_BLOCK
    while 2 * size * records * -(-length // block) > MOST_BYTES and block < length:
        block *= 2
    return block


def make_pyramid(
    session: Session,
    channel: int,
    cancelled: Callable[[], bool] = lambda: False,
    progress: Callable[[float], None] = lambda share: None,
) -> Pyramid | None:
    """Read every sample of a channel, a stretch at a time, and return its pyramid; None if called off, or not of use.

    Parameters
    ----------
    session : Session
    channel : int
        Place of the channel, from 0.
    cancelled : callable
        Asked between stretches.
    progress : callable
        Told the share that is done, 0 … 1.

    Raises
    ------
    SessionFileError
        If a sample cannot be read.
    """
    from pulsewright_analysis import pyramid_kernels as kernels

    block, room = block_of(session), Room()
    if block is None:
        return None
    records, length = session.records, session.record_length
    shape = (records, -(-length // block))
    pyramid = Pyramid(block, length, np.empty(shape, session.dtype), np.empty(shape, session.dtype))
    step = max(_STRETCH_BYTES // (session.dtype.itemsize * block), 1) * block
    for record in range(records):
        for begin in range(0, length, step):
            if cancelled():
                return None
            end = min(begin + step, length)
            samples = session.channel_stretch(channel, record, record + 1, begin, end, room)[0]
            blocks = record, slice(begin // block, -(-end // block))
            kernels.fill_blocks(np.ascontiguousarray(samples), block, pyramid.low[blocks], pyramid.high[blocks])
        progress((record + 1) / records)
    return pyramid
