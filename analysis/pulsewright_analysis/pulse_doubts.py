"""The pulses that have no position, and why: in words, with where the first of them is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pulsewright_analysis.results import Pulses


def without_position(pulses: Pulses, names: Sequence[str]) -> list[tuple[str, int]]:
    """Return a sentence for each reason why pulses have no position, with the first pulse that it is about.

    Parameters
    ----------
    pulses : Pulses
    names : sequence of str
        Of all channels of the session.

    Returns
    -------
    list of (str, int)
        The sentence, as it stands among the findings' reasons, and an index into `pulses`.
    """
    reasons = []
    left = np.isfinite(pulses.time)
    np.logical_not(left, out=left)
    for why, suits in (
        ("is clipped", pulses.clipped),
        ("is cut by the record's end", pulses.cut),
        ("has two lobes of the same size within the noise, or overlaps its neighbour", pulses.ambiguous),
        (f"is too small, too short or too flat for its {pulses.position}", np.ones(len(pulses), dtype=bool)),
    ):
        which = left & suits
        left &= ~which
        number = int(np.count_nonzero(which))
        if number:
            first = int(np.flatnonzero(which)[0])
            place = f"record {pulses.record[first]}, {names[int(pulses.channel[first])]}"
            rest = f" and {number - 1} more" if number > 1 else ""
            reasons.append((f"No position of the pulse in {place}{rest}: it {why}.", first))
    return reasons
