"""Compiled measurement of one pulse: its levels, its crossings, its positions, each with its variance.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.base_kernels import CLOSE
from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.edge_kernels import CENTROID_LEVEL, centroid, crossing, transition
from pulsewright_analysis.fit_kernels import Array, variance_of_sum, variance_with_base
from pulsewright_analysis.overshoot_kernels import find_overshoot, overshoot_of
from pulsewright_analysis.pulse_columns import (
    AMBIGUOUS,
    AMPLITUDE,
    AMPLITUDE_VAR,
    CENTROID,
    CENTROID_VAR,
    CONFIDENCE,
    FALL,
    FALL_VAR,
    LEADING,
    LEADING_VAR,
    MIDPOINT,
    MIDPOINT_VAR,
    PEAK,
    PEAK_VAR,
    POLARITY,
    RISE,
    RISE_VAR,
    WIDTH,
    WIDTH_VAR,
)  # fmt: skip
from pulsewright_analysis.smooth_kernels import (
    SMOOTHING,
    edge_smoothed,
    first_after,
    highest_near,
    last_before,
    smoothed,
    width_at_half,
)
from pulsewright_analysis.stretch_kernels import rival_lobe
from pulsewright_analysis.top_kernels import UNRESOLVED, find_top

REACH = 0.36
"""Share of the amplitude over which an edge of ten samples at 30 dB is fitted; bias goes with its fourth power."""
RETURN = 3.0
"""A stretch ends no lower than this many times the noise."""
LEAST_MARGIN = 32
HIDDEN_DIP = 0.5
"""Between neighbours that dip to no less than this share of the lower one, the 50 % crossings do not exist."""


@kernel
def measure_pulse(
    codes: Array, scale: float, curve: Array, covariance: Array, middle: float, unit: float, part: Array, dips: Array,
    largest: bool, autocovariance: Array, known: Array, whole: Array, real: Array,
) -> int:  # fmt: skip
    """Fill one row of each table for one pulse; return the sample of its extreme.

    Parameters
    ----------
    codes : array (samples,)
    scale : float
        The channel's unit per code.
    curve, covariance : array (3,), (3, 3)
        Base in codes over x = (sample − middle)/unit, and its covariance in the channel's unit squared.
    middle, unit : float
        Samples.
    part, dips : int array (4,), array (2,)
        A row of what `split_stretches` gives.
    largest : bool
        Whether polarity is the sign of the largest excursion, else of the first.
    autocovariance : array (lags,)
        Of the noise, in the channel's unit squared.
    known : array
        See `known_weights`.
    whole, real : array (columns,)
        Filled: see `pulse_columns`; record, channel and place are the caller's.
    """
    first, last = part[0], part[1]
    noise = np.sqrt(autocovariance[0])
    margin = tail_beyond(codes, curve[0], noise / abs(scale), first, last)
    low, high = max(first - margin, 0), min(last + margin + 1, len(codes))
    turned = np.empty(high - low)
    if curve[1] == 0.0 and curve[2] == 0.0:
        for i in range(high - low):
            turned[i] = scale * (codes[low + i] - curve[0])
    else:
        for i in range(high - low):
            x = (low + i - middle) / unit
            turned[i] = scale * (codes[low + i] - (curve[0] + x * (curve[1] + x * curve[2])))
    highest, lowest = first - low, first - low
    for i in range(first - low, last - low + 1):
        if turned[i] > turned[highest]:
            highest = i
        if turned[i] < turned[lowest]:
            lowest = i
    up, down = max(turned[highest], 0.0), max(-turned[lowest], 0.0)
    sign = 1 if up >= down else -1
    if not largest:
        sign = 1 if turned[first - low] > 0 else -1
    real[CONFIDENCE] = abs(up - down) / (np.sqrt(2.0) * noise)
    real[AMPLITUDE:] = np.nan
    whole[POLARITY] = sign
    ambiguous = rival_lobe(turned[first - low : last - low + 1], noise, 0 if largest else sign)
    place = highest if sign > 0 else lowest
    if sign < 0:
        for i in range(high - low):
            turned[i] = -turned[i]
    if max(dips[0], dips[1]) == 0.0 or deepest(dips * abs(scale), noise) < HIDDEN_DIP * turned[place]:
        flat = measure_upward(
            turned,
            place,
            first - low,
            last - low,
            sign,
            covariance,
            middle - low,
            unit,
            dips * abs(scale),
            autocovariance,
            known,
            real,
        )
        # ringing on a flat top has two maxima and is no second pulse
        ambiguous = ambiguous or (part[3] == 1 and not flat)
        for column in (MIDPOINT, LEADING, CENTROID, PEAK):
            real[column] += low
    else:
        ambiguous = True
    whole[AMBIGUOUS] = 1 if ambiguous else 0
    return int(low + place)


@kernel
def tail_beyond(codes: Array, base: float, noise: float, first: int, last: int) -> int:
    """Return how many samples beyond first … last a tail may reach before it is down to 1 % of the largest excursion.

    For a one-pole tail (algebra), the slowest that is common: the stretch is as long as it takes to fall to what is
    left at its end. Nothing that is measured of a pulse uses samples from below 1 % of its top.

    Parameters
    ----------
    codes : array (samples,)
    base, noise : float
        Base level and standard deviation of the noise, codes.
    first, last : int
        First and last sample of the stretch.
    """
    largest = 0.0
    for i in range(first, last + 1):
        largest = max(largest, abs(codes[i] - base))
    left = max(abs(codes[first] - base), abs(codes[last] - base), RETURN * noise)
    share = 1.0
    if left < 0.1 * largest:
        share = max(np.log(100.0 * left / largest), 0.0) / np.log(largest / left)
    return max(int((last - first + 1) * share), LEAST_MARGIN)


@kernel
def measure_upward(
    values: Array, place: int, first: int, last: int, sign: int, covariance: Array, middle: float, unit: float,
    dips: Array, autocovariance: Array, known: Array, real: Array,
) -> bool:  # fmt: skip
    """Fill the real columns for the upward pulse in first … last of `values`, and return whether its top is flat.

    The base was taken off before: its error enters every sample, and each result by the sums of its weights.

    Parameters
    ----------
    values : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit.
    place : int
        Sample of the largest value.
    first, last : int
        Where in `values` the pulse begins and ends.
    sign : int
        1 or −1: the pulse's polarity before it was turned.
    covariance : array (3, 3)
        Of the base that was taken off, over x = (sample − middle)/unit, in the channel's unit squared.
    middle, unit : float
        Samples of `values`.
    dips : array (2,)
        How far the record stays from the base at the two ends, where a neighbour overlaps; in the channel's unit.
    autocovariance : array (lags,)
        Of the noise, lag 0 first, in the channel's unit squared.
    known : array
        See `known_weights`.
    real : array (columns,)
        A row of the real table, filled from the amplitude on with values in samples and the channel's unit; what
        cannot be measured is left as it is.
    """
    stop = len(values)
    smooth = smoothed(values, place)
    place = highest_near(smooth, place)
    noise = np.sqrt(autocovariance[0])
    reach = width_at_half(smooth, place) // SMOOTHING
    top_weights, work, own = np.zeros(stop), np.zeros(stop), np.empty(stop)
    result, found = np.zeros(4), np.zeros(2)
    mean_noise = noise_of_mean(autocovariance, reach)
    flat = find_top(values, smooth, place, first, last, noise, mean_noise, known, top_weights, work, result)
    top, top_extra = result[0], result[2]
    if not top > 0:
        return flat
    # a neighbour that overlaps adds anything from nothing to the whole dip between the two (JCGM 100:2008, 4.3.7)
    left_tail, right_tail = dips[0] ** 2 / 3.0, dips[1] ** 2 / 3.0
    tails = left_tail + right_tail
    top_extra += tails
    real[AMPLITUDE] = sign * top
    real[AMPLITUDE_VAR] = variance_with_base(top_weights, autocovariance, covariance, middle, unit) + top_extra
    level = 0.5 * top
    left_smooth = edge_smoothed(values, smooth, place, top, 1)
    right_smooth = edge_smoothed(values, smooth, place, top, -1)
    before, after = last_before(left_smooth, place, 0, level), first_after(right_smooth, place, stop, level)
    wide = max(after - before, 1)
    real[PEAK] = result[1]
    peak_extra = result[3] + tails * (wide / top) ** 2
    real[PEAK_VAR] = variance_with_base(work, autocovariance, covariance, middle, unit) + peak_extra
    ratio = top / noise * np.sqrt(wide / 10.0)
    edge_reach = min(max(REACH * (ratio / 30.0) ** (-2.0 / 9.0), 0.06), 0.4) * top
    # for each edge: the crossing and the slope there, and what u has besides the noise: an edge between two samples,
    # the top's own excess, a neighbour
    left, right = np.full(2, np.nan), np.full(2, np.nan)
    left_weights, right_weights = np.zeros(stop), np.zeros(stop)
    left_steep, right_steep, left_extra, right_extra = 0.0, 0.0, 0.0, 0.0
    if before >= 0:
        left_steep = edge_crossing(
            values, left_smooth, level, top, edge_reach, before, 1, known, top_weights, left_weights, left
        )
        left_extra = left_steep if left_steep > 0.0 else (left_tail + 0.25 * top_extra) / left[1] ** 2
        real[LEADING] = left[0]
        real[LEADING_VAR] = variance_with_base(left_weights, autocovariance, covariance, middle, unit) + left_extra
    if after < stop:
        right_steep = edge_crossing(
            values, right_smooth, level, top, edge_reach, after, -1, known, top_weights, right_weights, right
        )
        right_extra = right_steep if right_steep > 0.0 else (right_tail + 0.25 * top_extra) / right[1] ** 2
    if before >= 0 and left_steep == 0.0:
        work[:] = 0.0
        transition(values, left_smooth, top, edge_reach, before, 1, known, top_weights, own, work, found)
        real[RISE] = found[0]
        real[RISE_VAR] = variance_with_base(work, autocovariance, covariance, middle, unit) + found[1]
    if after < stop and right_steep == 0.0:
        work[:] = 0.0
        transition(values, right_smooth, top, edge_reach, after, -1, known, top_weights, own, work, found)
        real[FALL] = found[0]
        real[FALL_VAR] = variance_with_base(work, autocovariance, covariance, middle, unit) + found[1]
    if before >= 0 and after < stop:
        real[WIDTH] = right[0] - left[0]
        for i in range(stop):
            work[i] = right_weights[i] - left_weights[i]
        real[WIDTH_VAR] = variance_with_base(work, autocovariance, covariance, middle, unit) + left_extra + right_extra
        # both edges may err the same way: a top that is off moves them apart, two edges between samples move together
        common = 0.25 * (np.sqrt(left_extra) + np.sqrt(right_extra)) ** 2
        real[MIDPOINT] = 0.5 * (left[0] + right[0])
        for i in range(stop):
            work[i] = 0.5 * (left_weights[i] + right_weights[i])
        real[MIDPOINT_VAR] = variance_with_base(work, autocovariance, covariance, middle, unit) + common
        if tails == 0.0 or deepest(dips, noise) < CENTROID_LEVEL * top:
            work[:] = 0.0
            real[CENTROID] = centroid(values, smooth, top, place, top_weights, work)
            spread = tails * (wide / top) ** 2 + 0.25 * (left_steep + right_steep)
            real[CENTROID_VAR] = variance_with_base(work, autocovariance, covariance, middle, unit) + spread
    if flat and real[RISE] > 0.0:
        work[:] = 0.0
        find_overshoot(values, before, after, real[RISE], top, noise, top_weights, known, work, result)
        variance = variance_with_base(work, autocovariance, covariance, middle, unit)
        overshoot_of(result[0] / top, variance + (result[2] + top_extra) / top**2, real)
    return flat


@kernel
def edge_crossing(
    values: Array, smooth: Array, level: float, top: float, reach: float, below: int, direction: int, known: Array,
    top_weights: Array, weights: Array, result: Array,
) -> float:  # fmt: skip
    """Fill `result` and `weights` with an edge's 50 % crossing, see `crossing`; return its variance between samples.

    No interpolation knows where an edge is that the sample rate does not resolve: it is anywhere between two samples,
    1/12 of a sample squared (JCGM 100:2008, 4.3.7). 0 where the edge is resolved.

    Parameters
    ----------
    values, smooth : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit; the same smoothed.
    level, top : float
        Heights of the crossing and of the pulse's top, in the unit of `values`.
    reach : float
        See `crossing`.
    below, direction : int
        See `crossing`.
    known : array
        See `known_weights`.
    top_weights : array (samples,)
        The weights of the top.
    weights : array (samples,)
        Zeros, filled with the weights of the crossing's place where the edge is resolved.
    result : array (2,)
        Place of the crossing, samples, and the slope there per sample.

    Returns
    -------
    float
        Samples squared.
    """
    step = values[below + direction] - values[below]
    if step > UNRESOLVED * top:
        result[0], result[1] = below + 0.5 * direction, step * direction
        return 1.0 / 12.0
    crossing(values, smooth, level, top, reach, below, direction, known, weights, result)
    for i in range(len(weights)):
        weights[i] = (0.5 * top_weights[i] - weights[i]) / result[1]
    return 0.0


@kernel
def deepest(dips: Array, noise: float) -> float:
    """Return how high the higher of two dips may lie: a level that the record must come down to lies above that.

    Parameters
    ----------
    dips : array (2,)
        See `split_stretches`.
    noise : float
        Standard deviation of the noise, in the unit of `dips`.
    """
    return float(max(dips[0], dips[1]) + CLOSE * noise)


@kernel
def noise_of_mean(autocovariance: Array, reach: int) -> float:
    """Return the standard deviation of the noise in a mean of 2·reach + 1 neighbouring samples.

    Parameters
    ----------
    autocovariance : array (lags,)
        Of the noise, lag 0 first.
    reach : int
        Samples on each side of the middle one.

    Returns
    -------
    float
        In the unit whose square `autocovariance` has.
    """
    if reach == 0:
        return float(np.sqrt(autocovariance[0]))
    return float(np.sqrt(variance_of_sum(np.full(2 * reach + 1, 1.0 / (2 * reach + 1)), autocovariance)))
