"""One compiled pass over a block of records: finds every pulse and measures it.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.base_kernels import (
    FEWEST_BASE_SAMPLES,
    base_beside,
    beside,
    is_unlike,
    local_base,
    rough_middle,
    slow_base,
)
from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.edge_kernels import (
    CENTROID_LEVEL,
    SMOOTHING,
    centroid,
    crossing,
    edge_smoothed,
    first_after,
    highest_near,
    last_before,
    smoothed,
    transition,
    width_at_half,
)
from pulsewright_analysis.fit_kernels import KNOWN_COUNTS, MOST_TERMS, Array, variance_of_sum, variance_with_base
from pulsewright_analysis.stretch_kernels import find_stretches, rival_lobe, split_stretches
from pulsewright_analysis.top_kernels import SIGNIFICANT, UNRESOLVED, find_overshoot, find_top

MOST_STRETCHES = 4096
"""More excursions than this in one record of one channel are not pulses; the rest is passed over."""
REACH = 0.36
"""Share of the amplitude over which an edge of ten samples at 30 dB is fitted; bias goes with its fourth power."""
DRIFTED = 0.125
"""A record whose base is this share of the threshold away from its channel's is searched from its own."""
CLOSE = 4.0
"""Within this many times the noise a sample belongs to the base, wherever the base has moved to."""
RETURN = 3.0
"""A stretch ends no lower than this many times the noise."""
LEAST_MARGIN = 32
HIDDEN_DIP = 0.5
"""Between neighbours that dip to no less than this share of the lower one, the 50 % crossings do not exist."""

# columns of the tables that `measure_block` fills
RECORD, CHANNEL, POLARITY, FIRST, LAST, CLIPPED, CUT, AMBIGUOUS, PLACE = range(9)
(
    CONFIDENCE, AMPLITUDE, AMPLITUDE_VAR, WIDTH, WIDTH_VAR, MIDPOINT, MIDPOINT_VAR, LEADING, LEADING_VAR, CENTROID,
    CENTROID_VAR, PEAK, PEAK_VAR, RISE, RISE_VAR, FALL, FALL_VAR, OVERSHOOT, OVERSHOOT_VAR,
) = range(19)  # fmt: skip
WHOLE_COLUMNS = 9
REAL_COLUMNS = 19


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
    part, dips : int array (4,), array (2,)
        A row of what `split_stretches` gives.
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


@kernel
def overshoot_of(share: float, variance: float, real: Array) -> None:
    """Fill overshoot and its variance from what the largest place after the edge exceeds the top by.

    What noise alone could make is an upper bound: the overshoot is anywhere from nothing to there (JCGM 100:2008,
    4.3.7).

    Parameters
    ----------
    share : float
        Excess of the largest place over the top, as a share of the top.
    variance : float
        Of `share`.
    real : array (columns,)
        A row of the real table.
    """
    share = max(share, 0.0)
    if share < SIGNIFICANT * np.sqrt(variance):
        real[OVERSHOOT], real[OVERSHOOT_VAR] = 0.5 * share, variance + share**2 / 12.0
    else:
        real[OVERSHOOT], real[OVERSHOOT_VAR] = share, variance


