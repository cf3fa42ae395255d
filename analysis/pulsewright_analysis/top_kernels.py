"""Compiled estimators of a pulse's top, turned upward: its state level or its extreme.

See `edge_kernels` for what `values` and the weights are. Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.edge_kernels import FEWEST_FOR_FIT
from pulsewright_analysis.fit_kernels import (
    Array,
    functional_weights,
    known_weights,
    polynomial_at,
    polynomial_fit,
)
from pulsewright_analysis.interpolation_kernels import interpolated, tap_weights
from pulsewright_analysis.smooth_kernels import first_after, last_before

CUBIC = 3
QUARTIC = 4
SEXTIC = 6
FEWEST_FOR_SEXTIC = 15
TOP_LEVEL = 0.6
"""The extreme is fitted over the samples above this share of it."""
SEEN_LEVEL = 0.8
"""A round top lies inside the record where the record also comes down to this share of it on both sides."""
BRIDGED = 0.25
"""Ringing may dip to this share of the overshoot without ending the top."""
FLAT_SHARE, FLAT_BAND = 0.55, 0.1
"""A pulse is flat-topped where more than this share of its samples above 50 % lies in a band this share of it high,"""
WIDE_SHARE, WIDEST_BAND = 0.65, 0.16
"""or, where four times the noise is higher, in a band of that up to this; with few samples the second share holds."""
CUT_SHARE = 0.85
UNRESOLVED = 0.6
"""An edge that rises by more than this share of the top from one sample to the next is not resolved."""
CORNER_REACH = 2
FEWEST_AT_A_CORNER = 4
DRIFT = 3.0
"""What differs by more than this many of its own u is not noise."""
HINT = 1.5
"""A difference of so many of its own u is not sure, and yet the level may be off by it."""
UNSETTLED = 2.0
"""A ramp ends √3, a parabola's vertex lies √1.25 of its standard deviation away from its mean (algebra)."""
FEWEST_FOR_FLAT = 6
FEWEST_FOR_WIDE_BAND = 13
BINS = 100
"""Of the histogram between half the extreme and the extreme (IEEE Std 181, state levels by the histogram's mode)."""
STATE_BAND = 0.005
STATE_NOISE = 4.5
"""A sample belongs to the state within this share of the extreme, or this many times the noise, of its level."""


@kernel
def find_top(
    values: Array, smooth: Array, place: int, first: int, last: int, noise: float, mean_noise: float, known: Array,
    top_weights: Array, peak_weights: Array, result: Array,
) -> bool:  # fmt: skip
    """Fill `result` with amplitude and place of the extreme, and the weights of both; return whether the top is flat.

    Parameters
    ----------
    values, smooth : array (samples,)
        The pulse, turned upward, and its running means: see `smooth_kernels.smoothed`.
    place : int
        The highest sample of `smooth`.
    first, last : int
        Where the pulse begins and ends.
    noise, mean_noise : float
        Of `values` and of `smooth`.
    known : array
        See `known_weights`.
    top_weights, peak_weights : array (samples,)
        Filled; 0 before.
    result : array (4,)
        Amplitude, place of the extreme, and what the noise does not explain of the variance of each.

    A flat top is a state level and has no extreme in time; a round one is the vertex of a polynomial over the samples
    above 60 %, because the largest sample is biased upward by noise; one of few samples is interpolated; beside an
    edge that the sample rate does not resolve it is a corner. NaN where the record ends before its top.
    """
    peak, stop = smooth[place], len(values)
    low, high = place, place
    for i in range(place, first - 2, -1):
        if i < 0 or smooth[i] <= BRIDGED * peak:
            break
        if smooth[i] > 0.5 * peak:
            low = i
    for i in range(place, last + 2):
        if i >= stop or smooth[i] <= BRIDGED * peak:
            break
        if smooth[i] > 0.5 * peak:
            high = i
    result[:] = 0.0
    result[1] = np.nan
    wide = high - low + 1
    if wide >= FEWEST_FOR_FLAT and state_level(
        values, smooth, low, high + 1, peak, noise, mean_noise, top_weights, result
    ):
        return True
    left, right = last_before(smooth, place, 0, SEEN_LEVEL * peak), first_after(smooth, place, stop, SEEN_LEVEL * peak)
    if left < 0 or right == stop:
        result[0] = np.nan
        return False
    highest = place
    for i in range(left + 1, right):
        if values[i] > values[highest]:
            highest = i
    if corner(values, smooth, highest, peak, known, top_weights, result):
        return False
    vertex(values, smooth, place, TOP_LEVEL * peak, SEXTIC, noise, known, top_weights, peak_weights, result)
    return False


