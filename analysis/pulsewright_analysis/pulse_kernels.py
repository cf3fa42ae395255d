"""One compiled pass over a block of records: finds every pulse and measures it.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.edge_kernels import (
    centroid,
    crossing,
    extreme,
    first_after,
    highest_near,
    last_before,
    smoothed,
)
from pulsewright_analysis.fit_kernels import Array, variance_of_sum

MOST_STRETCHES = 4096
"""More excursions than this in one record of one channel are not pulses; the rest is passed over."""
CHATTER = 4
RIVAL = 4.0
"""Two lobes closer in size than this many √2·noise may change places from record to record."""
CHUNK = 64
"""Samples whose extremes are looked at together."""
UNRESOLVED = 0.6
"""An edge that rises by more than this share of the top from one sample to the next is not resolved."""
REACH = 0.36
"""Share of the amplitude over which an edge of ten samples at 30 dB is fitted; bias goes with its fourth power."""
FEWEST_BASE_SAMPLES = 64
"""A record with fewer samples beside its pulses takes its channel's base."""

# columns of the tables that `measure_block` fills
RECORD, CHANNEL, POLARITY, FIRST, LAST, CLIPPED, CUT, AMBIGUOUS, PLACE = range(9)
(
    CONFIDENCE, AMPLITUDE, AMPLITUDE_VAR, WIDTH, WIDTH_VAR, MIDPOINT, MIDPOINT_VAR,
    LEADING, LEADING_VAR, CENTROID, CENTROID_VAR, PEAK, PEAK_VAR,
) = range(13)  # fmt: skip
WHOLE_COLUMNS = 9
REAL_COLUMNS = 13


