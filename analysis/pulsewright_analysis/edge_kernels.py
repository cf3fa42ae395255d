"""Compiled estimators on one pulse turned upward: its crossings, its extreme, its centroid.

`values` is one stretch of a record with the base taken off and the sign turned so that the pulse points up. Positions
are in samples. Every estimator also fills the weights with which each sample's noise enters its result, to first
order, so that results which share samples keep their covariance. Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import Array, functional_weights, known_weights, polynomial_fit
from pulsewright_analysis.interpolation_kernels import add_taps, interpolated, interpolated_slope, tap_weights
from pulsewright_analysis.smooth_kernels import HIGH_LEVEL, LOW_LEVEL, first_after, last_before

CUBIC = 3
FEWEST_FOR_FIT = 7
"""Below this many samples on its stretch an edge or a top is interpolated, from here up it is fitted."""
CENTROID_LEVEL = 0.1
BETWEEN_SAMPLES = 0.05
FEW_ON_AN_EDGE = 9.0
"""On a transition of fewer samples each crossing at 10 % and 90 % is uncertain by so much of a sample: found by
simulation of straight, one-pole and Gaussian edges."""
BESIDE_A_LEVEL = 0.09
"""The fits at 10 % and 90 % stay this share of the top away from those levels: beyond lie the base and the top."""


@kernel
def crossing(
    values: Array, smooth: Array, level: float, top: float, reach: float, below: int, direction: int, known: Array,
    weights: Array, result: Array,
) -> None:  # fmt: skip
    """Fill `result` with the crossing of `level` and the slope there per sample, `weights` with the value's.

    Parameters
    ----------
    values : array (samples,)
        The pulse, turned upward, in its unit.
    smooth : array (samples,)
        `values` as `smoothed` gives them: it says where the edge begins and ends.
    level, top, reach : float
        The level, the pulse's top, and how far from the level the fitted stretch may go.
    below : int
        The sample just outside the crossing: not above the level, its neighbour towards the pulse above it.
    direction : int
        1 for a rising edge (the pulse lies after `below`), −1 for a falling one.
    known : array
        See `known_weights`.
    weights : array (samples,)
        Filled where the estimate uses samples.
    result : array (2,)
        Filled: samples, and the unit per sample.

    A cubic is fitted over a stretch around the level; an edge of few samples is interpolated in its full band.
    """
    outer = below
    while 0 < outer < len(values) - 1 and level - smooth[outer] < reach and _falls(smooth, outer, direction, reach):
        outer -= direction
    inner = below + direction
    while 0 < inner < len(values) - 1 and smooth[inner] - level < reach and smooth[inner] < 0.95 * top:
        inner += direction
    low, high = min(outer, inner), max(outer, inner)
    count = high - low + 1
    if count < FEWEST_FOR_FIT:
        interpolated_crossing(values, level, below, direction, weights, result)
        return
    inverse = known_weights(count, CUBIC, known)
    coefficients = np.zeros(CUBIC + 1)
    polynomial_fit(values, low, count, CUBIC, inverse, coefficients)
    half = (count - 1) / 2.0
    x = (below + 0.5 * direction - low) / half - 1.0
    c0, c1, c2, c3 = coefficients
    for _ in range(30):
        slope = c1 + x * (2.0 * c2 + x * 3.0 * c3)
        if slope * direction <= 0.0:
            break
        step = (c0 + x * (c1 + x * (c2 + x * c3)) - level) / slope
        x = min(max(x - step, -1.0), 1.0)
        if abs(step) < 1e-12:
            break
    slope = (c1 + x * (2.0 * c2 + x * 3.0 * c3)) / half
    if slope * direction <= 0.0 or abs(c0 + x * (c1 + x * (c2 + x * c3)) - level) > 1e-6 * top:
        interpolated_crossing(values, level, below, direction, weights, result)
        return
    functional_weights(count, CUBIC, inverse, x, 0, weights[low:])
    result[0] = low + (x + 1.0) * half
    result[1] = slope


@kernel
def _falls(values: Array, place: int, direction: int, reach: float) -> bool:
    """Return whether the record goes on falling away from the pulse at `place`: else the edge has ended."""
    further = place - direction
    return 0 <= further < len(values) and values[further] < values[place] + 0.25 * reach


@kernel
def interpolated_crossing(
    values: Array, level: float, below: int, direction: int, weights: Array, result: Array
) -> None:
    """Fill `result` with the crossing of the band-limited interpolation between `below` and its neighbour.

    Parameters
    ----------
    values : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit.
    level : float
        In the unit of `values`.
    below, direction : int
        See `crossing`.
    weights : array (samples,)
        Zeros, filled with the weights of the interpolated value at the crossing.
    result : array (2,)
        Place of the crossing, samples, and the slope there per sample.
    """
    outside, inside = float(below), float(below + direction)
    for _ in range(50):
        middle = 0.5 * (outside + inside)
        if interpolated(values, middle) > level:
            inside = middle
        else:
            outside = middle
    position = 0.5 * (outside + inside)
    tap_weights(position, weights, False)
    result[0] = position
    result[1] = interpolated_slope(values, position)


@kernel
def centroid(values: Array, smooth: Array, top: float, place: int, top_weights: Array, weights: Array) -> float:
    """Return the centroid of the lobe's part above 10 % of its top, and fill `weights` with its own.

    Parameters
    ----------
    values, smooth : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit; the same as `smoothed` gives it.
    top : float
        Height of the pulse's top, in the unit of `values`.
    place : int
        Sample of the lobe from which its two ends are looked for.
    top_weights : array (samples,)
        The weights of the top.
    weights : array (samples,)
        Zeros, filled with the weights of the centroid.

    Returns
    -------
    float
        Position in `values`, samples.
    """
    level = CENTROID_LEVEL * top
    low, high = last_before(smooth, place, 0, level), first_after(smooth, place, len(values), level)
    low, high = max(low, 0), min(high, len(values) - 1)
    steps = 8 if high - low < 16 else (4 if high - low < 64 else 1)
    total = 0.0
    moment = 0.0
    number = 0
    places = 0.0
    for i in range((high - low) * steps + 1):
        t = low + i / steps
        height = (interpolated(values, t) if steps > 1 else values[low + i]) - level
        # the ends lie below the level by less than a step: they close the lobe and count nothing
        if (steps == 1 and (i == 0 or i == high - low)) or (steps > 1 and height <= 0.0):
            continue
        total += height
        moment += height * t
        number += 1
        places += t
    middle = moment / total
    for i in range((high - low) * steps + 1):
        t = low + i / steps
        if steps == 1:
            if 0 < i < high - low:
                weights[low + i] += (t - middle) / total
        elif interpolated(values, t) > level:
            add_taps(t, (t - middle) / total, weights)
    tilt = -(places - middle * number) / total
    for i in range(len(weights)):
        weights[i] += tilt * CENTROID_LEVEL * top_weights[i]
    return middle


@kernel
def transition(
    values: Array, smooth: Array, top: float, reach: float, before: int, direction: int, known: Array,
    top_weights: Array, own: Array, weights: Array, result: Array,
) -> None:  # fmt: skip
    """Fill `result` with the samples between an edge's 10 % and 90 % crossings (IEEE Std 181), and `weights`.

    Parameters
    ----------
    values, smooth : array (samples,)
        See `crossing`.
    top, reach : float
        See `crossing`.
    before : int
        The sample just outside the 50 % crossing.
    direction : int
        1 for the first transition, −1 for the second.
    known : array
        See `known_weights`.
    top_weights : array (samples,)
        With which each sample enters the top.
    own : array (samples,)
        Written over.
    weights : array (samples,)
        Filled; 0 before.
    result : array (2,)
        Duration, and its variance because the corners of an edge of few samples lie between them.

    NaN where the edge does not reach both levels inside the record.
    """
    stop = len(values)
    low = before
    while 0 <= low < stop and smooth[low] > LOW_LEVEL * top:
        low -= direction
    high = before + direction
    while 0 <= high < stop and smooth[high] < HIGH_LEVEL * top:
        high += direction
    result[:] = np.nan
    if not (0 <= low < stop and 0 <= high < stop):
        return
    reach = min(reach, BESIDE_A_LEVEL * top)
    crossing(values, smooth, HIGH_LEVEL * top, top, reach, high - direction, direction, known, weights, result)
    place, slope = result[0], result[1]
    for i in range(stop):
        weights[i] = (HIGH_LEVEL * top_weights[i] - weights[i]) / slope
        own[i] = 0.0
    crossing(values, smooth, LOW_LEVEL * top, top, reach, low, direction, known, own, result)
    slope = result[1]
    for i in range(stop):
        weights[i] -= (LOW_LEVEL * top_weights[i] - own[i]) / slope
    result[0] = abs(place - result[0])
    result[1] = 2 * BETWEEN_SAMPLES**2 if result[0] < FEW_ON_AN_EDGE else 0.0