@kernel
def corner(
    values: Array, smooth: Array, highest: int, peak: float, known: Array, weights: Array, result: Array
) -> bool:
    """Fill `result` with the top beside an edge that lies between two samples, and return whether there is one.

    The edge is anywhere between the two (JCGM 100:2008, 4.3.7): a cubic over the samples that follow is read half a
    sample outside them.

    Parameters
    ----------
    values, smooth : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit; the same smoothed.
    highest : int
        The sample with the largest value.
    peak : float
        Height of the extreme of `smooth`, in the unit of `values`.
    known : array
        See `known_weights`.
    weights : array (samples,)
        Zeros, filled with the weights of the top.
    result : array (4,)
        See `find_top`.
    """
    if not 0 < highest < len(values) - 1:
        return False
    direction = 0
    for near in range(max(highest - CORNER_REACH, 1), min(highest + CORNER_REACH, len(values) - 2) + 1):
        if near <= highest and values[near] - values[near - 1] > UNRESOLVED * peak:
            direction, begin = 1, near
        elif near >= highest and values[near] - values[near + 1] > UNRESOLVED * peak:
            if direction != 0:
                return False
            direction, begin = -1, near
    if direction == 0:
        return False
    end = begin
    while 0 < end + direction < len(values) - 1 and smooth[end + direction] > TOP_LEVEL * peak:
        end += direction
    count = abs(end - begin) + 1
    if count < FEWEST_AT_A_CORNER:
        return False
    degree = CUBIC
    low = min(begin, end)
    inverse = known_weights(count, degree, known)
    coefficients = np.zeros(degree + 1)
    polynomial_fit(values, low, count, degree, inverse, coefficients)
    half = (count - 1) / 2.0
    x = -direction * (1.0 + 0.5 / half)
    functional_weights(count, degree, inverse, x, 0, weights[low:])
    result[0] = polynomial_at(coefficients, degree, x, 0)
    result[1] = begin - 0.5 * direction
    result[2] = (polynomial_at(coefficients, degree, x, 1) / half) ** 2 / 12.0
    result[3] = 1.0 / 12.0
    return True


@kernel
def state_level(
    values: Array, smooth: Array, first: int, stop: int, peak: float, noise: float, mean_noise: float, weights: Array,
    result: Array,
) -> bool:  # fmt: skip
    """Fill `result[0]` with the level of a flat top between two edges and return whether there is one.

    The mode of the histogram says where the state is, so that overshoot and ringing are not taken for it; the mean of
    the inner three fifths of the longest run of samples at that level says what it is.

    Parameters
    ----------
    values, smooth : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit; the same smoothed.
    first, stop : int
        The samples between the two edges: the first above half the extreme, and the one after the last.
    peak : float
        Height of the extreme of `smooth`, in the unit of `values`.
    noise, mean_noise : float
        Standard deviations of the noise of `values` and of `smooth`, in the same unit.
    weights : array (samples,)
        Zeros, filled with the weights of the level.
    result : array (4,)
        See `find_top`; `result[2]` is filled too.
    """
    counts = np.zeros(BINS + 1, dtype=np.int64)
    for i in range(first, stop):
        share = 2.0 * smooth[i] / peak - 1.0
        if 0.0 <= share <= 1.0:
            counts[int(share * BINS)] += 1
    band, least = FLAT_BAND, WIDE_SHARE
    if stop - first >= FEWEST_FOR_WIDE_BAND:
        band = min(max(4.0 * mean_noise / peak, FLAT_BAND), WIDEST_BAND)
        least = FLAT_SHARE + (WIDE_SHARE - FLAT_SHARE) * (band - FLAT_BAND) / (WIDEST_BAND - FLAT_BAND)
    wide = int(2 * BINS * band + 0.5)
    inside, best, mode = 0, 0, 0
    for k in range(BINS + 1):
        inside += counts[k]
        if k >= wide:
            inside -= counts[k - wide]
        if inside > best:
            best, mode = inside, k
    if first == 0 or stop == len(values):
        # of a top that the record's end cuts too little is seen to call it flat because its extreme is
        least = CUT_SHARE
    if best <= least * (stop - first):
        return False
    level = 0.5 * peak * (1.0 + (mode + 1.0 - 0.5 * wide) / BINS)
    closest = max(STATE_NOISE * mean_noise, STATE_BAND * peak)
    reach = max(0.5 * band * peak, closest)
    for _ in range(8):
        total, number = 0.0, 0
        for i in range(first, stop):
            if abs(smooth[i] - level) <= reach:
                total += smooth[i]
                number += 1
        if number == 0:
            return False
        level = total / number
        reach = max(0.75 * reach, closest)
    longest, begin, run = 0, first, 0
    for i in range(first, stop):
        run = run + 1 if abs(smooth[i] - level) <= closest else 0
        if run > longest:
            longest, begin = run, i + 1 - run
    if longest == 0:
        return False
    margin = (longest + 1) // 5
    begin, end = begin + margin, begin + longest - margin
    weights[begin:end] = 1.0 / (end - begin)
    result[0] = np.mean(values[begin:end])
    result[2] = unsettled(values[begin:end], noise)
    return True


