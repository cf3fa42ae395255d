"""Which way the pulse of each record points on each channel, and which channels point against the others."""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.results import Polarity, Pulses


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
    sign = np.zeros((records, channels), dtype=np.int64)
    confidence = np.zeros((records, channels))
    rising = np.argsort(pulses.confidence, kind="stable")
    place = (pulses.record[rising], pulses.channel[rising])
    sign[place] = pulses.polarity[rising]
    confidence[place] = pulses.confidence[rising]
    return Polarity(sign, confidence, opposite_channels(sign))


def opposite_channels(sign: np.ndarray) -> tuple[int, ...]:
    """Return the channels whose sign is against the majority's in most of the records where both have one.

    Parameters
    ----------
    sign : int array (records, channels)
        1, −1, or 0 where there is none.
    """
    majority = np.sign(np.sum(sign, axis=1, keepdims=True))
    compared = np.count_nonzero(sign * majority, axis=0)
    against = np.count_nonzero(sign * majority < 0, axis=0)
    return tuple(int(c) for c in np.flatnonzero(against > 0.5 * np.maximum(compared, 1)))
