"""Compiled estimates of the base under the pulses of one trace: one constant, or a local curve where it moves.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import Array, invert

CLOSE = 4.0
"""Within this many times the noise a sample belongs to the base, wherever the base has moved to."""
FEWEST_BASE_SAMPLES = 64
"""A record with fewer samples beside its pulses takes its channel's base."""
OF_A_PIECE = 33
"""Samples whose median stands for a piece of the base."""
BESIDE = 2
"""A local base rests on this many pulse lengths on each side, a pulse's length away."""
FEWEST_BESIDE, ENOUGH_BESIDE = 24, 96
"""… but on at least so many samples, where there are so many, and on one length only where that is this many."""
FEWEST_OF_A_SIDE = 8
UNLIKE = 5.0
"""A base beside a pulse that differs from the record's by this many of its own u is not the record's."""
DRIFT = 2.0
UNDER_THE_PULSE = 6.0
"""A curve misses the base more between its two sides than on them; by so much in variance, from a quartic between."""
KEPT_SHARE = 3
"""A piece's mean counts where at least one in so many of its samples belongs to the base."""


@kernel
def rough_middle(codes: Array) -> float:
    """Return the median of 33 samples spread over the record: where its base lies, however far it has drifted.

    Parameters
    ----------
    codes : array (samples,)

    Returns
    -------
    float
        In codes.
    """
    few = np.empty(33)
    for i in range(33):
        few[i] = codes[(2 * i + 1) * len(codes) // 66]
    return float(np.median(few))


@kernel
def base_beside(codes: Array, stretches: Array, count: int) -> tuple[float, int]:
    """Return the mean of the samples at least a pulse's length away from every pulse, and their number; in codes.

    Parameters
    ----------
    codes : array (samples,)
    stretches : int array (stretches, 2)
        First and last sample of each pulse, in order of time.
    count : int
        Rows of `stretches` that are in use.

    Returns
    -------
    tuple of float and int
        The mean is 0 where there is no such sample. A pulse's length counts as at least 4 samples.
    """
    total = 0.0
    number = 0
    place = 0
    for k in range(count + 1):
        stop = len(codes)
        if k < count:
            stop = stretches[k, 0] - max(stretches[k, 1] - stretches[k, 0] + 1, 4)
        if stop > place:
            total += sum_of(codes[place:stop])
            number += stop - place
        if k < count:
            place = max(place, stretches[k, 1] + 1 + max(stretches[k, 1] - stretches[k, 0] + 1, 4))
    return (total / number if number > 0 else 0.0), number


@kernel
def sum_of(codes: Array) -> float:
    """Return the sum of the samples, whole numbers added as such.

    Parameters
    ----------
    codes : array (samples,)

    Returns
    -------
    float
        In codes.
    """
    total = codes.dtype.type(0) + 0
    for i in range(len(codes)):
        total += codes[i]
    return float(total)


@kernel
def slow_base(trace: Array, piece: int, limit: float, result: Array) -> None:
    """Fill `result` with the trace's base as it moves slowly: a smooth curve through the medians of its pieces.

    Parameters
    ----------
    trace : array (samples,)
        In codes, or in any unit.
    piece : int
        Length of a piece, samples; pulses must be shorter than about a third of it.
    limit : float
        Where above 0, each piece's mean of the samples closer to the curve than this corrects the curve.
    result : array (samples,)
        Filled, in the trace's unit.
    """
    length = len(trace)
    number = max(length // piece, 2)
    knots, few = np.empty(number), np.empty(OF_A_PIECE)
    for k in range(number):
        first, stop = k * length // number, (k + 1) * length // number
        for i in range(OF_A_PIECE):
            few[i] = trace[first + (2 * i + 1) * (stop - first) // (2 * OF_A_PIECE)]
        knots[k] = np.median(few)
    through_knots(knots, result)
    if limit <= 0.0:
        return
    for k in range(number):
        first, stop = k * length // number, (k + 1) * length // number
        total, kept = 0.0, 0
        for i in range(first, stop):
            rest = trace[i] - result[i]
            if abs(rest) < limit:
                total += rest
                kept += 1
        if kept * KEPT_SHARE >= stop - first:
            knots[k] += total / kept
    through_knots(knots, result)


@kernel
def through_knots(knots: Array, result: Array) -> None:
    """Fill `result` with a cubic curve through values at the middles of equal pieces, with parabolas at the ends.

    Between two knots that have neighbours it is the Catmull-Rom cubic.

    Parameters
    ----------
    knots : array (pieces,)
        At least 2.
    result : array (samples,)
        In the unit of `knots`.
    """
    number, length = len(knots), len(result)
    for i in range(length):
        place = (i + 0.5) * number / length - 0.5
        k = min(max(int(np.floor(place)), 0), number - 2)
        x = place - k
        p1, p2 = knots[k], knots[k + 1]
        p0 = knots[k - 1] if k > 0 else 2 * p1 - p2
        p3 = knots[k + 2] if k + 2 < number else 2 * p2 - p1
        if not 0.0 <= x <= 1.0 and number > 2:
            # Newton's parabola through the outer three
            end, step = (0, 1) if x < 0.0 else (number - 1, -1)
            away = abs(place - end)
            first, second = knots[end + step] - knots[end], knots[end + 2 * step] - knots[end + step]
            result[i] = knots[end] - away * first + 0.5 * away * (away + 1.0) * (second - first)
        elif 0.0 <= x <= 1.0:
            cubic = 2 * p0 - 5 * p1 + 4 * p2 - p3 + x * (3 * (p1 - p2) + p3 - p0)
            result[i] = p1 + 0.5 * x * (p2 - p0 + x * cubic)
        else:
            result[i] = p1 + x * (p2 - p1)


@kernel
def beside(stretches: Array, count: int, k: int, length: int, sides: Array) -> None:
    """Fill `sides` with (first, stop) of the base on both sides of stretch k, clear of its neighbours.

    Parameters
    ----------
    stretches : int array (stretches, 2)
        First and last sample of each pulse, in order of time.
    count, k : int
        Rows of `stretches` that are in use, and the row in question.
    length : int
        Samples of the record.
    sides : int array (2, 2)
        The side before the pulse, then the one after it; a side is empty where `stop` is not above `first`.
    """
    first, last = stretches[k, 0], stretches[k, 1]
    own = last - first + 1
    away, wanted = max(own, 4), max(min(BESIDE * own, ENOUGH_BESIDE), own, FEWEST_BESIDE)
    low, high = 0, length
    if k > 0:
        low = stretches[k - 1, 1] + 1 + max(stretches[k - 1, 1] - stretches[k - 1, 0] + 1, 4)
    if k + 1 < count:
        high = stretches[k + 1, 0] - max(stretches[k + 1, 1] - stretches[k + 1, 0] + 1, 4)
    sides[0, 1] = first - away
    sides[0, 0] = max(low, sides[0, 1] - wanted)
    sides[1, 0] = last + 1 + away
    sides[1, 1] = min(high, sides[1, 0] + wanted)


@kernel
def is_unlike(codes: Array, sides: Array, base: float, variance: float) -> bool:
    """Return whether the base on either side differs from `base`; `variance` is that of one independent sample.

    Parameters
    ----------
    codes : array (samples,)
    sides : int array (2, 2)
        See `beside`; a side of fewer than 8 samples does not count.
    base : float
        In codes.
    variance : float
        In codes squared.
    """
    for side in range(2):
        number = sides[side, 1] - sides[side, 0]
        if number >= FEWEST_OF_A_SIDE:
            mean = sum_of(codes[sides[side, 0] : sides[side, 1]]) / number
            if abs(mean - base) > UNLIKE * np.sqrt(variance / number):
                return True
    return False


@kernel
def local_base(
    codes: Array, sides: Array, white: float, inflation: float, unit_squared: float, middle: float, curve: Array,
    covariance: Array,
) -> float:  # fmt: skip
    """Fill `curve` and `covariance` with a parabola through the base on both sides of a pulse; return its unit of x.

    Parameters
    ----------
    codes : array (samples,)
    sides : int array (2, 2)
        See `beside`.
    white, inflation, unit_squared : float
        Variance of one sample in codes squared; factor by which the noise's correlation widens the variance of a
        mean; the unit of `covariance` per code squared.
    middle : float
        The sample at x = 0; x is in units of the value returned, samples.
    curve, covariance : array (3,), (3, 3)
        Filled: the parabola's coefficients in codes, and their covariance in `unit_squared`.

    Returns
    -------
    float
        0 where there is too little base. A straight line is fitted where only one side has any: a parabola bends
        with hum, which a straight line reads too high or too low by the bow of the hum under the pulse. Where even
        that misses the base by more than noise does, the base under the pulse is no better known.
    """
    left, right = max(sides[0, 1] - sides[0, 0], 0), max(sides[1, 1] - sides[1, 0], 0)
    terms = 3
    if left < FEWEST_OF_A_SIDE or right < FEWEST_OF_A_SIDE:
        terms = 2
        if left + right < 2 * FEWEST_OF_A_SIDE:
            return 0.0
    reach = max(middle - sides[0, 0] if left > 0 else 0.0, sides[1, 1] - middle if right > 0 else 0.0)
    work, sums = np.zeros((terms, 2 * terms)), np.zeros(terms)
    origin = codes[sides[0, 0]] if left > 0 else codes[sides[1, 0]]
    for side in range(2):
        for i in range(sides[side, 0], sides[side, 1]):
            x = (i - middle) / reach
            value = float(codes[i]) - origin
            power = 1.0
            for row in range(terms):
                sums[row] += power * value
                other = power
                for column in range(terms):
                    work[row, column] += other
                    other *= x
                power *= x
    squares, number = 0.0, max(left + right - terms, 1)
    invert(work)
    curve[:] = 0.0
    covariance[:] = 0.0
    for row in range(terms):
        for column in range(terms):
            curve[row] += work[row, terms + column] * sums[column]
            covariance[row, column] = white * inflation * unit_squared * work[row, terms + column]
    curve[0] += origin
    for side in range(2):
        for i in range(sides[side, 0], sides[side, 1]):
            x = (i - middle) / reach
            squares += (codes[i] - (curve[0] + x * (curve[1] + x * curve[2]))) ** 2
    excess = squares / number - white
    if excess > DRIFT * white * np.sqrt(2.0 / number):
        covariance[0, 0] += UNDER_THE_PULSE * excess * unit_squared
    return float(reach)
