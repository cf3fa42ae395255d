"""Compiled afterglow accumulation over a block of records of one channel.

Samples come as one flat array in which record r begins at r·`row_step`. The horizontal coordinate of sample i of a
record is x = x_first + i·x_step, in columns; the vertical one y = y_zero + y_step·code, in rows from the top.
Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pulsewright_analysis.compiled import kernel

Array = np.ndarray[Any, Any]

NOTHING = -1
"""First row of a stretch that leaves no mark."""


@kernel
def first_sample_from(edge: float, x_first: float, x_step: float, length: int) -> int:
    """Return the first sample at or right of a column's left edge, 0 … `length`.

    Parameters
    ----------
    edge : float
        Columns.
    x_first, x_step : float
        Of sample 0, columns, and from sample to sample.
    length : int
        Samples of the record.
    """
    return int(min(max(math.ceil((edge - x_first) / x_step), 0.0), float(length)))


@kernel
def line_at(edge: float, x_first: float, x_step: float, samples: Array, after: int) -> float:
    """Return where the straight line from sample `after` − 1 to `after` crosses a column's edge, in codes.

    Parameters
    ----------
    edge : float
        Columns.
    x_first, x_step : float
        Of sample 0, columns, and from sample to sample.
    samples : array (samples,)
        In codes.
    after : int
        At least 1.
    """
    share = (edge - x_first) / x_step - (after - 1)
    before = float(samples[after - 1])
    return before + (float(samples[after]) - before) * min(max(share, 0.0), 1.0)


@kernel
def extremes(samples: Array, start: int, stop: int) -> tuple[float, float]:
    """Return the least and the greatest of samples `start` … `stop` − 1, at least one, in codes.

    Parameters
    ----------
    samples : array (samples,)
        In codes.
    start, stop : int
        `stop` is above `start`.
    """
    # Unsigned places and comparisons, instead of min and max: only so are several samples looked at together. A slice
    # would do that too, but counting its references costs more than looking at it.
    least, greatest = samples[start], samples[start]
    for i in range(np.uint64(start), np.uint64(stop)):
        value = samples[i]
        if value < least:
            least = value
        if value > greatest:
            greatest = value
    return float(least), float(greatest)


@kernel
def rows_of(low: float, high: float, y_zero: float, y_step: float, height: int) -> tuple[int, int]:
    """Return the first and the last row that a stretch from `low` to `high` covers, or (`NOTHING`, `NOTHING`).

    Parameters
    ----------
    low, high : float
        In codes; a `low` above `high`, or one that is no number, covers nothing.
    y_zero, y_step : float
        Of code 0, rows from the top, and from code to code.
    height : int
        Rows of the picture.
    """
    if not low <= high:
        return NOTHING, NOTHING
    one, other = y_zero + y_step * low, y_zero + y_step * high
    top, bottom = min(one, other), max(one, other)
    if not (bottom >= 0.0 and top <= height):
        return NOTHING, NOTHING
    # the lower end of the value range belongs to the last row
    first = min(int(max(top, 0.0)), height - 1)
    return first, min(int(min(bottom, float(height))), height - 1)


@kernel
def columns_of(x_first: float, x_step: float, length: int, width: int) -> tuple[int, int]:
    """Return which columns a record reaches: the first, and the one after the last.

    Parameters
    ----------
    x_first, x_step : float
        Of sample 0, columns, and from sample to sample.
    length, width : int
        Samples of the record, and columns of the picture.
    """
    end = x_first + (length - 1) * x_step
    if not (end >= 0.0 and x_first < width):
        return 0, 0
    return int(max(x_first, 0.0)), int(min(end, width - 1.0)) + 1


@kernel
def find_edges(first: int, x_first: float, x_step: float, length: int, edges: Array, shares: Array) -> None:
    """Fill in for the left edges of some columns, and the right one of the last, which samples lie about them.

    Parameters
    ----------
    first : int
        The first of the columns.
    x_first, x_step : float
        Of sample 0, columns, and from sample to sample.
    length : int
        Samples of the record.
    edges : int array (columns + 1,)
        Written over: the first sample at or right of the edge, 0 … `length`.
    shares : float array (columns + 1,)
        Written over: how much of the way from the sample before to that one the edge is, 0 … 1.
    """
    for place in range(len(edges)):
        away = (first + place - x_first) / x_step
        after = min(max(math.ceil(away), 0.0), float(length))
        edges[place] = int(after)
        shares[place] = min(max(away - (after - 1.0), 0.0), 1.0)


@kernel
def find_crossings(samples: Array, held_from: int, length: int, edges: Array, shares: Array, crossings: Array) -> None:
    """Fill in where the trace crosses each edge of `find_edges`, in codes; NaN beside the trace.

    Parameters
    ----------
    samples : array (samples,)
        The part of a record that was read, in codes.
    held_from, length : int
        Number of its first sample in the record, and samples of the whole record.
    edges, shares : array (columns + 1,)
        As `find_edges` leaves them.
    crossings : float array (columns + 1,)
        Written over.
    """
    for place in range(len(edges)):
        after = edges[place]
        if 0 < after < length:
            before = float(samples[after - 1 - held_from])
            crossings[place] = before + (float(samples[after - held_from]) - before) * shares[place]
        else:
            crossings[place] = math.nan


@kernel
def widened(low: float, high: float, one: float, other: float) -> tuple[float, float]:
    """Return a stretch that holds two more values; what is no number widens nothing.

    Parameters
    ----------
    low, high : float
        A `low` above `high` holds nothing yet.
    one, other : float
        The values.
    """
    if one < low:
        low = one
    if one > high:
        high = one
    if other < low:
        low = other
    if other > high:
        high = other
    return low, high


@kernel
def accumulate(
    flat: Array,
    row_step: int,
    held: int,
    held_from: int,
    length: int,
    x_first: Array,
    x_step: float,
    y_zero: float,
    y_step: float,
    difference: Array,
) -> None:
    """Add every record to `difference` (height + 1, width): +1 where its stretch begins, −1 below its end.

    With at least one sample a column a record covers the stretch from the least to the greatest of its samples there,
    joined to the first sample of the next column; with fewer, what the straight lines between samples cover. The edges
    between columns are found once for all records that begin alike.

    Parameters
    ----------
    flat : array
        Samples of all records, in codes.
    row_step, held : int
        Samples from the beginning of one record to that of the next, and samples of each that were read.
    held_from, length : int
        Number in its record of the first sample that was read, and samples of a whole record.
    x_first : array (records,)
        Of sample 0 of each record, columns.
    x_step : float
        From sample to sample, columns.
    y_zero, y_step : float
        Of code 0, rows from the top, and from code to code.
    difference : int array (height + 1, width)
        Its running sums down each column are the records through each pixel.
    """
    height, width = difference.shape[0] - 1, difference.shape[1]
    edges, shares, known = np.empty(width + 1, np.int64), np.empty(width + 1), math.nan
    crossings, dense, bare = np.empty(width + 1), x_step <= 1.0, False
    for record in range(len(x_first)):
        samples = flat[record * row_step : record * row_step + held]
        start = x_first[record]
        begin, stop = columns_of(start, x_step, length, width)
        if begin >= stop:
            continue
        if start != known:
            find_edges(0, start, x_step, length, edges, shares)
            known, bare = start, False
            for column in range(begin, stop):
                bare = bare or edges[column] >= edges[column + 1]
        if bare or not dense:  # else every column has samples of its own, and no line between samples counts
            find_crossings(samples, held_from, length, edges, shares, crossings)
        for column in range(begin, stop):
            left, right = edges[column], edges[column + 1]
            low, high = math.inf, -math.inf
            if left < right:
                joined = min(right + 1, length) if dense else right
                low, high = extremes(samples, left - held_from, joined - held_from)
            if not dense or left >= right:
                low, high = widened(low, high, crossings[column], crossings[column + 1])
            first, last = rows_of(low, high, y_zero, y_step, height)
            if first != NOTHING:
                difference[first, column] += 1
                difference[last + 1, column] -= 1


@kernel
def passing(
    flat: Array,
    row_step: int,
    held: int,
    held_from: int,
    length: int,
    x_first: Array,
    x_step: float,
    y_zero: float,
    y_step: float,
    height: int,
    columns: Array,
    rows: Array,
    result: Array,
) -> None:
    """Set `result` (records,) where a record's trace meets columns[0] … columns[1] and rows[0] … rows[1].

    Parameters
    ----------
    flat, row_step, held, held_from, length, x_first, x_step, y_zero, y_step
        As for `accumulate`.
    height : int
        Rows of the picture.
    columns, rows : int array (2,)
        First and last.
    result : bool array (records,)
        Written over.
    """
    count = max(columns[1] - columns[0] + 1, 0)
    edges, shares = np.empty(count + 1, np.int64), np.empty(count + 1)
    crossings, dense = np.empty(count + 1), x_step <= 1.0
    for record in range(len(x_first)):
        samples = flat[record * row_step : record * row_step + held]
        find_edges(columns[0], x_first[record], x_step, length, edges, shares)
        find_crossings(samples, held_from, length, edges, shares, crossings)
        result[record] = False
        for column in range(count):
            left, right = edges[column], edges[column + 1]
            low, high = math.inf, -math.inf
            if left < right:
                joined = min(right + 1, length) if dense else right
                low, high = extremes(samples, left - held_from, joined - held_from)
            if not dense or left >= right:
                low, high = widened(low, high, crossings[column], crossings[column + 1])
            first, last = rows_of(low, high, y_zero, y_step, height)
            if first != NOTHING and first <= rows[1] and last >= rows[0]:
                result[record] = True
                break
