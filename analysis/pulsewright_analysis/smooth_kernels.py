"""Compiled running means of a pulse turned upward, and the places that are looked for in them.

See `edge_kernels` for what `values` are. Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import Array

FEW_TO_ADD = 4
"""Running means that reach so far are added up one by one, which a processor does for many at a time."""
LOW_LEVEL = 0.1
HIGH_LEVEL = 0.9
EDGE_SMOOTHING = 16
SHARPER = 0.6
SMOOTHING = 24
"""Places on an edge are looked for in averages over 1/12 of the width at half: this many to each side."""


@kernel
def last_before(values: Array, start: int, first: int, level: float) -> int:
    """Return the last sample at or before `start` that is not above `level`, or `first` − 1.

    Parameters
    ----------
    values : array (samples,)
    start, first : int
        Samples: where the search begins, and the last one that it looks at, going back.
    level : float
        In the unit of `values`.
    """
    i = start
    while i >= first and values[i] > level:
        i -= 1
    return i


@kernel
def first_after(values: Array, start: int, stop: int, level: float) -> int:
    """Return the first sample at or after `start` that is not above `level`, or `stop`.

    Parameters
    ----------
    values : array (samples,)
    start, stop : int
        Samples: where the search begins, and the one before which it ends.
    level : float
        In the unit of `values`.
    """
    i = start
    while i < stop and values[i] > level:
        i += 1
    return i


@kernel
def width_at_half(values: Array, place: int) -> int:
    """Return the samples between the places beside `place` where `values` comes down to half.

    Parameters
    ----------
    values : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit.
    place : int
        Sample whose value is halved.
    """
    half = 0.5 * values[place]
    return first_after(values, place, len(values), half) - last_before(values, place, 0, half)


@kernel
def smoothed(values: Array, place: int) -> Array:
    """Return `values` averaged over about a twelfth of the pulse's width at half, to find places on slow edges.

    Noise on a slow edge crosses a level more than once; the first crossing would always lie on the same side. The
    width itself is read from the average, so it is worked out again as long as it grows.

    Parameters
    ----------
    values : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit.
    place : int
        Sample of the pulse's extreme, whose value is halved for the width.

    Returns
    -------
    array (samples,)
        In the unit of `values`; `values` itself where the pulse is too short for averages.
    """
    result = values
    reach = 0
    for _ in range(4):
        wanted = width_at_half(result, place) // SMOOTHING
        if wanted <= reach:
            break
        reach = wanted
        result = averaged(values, reach)
    return result


@kernel
def averaged(values: Array, reach: int) -> Array:
    """Return the running means of `values` over 2·reach + 1 samples, over fewer at the ends.

    Parameters
    ----------
    values : array (samples,)
    reach : int
        Samples on each side of the middle one.

    Returns
    -------
    array (samples,)
        In the unit of `values`.
    """
    length = len(values)
    inside = max(length - 2 * reach, 0)
    result = np.empty(length)
    middle = result[reach : reach + inside]
    share = 1.0 / (2 * reach + 1)
    if reach <= FEW_TO_ADD:
        middle[:] = 0.0
        for k in range(2 * reach + 1):
            shifted = values[k:]
            for i in range(len(middle)):
                middle[i] += shifted[i] * share
    else:
        sums = np.zeros(length + 1)
        for i in range(length):
            sums[i + 1] = sums[i] + values[i]
        later = sums[2 * reach + 1 :]
        for i in range(len(middle)):
            middle[i] = (later[i] - sums[i]) * share
    for k in range(min(reach, length)):
        for i in (k, length - 1 - k):
            result[i] = np.mean(values[max(i - reach, 0) : min(i + reach + 1, length)])
    return result


@kernel
def edge_smoothed(values: Array, smooth: Array, place: int, top: float, direction: int) -> Array:
    """Return `values` averaged over an eighth of the duration of one edge, where that is much less than `smooth` is.

    A wide pulse may have fast edges, whose corners its own averages would round. `direction` is 1 for the first edge.

    Parameters
    ----------
    values, smooth : array (samples,)
        The pulse turned upward, base taken off, in the channel's unit; the same as `smoothed` gives it.
    place : int
        Sample of the highest value of `smooth`, from which the edge is looked for.
    top : float
        Height of the pulse's top, in the unit of `values`.
    direction : int
        1 for the first edge, −1 for the second.

    Returns
    -------
    array (samples,)
        In the unit of `values`; `smooth` or `values` itself where nothing else is averaged.
    """
    stop = len(values)
    reach = width_at_half(smooth, place) // SMOOTHING
    result = smooth
    while reach > 0:
        half = place
        while 0 <= half < stop and result[half] > 0.5 * top:
            half -= direction
        low, high = half, half
        while 0 <= low < stop and result[low] > LOW_LEVEL * top:
            low -= direction
        while high != place and (high < 0 or high >= stop or result[high] < HIGH_LEVEL * top):
            high += direction
        wanted = abs(high - low) // EDGE_SMOOTHING
        if wanted > SHARPER * reach:
            break
        reach = wanted
        result = averaged(values, reach) if reach > 0 else values
    return result


@kernel
def highest_near(smooth: Array, place: int) -> int:
    """Return the highest sample of the lobe of `smooth` around `place`.

    Parameters
    ----------
    smooth : array (samples,)
        The pulse as `smoothed` gives it.
    place : int
        Sample of the lobe; the lobe ends where `smooth` comes down to half its value there.
    """
    half = 0.5 * smooth[place]
    best = place
    for i in range(last_before(smooth, place, 0, half) + 1, first_after(smooth, place, len(smooth), half)):
        if smooth[i] > smooth[best]:
            best = i
    return best
