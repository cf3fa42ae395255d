"""One compiled pass over a block of records: finds every pulse and measures it.

Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.base_kernels import (
    CLOSE,
    FEWEST_BASE_SAMPLES,
    base_beside,
    beside,
    is_unlike,
    local_base,
    rough_middle,
    slow_base,
)
from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import KNOWN_COUNTS, MOST_TERMS, Array
from pulsewright_analysis.pulse_columns import (
    CHANNEL,
    CLIPPED,
    CUT,
    FIRST,
    LAST,
    PLACE,
    REAL_COLUMNS,
    RECORD,
    WHOLE_COLUMNS,
)
from pulsewright_analysis.shape_kernels import measure_pulse
from pulsewright_analysis.stretch_kernels import find_stretches, split_stretches

MOST_STRETCHES = 4096
"""More excursions than this in one record of one channel are not pulses; the rest is passed over."""
DRIFTED = 0.125
"""A record whose base is this share of the threshold away from its channel's is searched from its own."""


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
