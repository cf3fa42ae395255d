"""Compiled search for pulses in one trace: where they begin and end, and which of them overlap.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import Array

CHATTER = 4
RIVAL = 4.0
"""Two lobes closer in size than this many √2·noise may change places from record to record."""
CHUNK = 64
"""Samples whose extremes are looked at together."""
CLEAR_DIP = 4.0 * np.sqrt(2.0)
"""Two maxima are told apart where the signal dips between them by more than this many times the noise."""
DEEP_DIP = 0.8
"""… and to below this share of the lower one: ringing on a top dips less than two pulses do."""
HALF = 0.5
STATE_SHARE = 0.5
STATE_BAND = 0.08
"""A stretch has a state where more than this share of its samples lies within this share of their median."""
DIP_SMOOTHING = 96
"""Dips are looked for in averages over 1/48 of the stretch, where noise does not dig them."""
FEWEST_TO_AVERAGE = 12
"""… and over three samples at least on a stretch of so many: a long tail offers noise many chances."""
MOST_LOBES = 32


@kernel
def find_stretches(
    codes: Array, low: float, high: float, half_low: float, half_high: float, gap: int, stretches: Array
) -> int:
    """Fill `stretches` with (first, last sample) of every pulse and return how many there are.

    A pulse begins where the record leaves `low` … `high` and extends to where it comes back within the return levels.
    Excursions fewer than `gap` samples apart are one; with `gap` −1 an excursion joins the one before where it has the
    opposite sign and follows within the length of the longer of the two.

    Parameters
    ----------
    codes : array (samples,)
    low, high : float
        The thresholds below and above the base, codes.
    half_low, half_high : float
        The return levels below and above the base, codes.
    gap : int
        Samples, or −1.
    stretches : int array (most, 2)
        Filled; excursions that do not fit are passed over.
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
def stays_inside(codes: Array, low: float, high: float) -> bool:
    """Return whether no sample lies outside `low` … `high`: extremes first, which a processor finds many at a time.

    Parameters
    ----------
    codes : array (samples,)
        One sample at least.
    low, high : float
        Codes.
    """
    least, most = codes[0], codes[0]
    for i in range(len(codes)):
        least = min(least, codes[i])
        most = max(most, codes[i])
    return bool(low <= least and most <= high)


