"""Which of many records are looked at, and which of them are read together."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]


def neighbouring(records: Ints, most: int) -> Iterator[tuple[int, int]]:
    """Yield the places, from … up to, of runs of records that follow on each other.

    Parameters
    ----------
    records : int array
        Numbers of records, in any order.
    most : int
        Records of a run.
    """
    begin = 0
    for place in range(1, len(records) + 1):
        if place == len(records) or records[place] != records[place - 1] + 1 or place - begin == most:
            yield begin, place
            begin = place


def spread(count: int, most: int) -> Ints:
    """Return at most so many of `count` places, spread evenly over all of them.

    Parameters
    ----------
    count, most : int
    """
    places: Ints = np.unique(np.linspace(0, count - 1, min(most, count)).astype(np.int64))
    return places
