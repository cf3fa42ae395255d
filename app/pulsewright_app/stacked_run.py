"""Which records stand above each other in Stacked, and how far apart: the desk and the sheet show the same ones."""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.results import Ints

SPACING = 2 / 3
"""Distance of two records at first, as a share of a trace's full height: neighbours may overlap a little."""
CLOSEST, FARTHEST = 0.05, 4.0


def run_around(record: int, shown: int, records: Ints) -> Ints:
    """Return the run of records around one of them.

    Parameters
    ----------
    record : int
        The current record; in the middle of the run as far as there are records on both sides, and left out where it is
        none of `records`.
    shown : int
        How many records the run has, where there are as many.
    records : int array, rising
        The records that may be shown.
    """
    shown = min(shown, len(records))
    place = int(np.searchsorted(records, record))
    first = min(max(place - shown // 2, 0), len(records) - shown)
    return records[first : first + shown]
