"""One compiled pass over a block of records: finds every pulse and measures it.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.edge_kernels import centroid, crossing, extreme, first_after, last_before, smoothed
from pulsewright_analysis.fit_kernels import Array

MOST_STRETCHES = 4096
"""More excursions than this in one record of one channel are not pulses; the rest is passed over."""
CHATTER = 10
FEWEST_BASE_SAMPLES = 64
"""A record with fewer samples beside its pulses takes its channel's base."""

# columns of the tables that `measure_block` fills
RECORD, CHANNEL, POLARITY, FIRST, LAST, CLIPPED, CUT = range(7)
(
    CONFIDENCE, AMPLITUDE, AMPLITUDE_VAR, WIDTH, WIDTH_VAR, MIDPOINT, MIDPOINT_VAR,
    LEADING, LEADING_VAR, CENTROID, CENTROID_VAR, PEAK, PEAK_VAR,
) = range(13)  # fmt: skip
WHOLE_COLUMNS = 7
REAL_COLUMNS = 13


@kernel
def find_stretches(values: Array, threshold: float, gap: int, stretches: Array) -> int:
    """Fill `stretches` with (first, last sample) of every pulse and return how many there are.

    A pulse begins where the record leaves ±threshold and extends to where it comes back within half of it. Excursions
    fewer than `gap` samples apart are one; with `gap` −1 an excursion joins the one before where it has the opposite
    sign and follows within the length of the longer of the two.
    """
    count = 0
    last_sign = 0
    last_length = 0
    i = 0
    length = len(values)
    while i < length:
        if abs(values[i]) <= threshold:
            i += 1
            continue
        sign = 1 if values[i] > 0 else -1
        floor = stretches[count - 1, 1] + 1 if count > 0 else 0
        first = i
        while first > floor and sign * values[first - 1] > threshold / 2:
            first -= 1
        last = i
        while last + 1 < length and sign * values[last + 1] > threshold / 2:
            last += 1
        joins = False
        if count > 0:
            apart = first - stretches[count - 1, 1] - 1
            if gap >= 0:
                joins = apart < gap
            else:
                longer = max(last_length, last - first + 1)
                joins = sign != last_sign and apart < longer
        if joins:
            stretches[count - 1, 1] = last
        elif count < len(stretches):
            stretches[count, 0] = first
            stretches[count, 1] = last
            count += 1
        else:
            break
        if not joins or last - first + 1 >= last_length:
            last_sign = sign
            last_length = last - first + 1
        i = last + 1
    return without_chatter(stretches, count)


