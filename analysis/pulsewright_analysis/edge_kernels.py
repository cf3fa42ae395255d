"""Compiled estimators on one pulse turned upward: its crossings, its extreme, its centroid, each with its variance.

`values` is one record with the base taken off and the sign turned so that the pulse points up. Positions and variances
are in samples and samples squared. Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import (
    Array,
    functional_weights,
    interpolated,
    interpolated_slope,
    interpolation_variance,
    polynomial_at,
    polynomial_fit,
    polynomial_weights,
    variance_of_sum,
)

CUBIC = 3
QUARTIC = 4
FEWEST_FOR_FIT = 7
"""Below this many samples on its stretch an edge or a top is interpolated, from here up it is fitted."""
TOP_LEVEL = 0.6
"""The extreme is fitted over the samples above this share of it."""
FLAT_SHARE = 0.65
"""A pulse is flat-topped where its width at 90 % is more than this share of that at 50 %."""
CENTROID_LEVEL = 0.1
FINE_STEPS = 8
FEW_SAMPLES = 16
"""A lobe of fewer samples has its centroid from interpolated points."""


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
def smoothed(values: Array, place: int) -> Array:
    """Return `values` averaged over about a twelfth of the pulse's width at half, to find places on slow edges.

    Noise on a slow edge crosses a level more than once; the first crossing would always lie on the same side.
    """
    half = values[place] / 2
    width = first_after(values, place, len(values), half) - last_before(values, place, 0, half)
    reach = width // 24
    if reach < 1:
        return values
    result = np.empty(len(values))
    for i in range(len(values)):
        low, high = max(i - reach, 0), min(i + reach + 1, len(values))
        result[i] = np.mean(values[low:high])
    return result


@kernel
def extreme(values: Array, place: int, first: int, stop: int, autocovariance: Array, result: Array) -> None:
    """Fill `result` with amplitude, its variance, place of the extreme, its variance (NaN on a flat top).

    A flat top is the mean of the inner samples (IEEE Std 181's state level); a round one the vertex of a quartic over
    the samples above 60 %, because the largest sample is biased upward by noise; one of few samples is interpolated.
    """
    peak = values[place]
    low_90, high_90 = (
        last_before(values, place, first, 0.9 * peak),
        first_after(values, place, stop, 0.9 * peak),
    )
    low_50, high_50 = (
        last_before(values, place, first, 0.5 * peak),
        first_after(values, place, stop, 0.5 * peak),
    )
    if high_50 - low_50 > 12 and (high_90 - low_90) > FLAT_SHARE * (high_50 - low_50):
        flat_top(values, low_90, high_90, autocovariance, result)
        return
    low = last_before(values, place, first, TOP_LEVEL * peak) + 1
    count = first_after(values, place, stop, TOP_LEVEL * peak) - low
    if count < FEWEST_FOR_FIT:
        interpolated_extreme(values, place, autocovariance, result)
        return
    inverse = np.zeros((QUARTIC + 1, QUARTIC + 1))
    coefficients = np.zeros(QUARTIC + 1)
    polynomial_weights(count, QUARTIC, inverse)
    polynomial_fit(values, low, count, QUARTIC, inverse, coefficients)
    x = 2.0 * (place - low) / (count - 1) - 1.0
    for _ in range(30):
        curvature = polynomial_at(coefficients, QUARTIC, x, 2)
        if curvature >= 0.0:
            break
        step = polynomial_at(coefficients, QUARTIC, x, 1) / curvature
        x = min(max(x - step, -1.0), 1.0)
        if abs(step) < 1e-10:
            break
    weights = np.zeros(count)
    functional_weights(count, QUARTIC, inverse, x, 0, weights)
    result[0] = polynomial_at(coefficients, QUARTIC, x, 0)
    result[1] = variance_of_sum(weights, count, autocovariance)
    curvature = polynomial_at(coefficients, QUARTIC, x, 2)
    if curvature < 0.0 and abs(x) < 1.0:
        half = (count - 1) / 2.0
        functional_weights(count, QUARTIC, inverse, x, 1, weights)
        result[2] = low + (x + 1.0) * half
        result[3] = variance_of_sum(weights, count, autocovariance) * (half / curvature) ** 2
    else:
        result[2] = np.nan
        result[3] = np.nan


@kernel
def flat_top(values: Array, low: int, high: int, autocovariance: Array, result: Array) -> None:
    """Fill `result` with the mean of the inner three fifths of a flat top; it has no extreme in time."""
    margin = (high - low) // 5
    first, stop = low + 1 + margin, high - margin
    count = stop - first
    weights = np.full(count, 1.0 / count)
    result[0] = np.mean(values[first:stop])
    result[1] = variance_of_sum(weights, count, autocovariance)
    result[2] = np.nan
    result[3] = np.nan


@kernel
def interpolated_extreme(values: Array, place: int, autocovariance: Array, result: Array) -> None:
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
    result[1] = interpolation_variance(position, autocovariance)
    result[2] = position
    # the slope of white noise, interpolated without loss of band, has variance π²/3 per sample squared
    result[3] = autocovariance[0] * np.pi**2 / 3 / curvature**2 if curvature < 0 else np.nan


@kernel
def crossing(
    values: Array, smooth: Array, level: float, top: float, below: int, direction: int, autocovariance: Array,
    result: Array,
) -> None:  # fmt: skip
    """Fill `result` with the crossing of `level`, its variance by noise, and the slope there per sample.

    Parameters
    ----------
    smooth : array (samples,)
        `values` as `smoothed` gives them: it says where the edge begins and ends.
    below : int
        The sample just outside the crossing: not above the level, its neighbour towards the pulse above it.
    direction : int
        1 for a rising edge (the pulse lies after `below`), −1 for a falling one.

    A cubic is fitted over a stretch around the level that shrinks as amplitude over noise grows (bias goes with its
    fourth power, noise with the inverse of its length); an edge of few samples is interpolated in its full band.
    """
    ratio = top / np.sqrt(autocovariance[0])
    reach = min(max(0.35 * (ratio / 50.0) ** (-2.0 / 9.0), 0.1), 0.4) * top
    outer = below
    while 0 < outer < len(values) - 1 and level - smooth[outer] < reach and _falls(smooth, outer, direction, reach):
        outer -= direction
    inner = below + direction
    while 0 < inner < len(values) - 1 and smooth[inner] - level < reach and smooth[inner] < 0.95 * top:
        inner += direction
    low, high = min(outer, inner), max(outer, inner)
    count = high - low + 1
    if count < FEWEST_FOR_FIT:
        interpolated_crossing(values, level, below, direction, autocovariance, result)
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
        interpolated_crossing(values, level, below, direction, autocovariance, result)
        return
    weights = np.zeros(count)
    functional_weights(count, CUBIC, inverse, x, 0, weights)
    result[0] = low + (x + 1.0) * half
    result[1] = variance_of_sum(weights, count, autocovariance) / slope**2
    result[2] = slope


@kernel
def _falls(values: Array, place: int, direction: int, reach: float) -> bool:
    """Return whether the record goes on falling away from the pulse at `place`: else the edge has ended."""
    further = place - direction
    return 0 <= further < len(values) and values[further] < values[place] + 0.25 * reach


@kernel
def interpolated_crossing(
    values: Array, level: float, below: int, direction: int, autocovariance: Array, result: Array
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
    slope = interpolated_slope(values, position)
    result[0] = position
    result[1] = interpolation_variance(position, autocovariance) / slope**2 if slope != 0 else np.nan
    result[2] = slope


@kernel
def centroid(values: Array, smooth: Array, top: float, place: int, autocovariance: Array, result: Array) -> None:
    """Fill `result` with the centroid of the lobe's part above 10 % of its top, and its variance."""
    level = CENTROID_LEVEL * top
    low, high = last_before(smooth, place, 0, level), first_after(smooth, place, len(values), level)
    low, high = max(low, 0), min(high, len(values) - 1)
    steps = FINE_STEPS if high - low < FEW_SAMPLES else 1
    total = 0.0
    moment = 0.0
    for i in range((high - low) * steps + 1):
        t = low + i / steps
        height = (interpolated(values, t) if steps > 1 else values[low + i]) - level
        # the ends lie below the level by less than a step: they close the lobe and count nothing
        if steps > 1 or 0 < i < high - low:
            height = max(height, 0.0) if steps > 1 else height
            total += height
            moment += height * t
    middle = moment / total
    weights = np.zeros(high - low + 1)
    for i in range(high - low + 1):
        weights[i] = (low + i - middle) * steps / total
    result[0] = middle
    result[1] = variance_of_sum(weights[1:], max(high - low - 1, 1), autocovariance)