@kernel
def find_stretches(
    codes: Array, low: float, high: float, half_low: float, half_high: float, gap: int, stretches: Array
) -> int:
    """Fill `stretches` with (first, last sample) of every pulse and return how many there are.

    A pulse begins where the record leaves `low` … `high` and extends to where it comes back within the return levels.
    Excursions fewer than `gap` samples apart are one; with `gap` −1 an excursion joins the one before where it has the
    opposite sign and follows within the length of the longer of the two.
    """
    count = 0
    last_sign = 0
    last_length = 0
    i = 0
    length = len(codes)
    while i < length:
        if i % CHUNK == 0 and i + CHUNK <= length and stays_inside(codes[i : i + CHUNK], low, high):
            i += CHUNK
            continue
        if low <= codes[i] <= high:
            i += 1
            continue
        sign = 1 if codes[i] > high else -1
        floor = stretches[count - 1, 1] + 1 if count > 0 else 0
        first = i
        while first > floor and (codes[first - 1] > half_high if sign > 0 else codes[first - 1] < half_low):
            first -= 1
        last = i
        while last + 1 < length and (codes[last + 1] > half_high if sign > 0 else codes[last + 1] < half_low):
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
def rough_middle(codes: Array) -> float:
    """Return the median of 33 samples spread over the record: where its base lies, however far it has drifted."""
    few = np.empty(33)
    for i in range(33):
        few[i] = codes[(2 * i + 1) * len(codes) // 66]
    return float(np.median(few))


@kernel
def stays_inside(codes: Array, low: float, high: float) -> bool:
    """Return whether no sample lies outside `low` … `high`: extremes first, which a processor finds many at a time."""
    least, most = codes[0], codes[0]
    for i in range(len(codes)):
        least = min(least, codes[i])
        most = max(most, codes[i])
    return bool(low <= least and most <= high)


@kernel
def without_chatter(stretches: Array, count: int) -> int:
    """Join stretches closer than a quarter of the longer of the two, and return how many are left.

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
def base_beside(codes: Array, stretches: Array, count: int) -> tuple[float, int]:
    """Return the mean of the samples at least a pulse's length away from every pulse, and their number; in codes."""
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
    """Return the sum of the samples, whole numbers added as such."""
    total = codes.dtype.type(0) + 0
    for i in range(len(codes)):
        total += codes[i]
    return float(total)


@kernel
def measure_pulse(
    codes: Array, scale: float, base: float, first: int, last: int, base_var: float, largest: bool,
    autocovariance: Array, whole: Array, real: Array,
) -> int:  # fmt: skip
    """Fill one row of each table for the pulse in samples first … last; return the sample of its extreme.

    `base` is in codes, `scale` in the channel's unit per code, `base_var` in that unit squared.
    """
    highest, lowest = first, first
    for i in range(first, last + 1):
        if (codes[i] - codes[highest]) * scale > 0:
            highest = i
        if (codes[i] - codes[lowest]) * scale < 0:
            lowest = i
    up, down = max((codes[highest] - base) * scale, 0.0), max((base - codes[lowest]) * scale, 0.0)
    sign = 1 if up >= down else -1
    if not largest:
        sign = 1 if (codes[first] - base) * scale > 0 else -1
    real[CONFIDENCE] = abs(up - down) / np.sqrt(2.0 * autocovariance[0])
    real[AMPLITUDE:] = np.nan
    whole[POLARITY] = sign
    noise = np.sqrt(autocovariance[0])
    whole[AMBIGUOUS] = 1 if rival_lobe(codes, base, scale, first, last, noise) else 0
    place = highest if sign > 0 else lowest
    margin = max(last - first + 1, 32)
    low, high = max(first - margin, 0), min(last + margin + 1, len(codes))
    turned = np.empty(high - low)
    for i in range(high - low):
        turned[i] = sign * scale * (codes[low + i] - base)
    measure_upward(turned, place - low, sign, base_var, autocovariance, real)
    for column in (MIDPOINT, LEADING, CENTROID, PEAK):
        real[column] += low
    return place


@kernel
def rival_lobe(codes: Array, base: float, scale: float, first: int, last: int, noise: float) -> bool:
    """Return whether another lobe of the pulse is as large as the largest to within what noise can exchange.

    A lobe ends where the signal has crossed the base by more than the noise reaches.
    """
    best, second, current = 0.0, 0.0, 0.0
    sign = 0
    for i in range(first, last + 2):
        value = (codes[i] - base) * scale if i <= last else 0.0
        turn = sign
        if value > 3 * noise:
            turn = 1
        elif value < -3 * noise:
            turn = -1
        if turn != sign or i > last:
            second = max(second, min(best, current))
            best = max(best, current)
            sign, current = turn, 0.0
        current = max(current, abs(value))
    return bool(second > best - RIVAL * np.sqrt(2.0) * noise)


@kernel
def measure_upward(values: Array, place: int, sign: int, base_var: float, autocovariance: Array, real: Array) -> None:
    """Fill the real columns for the upward pulse around `place`; positions from the start of `values`."""
    stop = len(values)
    smooth = smoothed(values, place)
    place = highest_near(smooth, place)
    top_weights, work = np.zeros(stop), np.zeros(stop)
    result = np.zeros(2)
    extreme(values, smooth, place, top_weights, work, result)
    top = result[0]
    real[AMPLITUDE], real[AMPLITUDE_VAR] = sign * top, variance_of_sum(top_weights, autocovariance) + base_var
    real[PEAK], real[PEAK_VAR] = result[1], variance_of_sum(work, autocovariance)
    if not top > 0:
        return
    level = 0.5 * top
    before, after = last_before(smooth, place, 0, level), first_after(smooth, place, stop, level)
    ratio = top / np.sqrt(autocovariance[0]) * np.sqrt(max(after - before, 1) / 10.0)
    reach = min(max(REACH * (ratio / 30.0) ** (-2.0 / 9.0), 0.06), 0.4) * top
    # The base was taken off before: an error of it moves the level by half and the samples by all of it.
    level_var = 0.25 * base_var
    left_steep, right_steep = 0.0, 0.0
    left, right = np.full(2, np.nan), np.full(2, np.nan)
    left_weights, right_weights = np.zeros(stop), np.zeros(stop)
    if before >= 0:
        crossing(values, smooth, level, top, reach, before, 1, left_weights, left)
        left_weights = (0.5 * top_weights - left_weights) / left[1]
        left_steep = within_a_sample(values, before, before + 1, top)
        real[LEADING] = left[0]
        real[LEADING_VAR] = variance_of_sum(left_weights, autocovariance) + level_var / left[1] ** 2 + left_steep
    if after < stop:
        crossing(values, smooth, level, top, reach, after, -1, right_weights, right)
        right_weights = (0.5 * top_weights - right_weights) / right[1]
        right_steep = within_a_sample(values, after - 1, after, top)
    if before >= 0 and after < stop:
        shared, spread = 1 / left[1] + 1 / right[1], 1 / left[1] - 1 / right[1]
        real[WIDTH] = right[0] - left[0]
        steep = left_steep + right_steep
        real[WIDTH_VAR] = variance_of_sum(right_weights - left_weights, autocovariance) + level_var * spread**2 + steep
        real[MIDPOINT] = 0.5 * (left[0] + right[0])
        both = 0.5 * (left_weights + right_weights)
        real[MIDPOINT_VAR] = variance_of_sum(both, autocovariance) + 0.25 * (level_var * shared**2 + steep)
        work[:] = 0.0
        real[CENTROID] = centroid(values, smooth, top, place, top_weights, work)
        real[CENTROID_VAR] = variance_of_sum(work, autocovariance)


@kernel
def within_a_sample(values: Array, i: int, k: int, top: float) -> float:
    """Return the variance of a crossing somewhere between two samples, where most of the edge lies between them.

    No interpolation knows where an edge is that the sample rate does not resolve: 1/12 of a sample squared (JCGM
    100:2008, 4.3.7).
    """
    return 1.0 / 12.0 if abs(values[k] - values[i]) > UNRESOLVED * top else 0.0


@kernel
def measure_block(
    codes: Array, rows: Array, channels: Array, scale: Array, offset: Array, lowest: Array, highest: Array,
    threshold: Array, offset_var: Array, inflation: Array, autocovariance: Array, first: Array, stop: Array,
    gap: int, min_width: int, largest: bool, whole: Array, real: Array,
) -> int:  # fmt: skip
    """Fill the tables with the pulses of a block and return how many there are, which may be more than fit.

    Parameters
    ----------
    codes : array (records, channels, samples)
    rows, channels : int array
        The records and the channels of the block that take part; all other arrays follow their order.
    scale, offset : array (channels,)
        Units per code, and the channel's base in its unit less its value at code 0.
    lowest, highest : array (channels,)
        End codes.
    threshold : array (channels,)
        From the base, in the channel's unit.
    offset_var, inflation : array (channels,)
        Variance of `offset`; factor by which the noise's correlation widens the variance of a mean.
    autocovariance : array (channels, lags)
    first, stop : int array (rows, channels)
        The samples in which a pulse's extreme must lie.
    gap, min_width : int
        Samples; see `find_stretches`.
    largest : bool
        Whether polarity is the sign of the largest excursion (else of the first).
    whole, real : array (pulses, columns)
        Filled, as far as they reach.
    """
    stretches = np.empty((MOST_STRETCHES, 2), dtype=np.int64)
    row_whole = np.zeros(WHOLE_COLUMNS, dtype=np.int64)
    row_real = np.zeros(REAL_COLUMNS)
    found = 0
    for r in range(len(rows)):
        for c in range(len(channels)):
            trace = codes[rows[r], channels[c]]
            base, reach = offset[c] / scale[c], threshold[c] / abs(scale[c])
            middle = rough_middle(trace)
            if abs(middle - base) > reach / 2:
                base = middle
            count = find_stretches(
                trace, base - reach, base + reach, base - reach / 2, base + reach / 2, gap, stretches
            )
            if count == 0:
                continue
            base_var = offset_var[c]
            mean, number = base_beside(trace, stretches, count)
            if number >= FEWEST_BASE_SAMPLES:
                base, base_var = mean, autocovariance[c, 0] * inflation[c] / number
            for k in range(count):
                a, b = stretches[k, 0], stretches[k, 1]
                if b - a + 1 < min_width:
                    continue
                place = measure_pulse(
                    trace, scale[c], base, a, b, base_var, largest, autocovariance[c], row_whole, row_real
                )
                if place < first[r, c] or place >= stop[r, c]:
                    continue
                row_whole[RECORD], row_whole[CHANNEL], row_whole[FIRST], row_whole[LAST] = r, c, a, b
                row_whole[PLACE] = place
                row_whole[CUT] = 1 if a == 0 or b == len(trace) - 1 else 0
                row_whole[CLIPPED] = 0
                for i in range(a, b + 1):
                    if trace[i] <= lowest[c] or trace[i] >= highest[c]:
                        row_whole[CLIPPED] = 1
                if found < len(whole):
                    whole[found] = row_whole
                    real[found] = row_real
                found += 1
    return found
