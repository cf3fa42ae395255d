"""Compiled estimators on one pulse turned upward: its crossings, its extreme, its centroid.

`values` is one stretch of a record with the base taken off and the sign turned so that the pulse points up. Positions
are in samples. Every estimator also fills the weights with which each sample's noise enters its result, to first
order, so that results which share samples keep their covariance. Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import (
    TAPS,
    Array,
    functional_weights,
    interpolated,
    interpolated_slope,
    polynomial_at,
    polynomial_fit,
    polynomial_weights,
    tap_slope,
    tap_weight,
)

CUBIC = 3
QUARTIC = 4
SEXTIC = 6
FEWEST_FOR_FIT = 7
"""Below this many samples on its stretch an edge or a top is interpolated, from here up it is fitted."""
FEWEST_FOR_SEXTIC = 15
TOP_LEVEL = 0.6
"""The extreme is fitted over the samples above this share of it."""
FLAT_SHARE = 0.65
"""A pulse is flat-topped where its width at 90 % is more than this share of that at 50 %."""
CENTROID_LEVEL = 0.1
SMOOTHING = 24
"""Places on an edge are looked for in averages over 1/12 of the width at half: this many to each side."""


@kernel
def last_before(values: Array, start: int, first: int, level: float) -> int:
    """Return the last sample at or before `start` that is not above `level`, or `first` − 1."""
    i = start
    while i >= first and values[i] > level:
        i -= 1
    return i


@kernel
def first_after(values: Array, start: int, stop: int, level: float) -> int:
    """Return the first sample at or after `start` that is not above `level`, or `stop`."""
    i = start
    while i < stop and values[i] > level:
        i += 1
    return i


@kernel
def width_at_half(values: Array, place: int) -> int:
    """Return the samples between the places beside `place` where `values` comes down to half."""
    half = 0.5 * values[place]
    return first_after(values, place, len(values), half) - last_before(values, place, 0, half)


@kernel
def smoothed(values: Array, place: int) -> Array:
    """Return `values` averaged over about a twelfth of the pulse's width at half, to find places on slow edges.

    Noise on a slow edge crosses a level more than once; the first crossing would always lie on the same side. The
    width itself is read from the average, so it is worked out again as long as it grows.
    """
    result = values
    reach = 0
    for _ in range(4):
        wanted = width_at_half(result, place) // SMOOTHING
        if wanted <= reach:
            break
        reach = wanted
        sums = np.zeros(len(values) + 1)
        for i in range(len(values)):
            sums[i + 1] = sums[i] + values[i]
        result = np.empty(len(values))
        for i in range(len(values)):
            low, high = max(i - reach, 0), min(i + reach + 1, len(values))
            result[i] = (sums[high] - sums[low]) / (high - low)
    return result


@kernel
def highest_near(smooth: Array, place: int) -> int:
    """Return the highest sample of the lobe of `smooth` around `place`."""
    half = 0.5 * smooth[place]
    best = place
    for i in range(last_before(smooth, place, 0, half) + 1, first_after(smooth, place, len(smooth), half)):
        if smooth[i] > smooth[best]:
            best = i
    return best


@kernel
def extreme(values: Array, smooth: Array, place: int, top_weights: Array, peak_weights: Array, result: Array) -> None:
    """Fill `result` with the amplitude and the place of the extreme (NaN on a flat top), and the weights of both.

    A flat top is the mean of the inner samples (IEEE Std 181's state level); a round one the vertex of a polynomial
    over the samples above 60 %, because the largest sample is biased upward by noise; one of few samples is
    interpolated.
    """
    peak, stop = smooth[place], len(values)
    low_90, high_90 = last_before(smooth, place, 0, 0.9 * peak), first_after(smooth, place, stop, 0.9 * peak)
    low_50, high_50 = last_before(smooth, place, 0, 0.5 * peak), first_after(smooth, place, stop, 0.5 * peak)
    if high_50 - low_50 > 12 and (high_90 - low_90) > FLAT_SHARE * (high_50 - low_50):
        flat_top(values, low_90, high_90, top_weights, result)
        return
    low = last_before(smooth, place, 0, TOP_LEVEL * peak) + 1
    count = first_after(smooth, place, stop, TOP_LEVEL * peak) - low
    if count < FEWEST_FOR_FIT:
        interpolated_extreme(values, place, top_weights, peak_weights, result)
        return
    degree = SEXTIC if count >= FEWEST_FOR_SEXTIC else QUARTIC
    inverse = np.zeros((degree + 1, degree + 1))
    coefficients = np.zeros(degree + 1)
    polynomial_weights(count, degree, inverse)
    polynomial_fit(values, low, count, degree, inverse, coefficients)
    x = 2.0 * (place - low) / (count - 1) - 1.0
    for _ in range(30):
        curvature = polynomial_at(coefficients, degree, x, 2)
        if curvature >= 0.0:
            break
        step = polynomial_at(coefficients, degree, x, 1) / curvature
        x = min(max(x - step, -1.0), 1.0)
        if abs(step) < 1e-10:
            break
    functional_weights(count, degree, inverse, x, 0, top_weights[low:])
    result[0] = polynomial_at(coefficients, degree, x, 0)
    curvature = polynomial_at(coefficients, degree, x, 2)
    result[1] = np.nan
    if curvature < 0.0 and abs(x) < 1.0:
        half = (count - 1) / 2.0
        functional_weights(count, degree, inverse, x, 1, peak_weights[low:])
        peak_weights *= -half / curvature
        result[1] = low + (x + 1.0) * half


@kernel
def flat_top(values: Array, low: int, high: int, top_weights: Array, result: Array) -> None:
    """Fill `result` with the mean of the inner three fifths of a flat top; it has no extreme in time."""
    margin = (high - low) // 5
    first, stop = low + 1 + margin, high - margin
    top_weights[first:stop] = 1.0 / (stop - first)
    result[0] = np.mean(values[first:stop])
    result[1] = np.nan


@kernel
def interpolated_extreme(values: Array, place: int, top_weights: Array, peak_weights: Array, result: Array) -> None:
    """Fill `result` with the extreme of the band-limited interpolation around sample `place`."""
    position = float(place)
    step = 0.5
    best = interpolated(values, position)
    while step > 1e-7:
        left, right = interpolated(values, position - step), interpolated(values, position + step)
        if left > best and left >= right:
            position, best = position - step, left
        elif right > best:
            position, best = position + step, right
        else:
            step /= 2
    width = 0.05
    left, right = interpolated(values, position - width), interpolated(values, position + width)
    curvature = (left + right - 2 * best) / width**2
    result[0] = best
    result[1] = position if curvature < 0 else np.nan
    tap_weights(position, top_weights, False)
    tap_weights(position, peak_weights, True)
    if curvature < 0:
        peak_weights *= -1.0 / curvature


@kernel
def tap_weights(position: float, weights: Array, slope: bool) -> None:
    """Fill `weights` with the shares of the samples in the interpolation at `position`, or in its slope."""
    nearest = int(np.floor(position))
    for k in range(nearest - TAPS + 1, nearest + TAPS + 1):
        inside = min(max(k, 0), len(weights) - 1)
        weights[inside] += tap_slope(position - k) if slope else tap_weight(position - k)


@kernel
def crossing(
    values: Array, smooth: Array, level: float, top: float, reach: float, below: int, direction: int,
    weights: Array, result: Array,
) -> None:  # fmt: skip
    """Fill `result` with the crossing of `level` and the slope there per sample, `weights` with the value's.

    Parameters
    ----------
    smooth : array (samples,)
        `values` as `smoothed` gives them: it says where the edge begins and ends.
    reach : float
        How far from the level the fitted stretch may go.
    below : int
        The sample just outside the crossing: not above the level, its neighbour towards the pulse above it.
    direction : int
        1 for a rising edge (the pulse lies after `below`), −1 for a falling one.

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
    inverse = np.zeros((CUBIC + 1, CUBIC + 1))
    coefficients = np.zeros(CUBIC + 1)
    polynomial_weights(count, CUBIC, inverse)
    polynomial_fit(values, low, count, CUBIC, inverse, coefficients)
    half = (count - 1) / 2.0
    x = (below + 0.5 * direction - low) / half - 1.0
    for _ in range(30):
        slope = polynomial_at(coefficients, CUBIC, x, 1)
        if slope * direction <= 0.0:
            break
        step = (polynomial_at(coefficients, CUBIC, x, 0) - level) / slope
        x = min(max(x - step, -1.0), 1.0)
        if abs(step) < 1e-12:
            break
    slope = polynomial_at(coefficients, CUBIC, x, 1) / half
    if slope * direction <= 0.0 or abs(polynomial_at(coefficients, CUBIC, x, 0) - level) > 1e-6 * top:
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
    """Fill `result` with the crossing of the band-limited interpolation between `below` and its neighbour."""
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
    """Return the centroid of the lobe's part above 10 % of its top, and fill `weights` with its own."""
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
            nearest = int(np.floor(t))
            for k in range(nearest - TAPS + 1, nearest + TAPS + 1):
                inside = min(max(k, 0), len(weights) - 1)
                weights[inside] += (t - middle) / total * tap_weight(t - k)
    tilt = -(places - middle * number) / total
    for i in range(len(weights)):
        weights[i] += tilt * CENTROID_LEVEL * top_weights[i]
    return middle
