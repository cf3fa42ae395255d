"""Compiled products of traces with the columns of a sine fit. Imported only inside functions: see `compiled`."""

from __future__ import annotations

from typing import Any

from pulsewright_analysis.compiled import summing_kernel

Array = Any


@summing_kernel
def fill_products(traces: Array, time: Array, cosine: Array, sine: Array, products: Array) -> None:
    """Fill `products` (traces, 8) with each trace's sums over the seven columns, and over its square.

    Parameters
    ----------
    traces : array (traces, samples)
    time, cosine, sine : array (samples,)
        From the record's middle, seconds; cos ωt and sin ωt.
    products : array (traces, 8)
        Written over: the sums with cos, sin, 1, t·cos, t·sin, t²·cos and t²·sin, then the sum of squares.
    """
    for r in range(len(traces)):
        s0 = s1 = s2 = s3 = s4 = s5 = s6 = s7 = 0.0
        for i in range(traces.shape[1]):
            y, t = float(traces[r, i]), time[i]
            c, s = y * cosine[i], y * sine[i]
            s0 += c
            s1 += s
            s2 += y
            s3 += t * c
            s4 += t * s
            s5 += t * t * c
            s6 += t * t * s
            s7 += y * y
        row = products[r]
        row[0], row[1], row[2], row[3] = s0, s1, s2, s3
        row[4], row[5], row[6], row[7] = s4, s5, s6, s7
