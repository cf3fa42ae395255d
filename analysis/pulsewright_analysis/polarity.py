"""Which way the pulse of each record points on each channel, and which channels point against the others."""

from __future__ import annotations

import numpy as np

from pulsewright.long_columns import blocks_of, in_blocks
from pulsewright_analysis.results import Floats, Ints, Polarity, Pulses


def measure_polarity(pulses: Pulses, records: int, channels: int) -> Polarity:
    """Return the sign of the largest pulse of every record and channel.

    Parameters
    ----------
    pulses : Pulses
    records, channels : int
        Of the whole session.

    Returns
    -------
    Polarity
        Arrays (records, channels); the confidence is the excess of the larger excursion over √2·noise.
    """
    sign = in_blocks(records, lambda some: _of_largest(pulses, pulses.polarity, some, channels))
    confidence = in_blocks(records, lambda some: _of_largest(pulses, pulses.confidence, some, channels))
    return Polarity(sign, confidence, opposite_channels(sign))


def _of_largest(pulses: Pulses, values: Ints | Floats, records: slice, channels: int) -> Ints | Floats:
    """Return what the clearest pulse of each of some records has on each channel, 0 where there is none."""
    first, stop = np.searchsorted(pulses.record, (records.start, records.stop)).tolist()
    rising = first + np.argsort(pulses.confidence[first:stop], kind="stable")
    largest = np.zeros((records.stop - records.start, channels), dtype=values.dtype)
    # the last one assigned, the clearest, stays
    largest[pulses.record[rising] - records.start, pulses.channel[rising]] = values[rising]
    return largest


def opposite_channels(sign: np.ndarray) -> tuple[int, ...]:
    """Return the channels whose sign is against the majority's in most of the records where both have one.

    Parameters
    ----------
    sign : int array (records, channels)
        1, −1, or 0 where there is none.
    """
    compared, against = np.zeros(sign.shape[1], dtype=np.int64), np.zeros(sign.shape[1], dtype=np.int64)
    for places in blocks_of(len(sign)):
        some = sign[places]
        turned = some * np.sign(np.sum(some, axis=1, keepdims=True))
        compared += np.count_nonzero(turned, axis=0)
        against += np.count_nonzero(turned < 0, axis=0)
    return tuple(int(c) for c in np.flatnonzero(against > 0.5 * np.maximum(compared, 1)))