@kernel
def unsettled(run: Array, noise: float) -> float:
    """Return the variance that a state's level has because the state has not settled; 0 where noise explains all.

    A state that still creeps differs from one half to the other, one that is domed about its mean. The level may
    be off by as much as the halves differ, or by the standard deviation that noise does not explain.

    Parameters
    ----------
    run : array (samples,)
        The samples of the state.
    noise : float
        Standard deviation of the noise of one sample, in the unit of `run`.

    Returns
    -------
    float
        In the unit of `run` squared.
    """
    count, half = len(run), len(run) // 2
    if half == 0:
        return 0.0
    drift = (np.mean(run[:half]) - np.mean(run[count - half :])) ** 2
    creep = drift if drift > HINT**2 * 2 * noise**2 / half else 0.0
    free = max(count - 1, 1)
    excess = np.var(run) * count / free - noise**2
    dome = UNSETTLED * excess if excess > DRIFT * noise**2 * np.sqrt(2.0 / free) else 0.0
    return float(max(creep, dome))


@kernel
def vertex(
    values: Array, smooth: Array, place: int, level: float, most: int, noise: float, known: Array, top_weights: Array,
    peak_weights: Array, result: Array,
) -> None:  # fmt: skip
    """Fill `result` with height and place of the extreme of the lobe above `level` around `place`, by a polynomial fit.

    `most` is the highest degree; a lobe of few samples is interpolated. Where the polynomial misses the samples by
    more than noise explains, its height is no better known than it misses them: see `find_top` for `result`.

    Parameters
    ----------
    values, smooth : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit; the same smoothed.
    place : int
        Sample of the extreme of `smooth`.
    level : float
        The lobe's samples lie above it, in the unit of `values`.
    most : int
        Highest degree of the polynomial.
    noise : float
        Standard deviation of the noise of `values`.
    known : array
        See `known_weights`.
    top_weights, peak_weights : array (samples,)
        Zeros, filled with the weights of the height and of the place.
    result : array (4,)
        See `find_top`; `result[3]` is left as it is, and `result[2]` too where the lobe is interpolated.
    """
    low = last_before(smooth, place, 0, level) + 1
    count = first_after(smooth, place, len(values), level) - low
    if count < FEWEST_FOR_FIT:
        interpolated_extreme(values, place, top_weights, peak_weights, result)
        return
    degree = min(SEXTIC if count >= FEWEST_FOR_SEXTIC else QUARTIC, most)
    inverse = known_weights(count, degree, known)
    coefficients = np.zeros(degree + 1)
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
    result[2] = lack_of_fit(values, low, count, degree, coefficients, noise)
    result[1] = np.nan
    if curvature < 0.0 and abs(x) < 1.0:
        half = (count - 1) / 2.0
        functional_weights(count, degree, inverse, x, 1, peak_weights[low:])
        peak_weights[low : low + count] *= -half / curvature
        result[1] = low + (x + 1.0) * half


@kernel
def lack_of_fit(values: Array, low: int, count: int, degree: int, coefficients: Array, noise: float) -> float:
    """Return the variance of the samples about the polynomial where it exceeds what noise makes, else 0.

    Parameters
    ----------
    values : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit.
    low, count : int
        First sample of the fit, and how many there are.
    degree : int
        Of the polynomial.
    coefficients : array (degree + 1,)
        See `polynomial_fit`.
    noise : float
        Standard deviation of the noise of `values`.

    Returns
    -------
    float
        In the unit of `values` squared.
    """
    total, step = 0.0, 2.0 / (count - 1)
    for i in range(count):
        x, fitted = i * step - 1.0, 0.0
        for term in range(degree, -1, -1):
            fitted = fitted * x + coefficients[term]
        total += (values[low + i] - fitted) ** 2
    free = max(count - degree - 1, 1)
    excess = total / free - noise**2
    return float(excess) if excess > DRIFT * noise**2 * np.sqrt(2.0 / free) else 0.0


@kernel
def interpolated_extreme(values: Array, place: int, top_weights: Array, peak_weights: Array, result: Array) -> None:
    """Fill `result` with the extreme of the band-limited interpolation around sample `place`.

    Parameters
    ----------
    values : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit.
    place : int
        The sample where the search begins.
    top_weights, peak_weights : array (samples,)
        Zeros, filled with the weights of the height and of the place.
    result : array (4,)
        Height and place, the place NaN where the interpolation is not curved downward; the rest is left as it is.
    """
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
