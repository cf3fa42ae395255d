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
def stretch_rows(
    samples: Array,
    column: int,
    start: int,
    stop: int,
    x_first: float,
    x_step: float,
    y_zero: float,
    y_step: float,
    height: int,
) -> tuple[int, int]:
    """Return the first and the last row that the trace covers in a column, or (`NOTHING`, `NOTHING`).

    `start` and `stop` are the first samples from the column's left and right edge on. With at least one sample a
    column: from the least to the greatest of the column's samples, joined to the first sample of the next. With fewer:
    what the straight lines between samples cover.

    Parameters
    ----------
    samples : array (samples,)
        In codes.
    column : int
    start, stop : int
        See above.
    x_first, x_step : float
        Of sample 0, columns, and from sample to sample.
    y_zero, y_step : float
        Of code 0, rows from the top, and from code to code.
    height : int
        Rows of the picture.
    """
    length = len(samples)
    dense = x_step <= 1.0 and start < stop
    low, high = math.inf, -math.inf
    if start < stop:
        low, high = extremes(samples, start, min(stop + 1, length) if dense else stop)
    if not dense:
        if 0 < start < length:
            edge_value = line_at(float(column), x_first, x_step, samples, start)
            low, high = min(low, edge_value), max(high, edge_value)
        if 0 < stop < length:
            edge_value = line_at(float(column + 1), x_first, x_step, samples, stop)
            low, high = min(low, edge_value), max(high, edge_value)
    return rows_of(low, high, y_zero, y_step, height)


@kernel
def find_edges(x_first: float, x_step: float, length: int, bounds: Array, shares: Array) -> None:
    """Fill in for every column's left edge, and the last one's right, which samples lie about it.

    Parameters
    ----------
    x_first, x_step : float
        Of sample 0, columns, and from sample to sample.
    length : int
        Samples of the record.
    bounds : int array (width + 1,)
        Written over: the first sample at or right of the edge, 0 … `length`.
    shares : float array (width + 1,)
        Written over: how much of the way from the sample before to that one the edge is, 0 … 1.
    """
    for column in range(len(bounds)):
        place = (column - x_first) / x_step
        after = min(max(math.ceil(place), 0.0), float(length))
        bounds[column] = int(after)
        shares[column] = min(max(place - (after - 1.0), 0.0), 1.0)


@kernel
def find_crossings(samples: Array, bounds: Array, shares: Array, crossings: Array) -> None:
    """Fill in where the trace crosses each edge of `find_edges`, in codes; NaN beside the trace.

    Parameters
    ----------
    samples : array (samples,)
        In codes.
    bounds, shares : array (width + 1,)
        As `find_edges` leaves them.
    crossings : float array (width + 1,)
        Written over.
    """
    length = len(samples)
    for column in range(len(bounds)):
        after = bounds[column]
        if 0 < after < length:
            before = float(samples[after - 1])
            crossings[column] = before + (float(samples[after]) - before) * shares[column]
        else:
            crossings[column] = math.nan


@kernel
def accumulate(
    flat: Array,
    row_step: int,
    length: int,
    x_first: Array,
    x_step: float,
    y_zero: float,
    y_step: float,
    difference: Array,
) -> None:
    """Add every record to `difference` (height + 1, width): +1 where its stretch begins, −1 below its end.

    What a record covers in a column is what `stretch_rows` says. The edges between columns are found once for all
    records that begin alike.

    Parameters
    ----------
    flat : array
        Samples of all records, in codes.
    row_step, length : int
        Samples from the beginning of one record to that of the next, and samples of a record.
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
    bounds, shares = np.empty(width + 1, np.int64), np.empty(width + 1)
    crossings, known = np.empty(width + 1), math.nan
    for record in range(len(x_first)):
        samples = flat[record * row_step : record * row_step + length]
        start = x_first[record]
        end = start + (length - 1) * x_step
        if not (end >= 0.0 and start < width):
            continue
        if start != known:
            find_edges(start, x_step, length, bounds, shares)
            known = start
        dense = x_step <= 1.0
        if not dense:
            find_crossings(samples, bounds, shares, crossings)
        for column in range(int(max(start, 0.0)), int(min(end, width - 1.0)) + 1):
            left, right = bounds[column], bounds[column + 1]
            if dense and left < right:
                low, high = extremes(samples, left, min(right + 1, length))
                first, last = rows_of(low, high, y_zero, y_step, height)
            elif dense:
                first, last = stretch_rows(samples, column, left, right, start, x_step, y_zero, y_step, height)
            else:
                low, high = math.inf, -math.inf
                if left < right:
                    low, high = extremes(samples, left, right)
                for crossing in (crossings[column], crossings[column + 1]):
                    if crossing < low:  # what is no number is neither
                        low = crossing
                    if crossing > high:
                        high = crossing
                first, last = rows_of(low, high, y_zero, y_step, height)
            if first != NOTHING:
                difference[first, column] += 1
                difference[last + 1, column] -= 1


@kernel
def passing(
    flat: Array,
    row_step: int,
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
    flat : array
        Samples of all records, in codes.
    row_step, length : int
        Samples from the beginning of one record to that of the next, and samples of a record.
    x_first : array (records,)
        Of sample 0 of each record, columns.
    x_step : float
        From sample to sample, columns.
    y_zero, y_step : float
        Of code 0, rows from the top, and from code to code.
    height : int
        Rows of the picture.
    columns, rows : int array (2,)
        First and last.
    result : bool array (records,)
        Written over.
    """
    for record in range(len(x_first)):
        samples = flat[record * row_step : record * row_step + length]
        start = x_first[record]
        result[record] = False
        for column in range(columns[0], columns[1] + 1):
            left = first_sample_from(float(column), start, x_step, length)
            right = first_sample_from(float(column + 1), start, x_step, length)
            first, last = stretch_rows(samples, column, left, right, start, x_step, y_zero, y_step, height)
            if first != NOTHING and first <= rows[1] and last >= rows[0]:
                result[record] = True
                break
