"""Compiled estimate of how far a pulse turned upward goes beyond the state that it settles to.

See `edge_kernels` for what `values` and the weights are. Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import Array
from pulsewright_analysis.pulse_columns import OVERSHOOT, OVERSHOOT_VAR
from pulsewright_analysis.top_kernels import QUARTIC, TOP_LEVEL, vertex

ABERRATION = 3.0
"""The overshoot lies within this many transition durations after the edge (IEEE Std 181, post-transition region)."""
FEWEST_AFTER = 8
SIGNIFICANT = 4.0
"""A largest sample that exceeds the top by less than this many of its own u may be the noise's."""


@kernel
def overshoot_place(values: Array, first: int, stop: int, reach: int, average: Array) -> int:
    """Fill `average` with running means over 2·reach + 1 samples; return its highest place from `first` to `stop`.

    Parameters
    ----------
    values : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit.
    first, stop : int
        The samples in which the place must lie: the first, and the one after the last.
    reach : int
        Samples on each side that a mean takes in; fewer at the ends of `values`.
    average : array (samples,)
        Filled from `reach` samples before `first` to as many after `stop`.
    """
    best = first
    for i in range(max(first - reach, 0), min(stop + reach, len(values))):
        low, high = max(i - reach, 0), min(i + reach + 1, len(values))
        average[i] = np.mean(values[low:high])
        if first <= i < stop and (average[i] > average[best] or i == first):
            best = i
    return best


@kernel
def find_overshoot(
    values: Array, before: int, stop: int, rise: float, top: float, noise: float, top_weights: Array, known: Array,
    weights: Array, result: Array,
) -> None:  # fmt: skip
    """Fill `result[0]` with the height of the overshoot over the top, and `weights` with those of its share of the top.

    Parameters
    ----------
    values : array (samples,)
        The pulse, turned upward, in its unit.
    before, stop : int
        The last sample of the first edge below 50 %, and the first sample of the second edge.
    rise : float
        Duration of the first transition, samples; NaN counts as unresolved.
    top, noise : float
        The pulse's top and the noise of a sample, in the values' unit.
    top_weights : array (samples,)
        With which each sample enters the top.
    known : array
        See `known_weights`.
    weights : array (samples,)
        Filled with each sample's share in overshoot over top; 0 before.
    result : array (4,)
        Filled: the overshoot in the values' unit; [2] its variance beyond the noise's.
    """
    after = FEWEST_AFTER if not rise > 0.0 else max(int(ABERRATION * rise) + 1, FEWEST_AFTER)
    reach = int(rise / 8.0) if rise > 0.0 else 0
    average = np.zeros(len(values))
    first = before + 1
    stop = max(min(stop, first + after), first + 1)
    place = overshoot_place(values, first, stop, reach, average)
    result[2] = 0.0
    excess = average[place] - top
    unused = np.zeros(len(values))
    if excess > 0.0:
        vertex(values, average, place, top + TOP_LEVEL * excess, QUARTIC, noise, known, weights, unused, result)
    else:
        weights[place] = 1.0
        result[0] = values[place]
    height = result[0]
    result[0] = height - top
    for i in range(len(values)):
        weights[i] = weights[i] / top - height * top_weights[i] / top**2


@kernel
def overshoot_of(share: float, variance: float, real: Array) -> None:
    """Fill overshoot and its variance from what the largest place after the edge exceeds the top by.

    What noise alone could make is an upper bound: the overshoot is anywhere from nothing to there (JCGM 100:2008,
    4.3.7).

    Parameters
    ----------
    share : float
        Excess of the largest place over the top, as a share of the top.
    variance : float
        Of `share`.
    real : array (columns,)
        A row of the real table.
    """
    share = max(share, 0.0)
    if share < SIGNIFICANT * np.sqrt(variance):
        real[OVERSHOOT], real[OVERSHOOT_VAR] = 0.5 * share, variance + share**2 / 12.0
    else:
        real[OVERSHOOT], real[OVERSHOOT_VAR] = share, variance