@kernel
def measure_block(
    codes: Array, rows: Array, channels: Array, scale: Array, offset: Array, lowest: Array, highest: Array,
    threshold: Array, offset_var: Array, inflation: Array, autocovariance: Array, wander_var: Array, piece: Array,
    first: Array, stop: Array, gap: int, min_width: int, largest: bool, whole: Array, real: Array,
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
    wander_var, piece : array (channels,)
        Variance of the base's slow movement within a record, and the samples over which it is followed: 0 where the
        base is flat.
    first, stop : int array (rows, channels)
        The samples in which a pulse's extreme must lie.
    gap, min_width : int
        Samples; see `find_stretches`.
    largest : bool
        Whether polarity is the sign of the largest excursion (else of the first).
    whole, real : array (pulses, columns)
        Filled, as far as they reach.
    """
    stretches, parts = np.empty((MOST_STRETCHES, 2), dtype=np.int64), np.empty((MOST_STRETCHES, 4), dtype=np.int64)
    dips = np.zeros((MOST_STRETCHES, 2))
    sides = np.zeros((2, 2), dtype=np.int64)
    curve, covariance, record_covariance = np.zeros(3), np.zeros((3, 3)), np.zeros((3, 3))
    known = np.zeros((KNOWN_COUNTS, MOST_TERMS, MOST_TERMS, MOST_TERMS))
    row_whole = np.zeros(WHOLE_COLUMNS, dtype=np.int64)
    row_real = np.zeros(REAL_COLUMNS)
    length = codes.shape[2]
    level = np.empty(length)
    found = 0
    for r in range(len(rows)):
        for c in range(len(channels)):
            trace = codes[rows[r], channels[c]]
            base, reach = offset[c] / scale[c], threshold[c] / abs(scale[c])
            noise = np.sqrt(autocovariance[c, 0]) / abs(scale[c])
            least = gap if gap > 0 else 0
            lags = autocovariance.shape[1]
            while lags > 1 and autocovariance[c, lags - 1] == 0.0:
                lags -= 1
            record_var = offset_var[c]
            if piece[c] > 0:
                slow_base(trace, piece[c], CLOSE * noise, level)
                base = float(np.mean(level))
                for i in range(length):
                    level[i] = trace[i] - level[i]
                count = find_stretches(level, -reach, reach, -reach / 2, reach / 2, gap, stretches)
                number = split_stretches(level, 0.0, noise, least, stretches, count, parts, dips)
                record_var += wander_var[c]
            else:
                middle = rough_middle(trace)
                near = middle if abs(middle - base) > DRIFTED * reach else base
                if abs(middle - base) > reach / 2:
                    base = middle
                count = find_stretches(
                    trace, near - reach, near + reach, near - reach / 2, near + reach / 2, gap, stretches
                )
                if count == 0:
                    continue
                mean, beside_all = base_beside(trace, stretches, count)
                if beside_all >= FEWEST_BASE_SAMPLES:
                    base, record_var = mean, autocovariance[c, 0] * inflation[c] / beside_all
                number = split_stretches(trace, base, noise, least, stretches, count, parts, dips)
            record_covariance[0, 0] = record_var
            for k in range(number):
                a, b = parts[k, 0], parts[k, 1]
                if b - a + 1 < min_width:
                    continue
                curve[:] = 0.0
                curve[0] = base
                covariance[:] = record_covariance
                centre, unit = 0.5 * (a + b), 1.0
                beside(stretches, count, parts[k, 2], length, sides)
                if piece[c] > 0 or is_unlike(trace, sides, base, noise**2 * inflation[c]):
                    unit = local_base(trace, sides, noise**2, inflation[c], scale[c] ** 2, centre, curve, covariance)
                    if unit == 0.0:
                        curve[:] = 0.0
                        curve[0] = base
                        covariance[:] = record_covariance
                        unit = 1.0
                place = measure_pulse(
                    trace, scale[c], curve, covariance, centre, unit, parts[k], dips[k], largest,
                    autocovariance[c, :lags], known, row_whole, row_real,
                )  # fmt: skip
                if place < first[r, c] or place >= stop[r, c]:
                    continue
                row_whole[RECORD], row_whole[CHANNEL], row_whole[FIRST], row_whole[LAST] = r, c, a, b
                row_whole[PLACE] = place
                row_whole[CUT] = 1 if a == 0 or b == length - 1 else 0
                row_whole[CLIPPED] = 0
                for i in range(a, b + 1):
                    if trace[i] <= lowest[c] or trace[i] >= highest[c]:
                        row_whole[CLIPPED] = 1
                if found < len(whole):
                    whole[found] = row_whole
                    real[found] = row_real
                found += 1
    return found
