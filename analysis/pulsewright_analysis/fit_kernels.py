"""Small compiled fits on samples in their order: polynomials, and the variance of weighted sums.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pulsewright_analysis.compiled import kernel, summing_kernel

Array = Any
"""Numba needs plain arrays; their element types are fixed to float64 by the callers."""

MOST_TERMS = 7
KNOWN_COUNTS = 96
"""Inverses for fits over fewer samples than this are kept through a block."""


@kernel
def part_in_use(weights: Array) -> Array:
    """Return the weights from the first that is not 0 to the last.

    Parameters
    ----------
    weights : array (samples,)

    Returns
    -------
    array (samples in use,)
        A view of `weights`, empty where all are 0.
    """
    first, stop = 0, len(weights)
    while first < stop and weights[first] == 0.0:
        first += 1
    while stop > first and weights[stop - 1] == 0.0:
        stop -= 1
    return weights[first:stop]


# loops over whole arrays, and sums in any order, are what lets a processor add several at a time


@summing_kernel
def sum_of_products(one: Array, other: Array) -> float:
    """Return Σ of the products of two arrays, of as many as the shorter one has.

    Parameters
    ----------
    one, other : array (samples,)
        Need not be of the same length.
    """
    total = 0.0
    for i in range(min(len(one), len(other))):
        total += one[i] * other[i]
    return total


@summing_kernel
def sum_of_weights(weights: Array) -> float:
    """Return Σ of the weights.

    Parameters
    ----------
    weights : array (samples,)
    """
    total = 0.0
    for i in range(len(weights)):
        total += weights[i]
    return total


@kernel
def variance_of_sum(weights: Array, autocovariance: Array) -> float:
    """Return the variance of Σ wᵢ·nᵢ for noise of that autocovariance (JCGM 100:2008, 5.2.2).

    Parameters
    ----------
    weights : array (samples,)
        The factors wᵢ.
    autocovariance : array (lags,)
        Of the noise, lag 0 first; 0 beyond.

    Returns
    -------
    float
        In the unit of `autocovariance` times that of the weights squared; at least 5 % of what white noise would give.
    """
    used = part_in_use(weights)
    lags = len(autocovariance)
    while lags > 1 and autocovariance[lags - 1] == 0.0:
        lags -= 1
    white = sum_of_products(used, used)
    total = white * autocovariance[0]
    for lag in range(1, min(lags, len(used))):
        if autocovariance[lag] != 0.0:
            total += 2.0 * sum_of_products(used, used[lag:]) * autocovariance[lag]
    # An estimated autocovariance need not be positive definite: never believe that noise all but cancels.
    return float(max(total, 0.05 * white * autocovariance[0]))


@kernel
def variance_with_base(weights: Array, autocovariance: Array, base: Array, middle: float, unit: float) -> float:
    """Return the variance of Σ wᵢ·(nᵢ − b(i)) for noise n and for the error b of the base that was taken off.

    Parameters
    ----------
    weights, autocovariance : array
        See `variance_of_sum`.
    base : array (3, 3)
        Covariance of the coefficients of b over x = (i − middle)/unit.
    middle, unit : float
        Samples.
    """
    level, slope, bend = sum_of_weights(weights), 0.0, 0.0
    total = level * level * base[0, 0]
    if base[1, 1] > 0.0:
        for i in range(len(weights)):
            x = (i - middle) / unit
            slope += weights[i] * x
            bend += weights[i] * x * x
        total += slope * slope * base[1, 1] + bend * bend * base[2, 2]
        total += 2.0 * (level * slope * base[0, 1] + level * bend * base[0, 2] + slope * bend * base[1, 2])
    return float(variance_of_sum(weights, autocovariance) + max(total, 0.0))


@kernel
def invert(work: Array) -> None:
    """Turn the left half of (n, 2n) into the unit matrix and leave the inverse of what it was in the right half.

    By Gauss-Jordan elimination with row exchange (algebra).

    Parameters
    ----------
    work : array (n, 2n)
        The matrix in its left half; written over.
    """
    terms = len(work)
    work[:, terms:] = 0.0
    for row in range(terms):
        work[row, terms + row] = 1.0
    for pivot in range(terms):
        best = pivot
        for row in range(pivot + 1, terms):
            if abs(work[row, pivot]) > abs(work[best, pivot]):
                best = row
        for column in range(2 * terms):
            work[pivot, column], work[best, column] = work[best, column], work[pivot, column]
        scale = work[pivot, pivot]
        for column in range(2 * terms):
            work[pivot, column] /= scale
        for row in range(terms):
            if row != pivot:
                factor = work[row, pivot]
                for column in range(2 * terms):
                    work[row, column] -= factor * work[pivot, column]


@kernel
def polynomial_weights(count: int, degree: int, inverse: Array) -> None:
    """Fill `inverse` with (XᵀX)⁻¹ for powers 0 … degree of an even grid of `count` points over −1 … 1.

    Parameters
    ----------
    count : int
        At least 2.
    degree : int
        Highest power.
    inverse : array (terms, terms)
        Filled in its first degree + 1 rows and columns.
    """
    terms = degree + 1
    work = np.zeros((terms, 2 * terms))
    for i in range(count):
        x = 2.0 * i / (count - 1) - 1.0
        power_row = 1.0
        for row in range(terms):
            power = power_row
            for column in range(terms):
                work[row, column] += power
                power *= x
            power_row *= x
    invert(work)
    for row in range(terms):
        for column in range(terms):
            inverse[row, column] = work[row, terms + column]


@kernel
def known_weights(count: int, degree: int, known: Array) -> Array:
    """Return what `polynomial_weights` gives, from `known` (counts, degrees, 7, 7) where it is there already.

    Parameters
    ----------
    count, degree : int
        See `polynomial_weights`.
    known : array (counts, degrees, 7, 7)
        Inverses by count and degree, 0 where not worked out yet; what is missing is filled in.

    Returns
    -------
    array (7, 7)
        The inverse in its first degree + 1 rows and columns.
    """
    if count >= len(known):
        inverse = np.zeros((MOST_TERMS, MOST_TERMS))
        polynomial_weights(count, degree, inverse)
        return inverse
    inverse = known[count, degree]
    if inverse[0, 0] == 0.0:
        polynomial_weights(count, degree, inverse)
    return inverse


@kernel
def polynomial_fit(values: Array, first: int, count: int, degree: int, inverse: Array, result: Array) -> None:
    """Fill `result` with the least-squares coefficients of values[first : first + count] over −1 … 1.

    Parameters
    ----------
    values : array (samples,)
    first, count : int
        First sample of the fitted stretch, and how many it has, at least 2.
    degree : int
        Highest power.
    inverse : array (terms, terms)
        See `polynomial_weights`.
    result : array (terms,)
        Filled in its first degree + 1 places, power 0 first, in the unit of `values`.
    """
    terms = degree + 1
    sums = np.zeros(terms)
    step = 2.0 / (count - 1)
    for i in range(count):
        x = i * step - 1.0
        power = values[first + i]
        for term in range(terms):
            sums[term] += power
            power *= x
    for row in range(terms):
        result[row] = 0.0
        for column in range(terms):
            result[row] += inverse[row, column] * sums[column]


@kernel
def polynomial_at(coefficients: Array, degree: int, x: float, order: int) -> float:
    """Return the polynomial (order 0), its first (1) or its second derivative (2) at x.

    Parameters
    ----------
    coefficients : array (terms,)
        Power 0 first, see `polynomial_fit`.
    degree : int
        Highest power.
    x : float
        Place; the fitted stretch is −1 … 1.
    order : int
        Order of the derivative by x.

    Returns
    -------
    float
        In the unit of `coefficients`.
    """
    total = 0.0
    for term in range(degree, order - 1, -1):
        factor = 1.0
        for k in range(order):
            factor *= term - k
        total = total * x + factor * coefficients[term]
    return total


@kernel
def functional_weights(count: int, degree: int, inverse: Array, x: float, order: int, weights: Array) -> None:
    """Fill `weights` with the share of each sample in the fit's value, or derivative, at x.

    Parameters
    ----------
    count, degree : int
        See `polynomial_weights`.
    inverse : array (terms, terms)
        See `polynomial_weights`.
    x : float
        Place; the fitted stretch is −1 … 1.
    order : int
        Order of the derivative by x, 0 for the value.
    weights : array (samples,)
        Its first `count` places are written over.
    """
    terms = degree + 1
    row = np.zeros(terms)
    raised = 1.0
    for term in range(order, terms):
        factor = 1.0
        for k in range(order):
            factor *= term - k
        gradient = factor * raised
        raised *= x
        for column in range(terms):
            row[column] += gradient * inverse[term, column]
    step = 2.0 / (count - 1)
    for i in range(count):
        xi = i * step - 1.0
        share = 0.0
        for column in range(degree, -1, -1):
            share = share * xi + row[column]
        weights[i] = share