@kernel
def without_chatter(stretches: Array, count: int) -> int:
    """Join stretches closer than a tenth of the longer of the two, and return how many are left.

    On a slow edge noise crosses both levels more than once and leaves crumbs before and after the pulse.
    """
    joined = True
    while joined:
        joined = False
        kept = 0
        for k in range(1, count):
            longer = max(stretches[k, 1] - stretches[k, 0], stretches[kept, 1] - stretches[kept, 0]) + 1
            if stretches[k, 0] - stretches[kept, 1] - 1 < max(longer // CHATTER, 4):
                stretches[kept, 1] = stretches[k, 1]
                joined = True
            else:
                kept += 1
                stretches[kept, 0], stretches[kept, 1] = stretches[k, 0], stretches[k, 1]
        count = min(kept + 1, count)
    return count


@kernel
def base_beside(values: Array, stretches: Array, count: int) -> tuple[float, int]:
    """Return the mean of the samples at least a pulse's length away from every pulse, and their number."""
    total = 0.0
    number = 0
    place = 0
    for k in range(count + 1):
        stop = len(values)
        if k < count:
            stop = stretches[k, 0] - max(stretches[k, 1] - stretches[k, 0] + 1, 4)
        for i in range(place, stop):
            total += values[i]
            number += 1
        if k < count:
            place = max(place, stretches[k, 1] + 1 + max(stretches[k, 1] - stretches[k, 0] + 1, 4))
    return (total / number if number > 0 else 0.0), number


@kernel
def measure_pulse(
    values: Array, first: int, last: int, base_var: float, largest: bool, autocovariance: Array,
    whole: Array, real: Array,
) -> int:  # fmt: skip
    """Fill one row of each table for the pulse in samples first … last; return the sample of its extreme."""
    highest, lowest = first, first
    for i in range(first, last + 1):
        if values[i] > values[highest]:
            highest = i
        if values[i] < values[lowest]:
            lowest = i
    up, down = max(values[highest], 0.0), max(-values[lowest], 0.0)
    sign = 1 if up >= down else -1
    if not largest:
        sign = 1 if values[first] > 0 else -1
    real[CONFIDENCE] = abs(up - down) / np.sqrt(2.0 * autocovariance[0])
    real[AMPLITUDE:] = np.nan
    whole[POLARITY] = sign
    place = highest if sign > 0 else lowest
    margin = max(last - first + 1, 32)
    low, high = max(first - margin, 0), min(last + margin + 1, len(values))
    turned = sign * values[low:high]
    measure_upward(turned, place - low, sign, base_var, autocovariance, real)
    for column in (MIDPOINT, LEADING, CENTROID, PEAK):
        real[column] += low
    return place


@kernel
def measure_upward(values: Array, place: int, sign: int, base_var: float, autocovariance: Array, real: Array) -> None:
    """Fill the real columns for the upward pulse around `place`; positions from the start of `values`."""
    stop = len(values)
    result = np.zeros(4)
    extreme(values, place, 0, stop, autocovariance, result)
    top, top_var = result[0], result[1]
    real[AMPLITUDE], real[AMPLITUDE_VAR] = sign * top, top_var + base_var
    real[PEAK], real[PEAK_VAR] = result[2], result[3]
    if not top > 0:
        return
    level, level_var = 0.5 * top, 0.25 * (top_var + base_var)
    # the base was taken off before: an error of it moves the level by half and the samples by all of it
    smooth = smoothed(values, place)
    before, after = last_before(smooth, place, 0, level), first_after(smooth, place, stop, level)
    left, right = np.full(3, np.nan), np.full(3, np.nan)
    if before >= 0:
        crossing(values, smooth, level, top, before, 1, autocovariance, left)
        real[LEADING], real[LEADING_VAR] = left[0], left[1] + level_var / left[2] ** 2
    if after < stop:
        crossing(values, smooth, level, top, after, -1, autocovariance, right)
    if before >= 0 and after < stop:
        shared, spread = 1 / left[2] + 1 / right[2], 1 / left[2] - 1 / right[2]
        real[WIDTH] = right[0] - left[0]
        real[WIDTH_VAR] = left[1] + right[1] + level_var * spread**2
        real[MIDPOINT] = 0.5 * (left[0] + right[0])
        real[MIDPOINT_VAR] = 0.25 * (left[1] + right[1] + level_var * shared**2)
        centroid(values, smooth, top, place, autocovariance, result)
        real[CENTROID], real[CENTROID_VAR] = result[0], result[1]


@kernel
def measure_block(
    codes: Array, scale: Array, offset: Array, lowest: Array, highest: Array, threshold: Array, offset_var: Array,
    inflation: Array, autocovariance: Array, first: Array, stop: Array, gap: int, min_width: int, largest: bool,
    whole: Array, real: Array,
) -> int:  # fmt: skip
    """Fill the tables with the pulses of a block and return how many there are, which may be more than fit.

    Parameters
    ----------
    codes : array (records, channels, samples)
    scale, offset : array (channels,)
        Units per code, and the channel's base in its unit less its value at code 0.
    lowest, highest : array (channels,)
        End codes.
    threshold : array (channels,)
        From the base, in the channel's unit.
    offset_var, inflation : array (channels,)
        Variance of `offset`; factor by which the noise's correlation widens the variance of a mean.
    autocovariance : array (channels, lags)
    first, stop : int array (records, channels)
        The samples in which a pulse's extreme must lie.
    gap, min_width : int
        Samples; see `find_stretches`.
    largest : bool
        Whether polarity is the sign of the largest excursion (else of the first).
    whole, real : array (pulses, columns)
        Filled, as far as they reach.
    """
    records, channels, length = codes.shape
    values = np.empty(length)
    stretches = np.empty((MOST_STRETCHES, 2), dtype=np.int64)
    row_whole = np.zeros(WHOLE_COLUMNS, dtype=np.int64)
    row_real = np.zeros(REAL_COLUMNS)
    found = 0
    for r in range(records):
        for c in range(channels):
            for i in range(length):
                values[i] = codes[r, c, i] * scale[c] - offset[c]
            count = find_stretches(values, threshold[c], gap, stretches)
            base, number = base_beside(values, stretches, count)
            base_var = offset_var[c]
            if number >= FEWEST_BASE_SAMPLES:
                base_var = autocovariance[c, 0] * inflation[c] / number
                for i in range(length):
                    values[i] -= base
            for k in range(count):
                a, b = stretches[k, 0], stretches[k, 1]
                if b - a + 1 < min_width:
                    continue
                place = measure_pulse(values, a, b, base_var, largest, autocovariance[c], row_whole, row_real)
                if place < first[r, c] or place >= stop[r, c]:
                    continue
                row_whole[RECORD], row_whole[CHANNEL], row_whole[FIRST], row_whole[LAST] = r, c, a, b
                row_whole[CUT] = 1 if a == 0 or b == length - 1 else 0
                row_whole[CLIPPED] = 0
                for i in range(a, b + 1):
                    if codes[r, c, i] <= lowest[c] or codes[r, c, i] >= highest[c]:
                        row_whole[CLIPPED] = 1
                if found < len(whole):
                    whole[found] = row_whole
                    real[found] = row_real
                found += 1
    return found