@kernel
def without_chatter(stretches: Array, count: int) -> int:
    """Join stretches closer than a quarter of the longer of the two, and return how many are left.

    On a slow edge noise crosses both levels more than once and leaves crumbs before and after the pulse.

    Parameters
    ----------
    stretches : int array (most, 2)
        First and last sample of each stretch, rising; joined in place.
    count : int
        How many of them are filled.
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
def split_stretches(
    trace: Array, base: float, noise: float, gap: int, stretches: Array, count: int, parts: Array, dips: Array
) -> int:
    """Divide the stretches at the dips between overlapping pulses; fill `parts` and `dips` and return their number.

    Parameters
    ----------
    trace : array (samples,)
    base, noise : float
        In the trace's own unit.
    gap : int
        Maxima fewer samples apart than this stay one pulse.
    stretches : int array (stretches, 2)
        What `find_stretches` filled.
    count : int
        How many of them there are.
    parts : int array (parts, 4)
        First and last sample, number of the stretch, and 1 where maxima are not told apart although there are two.
    dips : array (parts, 2)
        How far the trace stays from the base at the part's two ends, where a neighbour overlaps it; else 0.

    A stretch with lobes of both signs is one burst and stays whole.
    """
    tops, bottoms, places = np.empty(MOST_LOBES), np.empty(MOST_LOBES), np.empty(MOST_LOBES, dtype=np.int64)
    found = 0
    for k in range(count):
        first, last = stretches[k, 0], stretches[k, 1]
        lobes = 1
        if may_dip(trace, base, CLEAR_DIP * noise, first, last):
            lobes = lobes_of(trace, base, noise, first, last, tops, bottoms, places)
        shallow = 0
        start, left = first, 0.0
        highest = tops[0]
        for lobe in range(lobes - 1):
            # the next maximum before a dip as deep as this one
            lower = min(highest, tops[lobe + 1])
            deep = bottoms[lobe] < DEEP_DIP * lower and places[lobe] - start >= gap
            if deep and tops[lobe] - tops[lobe + 1] > CLEAR_DIP * noise and has_state(trace, base, first, last):
                deep = bottoms[lobe] < HALF * lower
            if not deep:
                shallow = 1
                highest = max(highest, tops[lobe + 1])
                continue
            if found < len(parts):
                parts[found, 0], parts[found, 1], parts[found, 2], parts[found, 3] = start, places[lobe], k, shallow
                dips[found, 0], dips[found, 1] = left, max(bottoms[lobe], 0.0)
                found += 1
            start, left, shallow = places[lobe] + 1, max(bottoms[lobe], 0.0), 0
            highest = tops[lobe + 1]
        if found < len(parts):
            parts[found, 0], parts[found, 1], parts[found, 2], parts[found, 3] = start, last, k, shallow
            dips[found, 0], dips[found, 1] = left, 0.0
            found += 1
    return found


@kernel
def may_dip(trace: Array, base: float, depth: float, first: int, last: int) -> bool:
    """Return whether any sample of a stretch lies that deep between two others: else no average of them does.

    Parameters
    ----------
    trace : array (samples,)
    base : float
        In the trace's own unit.
    depth : float
        How far a dip lies below both of its sides, in the trace's unit.
    first, last : int
        First and last sample of the stretch.
    """
    middle = 0.0
    for i in range(first, last + 1):
        middle += trace[i] - base
    sign = 1.0 if middle > 0.0 else -1.0
    top, bottom = sign * trace[first], sign * trace[first]
    for i in range(first, last + 1):
        value = sign * trace[i]
        if value > top:
            if top - bottom > depth:
                return True
            top = bottom = value
        elif value < bottom:
            bottom = value
        elif value - bottom > depth and top - bottom > depth:
            return True
    return False


@kernel
def has_state(trace: Array, base: float, first: int, last: int) -> bool:
    """Return whether most of a stretch lies at one level: there a dip after a larger maximum is ringing.

    Parameters
    ----------
    trace : array (samples,)
    base : float
        In the trace's own unit.
    first, last : int
        First and last sample of the stretch.
    """
    level = np.median(trace[first : last + 1]) - base
    number = 0
    for i in range(first, last + 1):
        if abs(trace[i] - base - level) <= STATE_BAND * abs(level):
            number += 1
    return bool(number > STATE_SHARE * (last - first + 1))


@kernel
def lobes_of(
    trace: Array, base: float, noise: float, first: int, last: int, tops: Array, bottoms: Array, places: Array
) -> int:
    """Fill the heights of a stretch's maxima and of the dips after them, and the dips' places; return the maxima.

    1 where the stretch has lobes of both signs.

    Parameters
    ----------
    trace : array (samples,)
    base, noise : float
        In the trace's own unit.
    first, last : int
        First and last sample of the stretch.
    tops, bottoms : array (lobes,)
        Filled with heights over the base in the trace's unit, turned so that the largest excursion points up.
    places : int array (lobes,)
        Filled with the samples of the dips.
    """
    length = last - first + 1
    reach = max(length // DIP_SMOOTHING, 1 if length >= FEWEST_TO_AVERAGE else 0)
    depth = CLEAR_DIP * noise
    sign, furthest = 1.0, 0.0
    for i in range(first, last + 1):
        if abs(trace[i] - base) > furthest:
            furthest = abs(trace[i] - base)
            sign = 1.0 if trace[i] > base else -1.0
    total = 0.0
    for i in range(first, min(first + reach, last + 1)):
        total += trace[i]
    lobes = 0
    top, bottom, place = -np.inf, np.inf, first
    for i in range(first, last + 1):
        if i + reach <= last:
            total += trace[i + reach]
        if i - reach - 1 >= first:
            total -= trace[i - reach - 1]
        value = sign * (total / (min(i + reach, last) - max(i - reach, first) + 1) - base)
        if value < -depth:
            return 1
        if value < bottom:
            bottom, place = value, i
        if value > top and top - bottom <= depth:
            top, bottom, place = value, value, i
        elif top - bottom > depth and value - bottom > depth and lobes < len(tops) - 1:
            tops[lobes], bottoms[lobes], places[lobes] = top, bottom, place
            lobes += 1
            top, bottom, place = value, value, i
    tops[lobes] = top
    return lobes + 1


@kernel
def rival_lobe(values: Array, noise: float, only: int) -> bool:
    """Return whether another lobe of the pulse is as large as the largest to within what noise can exchange.

    A lobe ends where the signal has crossed the base by more than the noise reaches. `only` is the sign of the lobes
    that count, 0 for all.

    Parameters
    ----------
    values : array (samples,)
        The pulse with the base taken off, in the channel's unit.
    noise : float
        Standard deviation of the noise of `values`.
    only : int
        1, −1 or 0.
    """
    best, second, current = 0.0, 0.0, 0.0
    sign = 0
    for i in range(len(values) + 1):
        value = values[i] if i < len(values) else 0.0
        turn = sign
        if value > 3 * noise:
            turn = 1
        elif value < -3 * noise:
            turn = -1
        if turn != sign or i == len(values):
            if only == 0 or sign == only:
                second = max(second, min(best, current))
                best = max(best, current)
            sign, current = turn, 0.0
        current = max(current, abs(value))
    return bool(second > best - RIVAL * np.sqrt(2.0) * noise)
