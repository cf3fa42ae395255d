"""Compiled products of traces with the columns of a sine fit. Imported only inside functions: see `compiled`."""

from __future__ import annotations

from typing import Any

from pulsewright_analysis.compiled import summing_kernel

Array = Any


@summing_kernel
def fill_products(traces: Array, columns: Array, products: Array) -> None:
    """Fill `products` (traces, 8) with each trace's sums over the seven columns (7, samples), and over its square.

    Parameters
    ----------
    traces : array (traces, samples)
    columns : array (7, samples)
        Columns of the fit.
    products : array (traces, 8)
        Written over: the seven sums of products in the order of `columns`, then the sum of squares.
    """
    for r in range(len(traces)):
        s0 = s1 = s2 = s3 = s4 = s5 = s6 = s7 = 0.0
        for i in range(traces.shape[1]):
            y = float(traces[r, i])
            s0 += y * columns[0, i]
            s1 += y * columns[1, i]
            s2 += y * columns[2, i]
            s3 += y * columns[3, i]
            s4 += y * columns[4, i]
            s5 += y * columns[5, i]
            s6 += y * columns[6, i]
            s7 += y * y
        row = products[r]
        row[0], row[1], row[2], row[3] = s0, s1, s2, s3
        row[4], row[5], row[6], row[7] = s4, s5, s6, s7
