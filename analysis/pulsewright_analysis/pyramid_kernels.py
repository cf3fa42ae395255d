"""Compiled parts of the pyramid: least and greatest of blocks of samples, and a record's stretches by them.

Coordinates are those of `overlay_kernels`. A column of a long record is told by the blocks that lie in it whole, the
inner ones, and by those that it cuts: if both lead to the same rows the samples need not be read, else only those of
the blocks that are cut. Imported only inside functions.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.overlay_kernels import NOTHING, columns_of, extremes, find_edges, rows_of

Array = np.ndarray[Any, Any]

DECIDED, BY_EDGES, BY_SAMPLES = 0, 1, 2
"""What a column's rows need: nothing more, the samples of blocks that its edges cut, or all of its samples."""


@kernel
def fill_blocks(samples: Array, block: int, low: Array, high: Array) -> None:
    """Fill in the least and the greatest sample of each block; what is no number makes its block no number.

    Parameters
    ----------
    samples : array (samples,)
        Of one record, in codes.
    block : int
        Samples of a block; the last one holds what is left.
    low, high : array (blocks,)
        Of the samples' type; written over.
    """
    for place in range(len(low)):
        start, stop = np.uint64(place * block), np.uint64(min((place + 1) * block, len(samples)))
        least, greatest, odd = samples[start], samples[start], samples[start]
        for i in range(start, stop):
            value = samples[i]
            if value < least:
                least = value
            if value > greatest:
                greatest = value
            if value != value:
                odd = value
        if odd != odd:
            least = greatest = odd
        low[place], high[place] = least, greatest


@kernel
def least_of(values: Array, start: int, stop: int) -> tuple[float, bool]:
    """Return the least of some values, inf if there is none, and whether one of them is no number.

    Parameters
    ----------
    values : array
        In codes.
    start, stop : int
        The first that counts, and the one after the last.
    """
    if start >= stop:
        return math.inf, False
    least, odd = values[start], values[start]
    for i in range(np.uint64(start), np.uint64(stop)):
        value = values[i]
        if value < least or least != least:
            least = value
        if value != value:
            odd = value
    return float(least), odd != odd


@kernel
def greatest_of(values: Array, start: int, stop: int) -> float:
    """Return the greatest of some values, −inf if there is none.

    Parameters
    ----------
    values, start, stop
        As for `least_of`.
    """
    if start >= stop:
        return -math.inf
    greatest = values[start]
    for i in range(np.uint64(start), np.uint64(stop)):
        value = values[i]
        if value > greatest or greatest != greatest:
            greatest = value
    return float(greatest)


@kernel
def inner_blocks(left: int, stop: int, block: int, length: int) -> tuple[int, int]:
    """Return which blocks a column holds whole: the first, and the one after the last, perhaps below the first.

    Parameters
    ----------
    left, stop : int
        The column's first sample, and the one after its last.
    block, length : int
        Samples of a block, and of the record.
    """
    last = -(-length // block) if stop == length else stop // block
    return -(-left // block), last


@kernel
def told_by_blocks(
    low: Array, high: Array, block: int, left: int, stop: int, first: int, last: int
) -> tuple[float, float, float, float, bool]:
    """Return least and greatest of a column's inner blocks, of these and those that are cut, and whether one is odd.

    Parameters
    ----------
    low, high : array (blocks,)
        Of the record, in codes.
    block : int
        Samples of a block.
    left, stop : int
        The column's first sample, and the one after its last.
    first, last : int
        As `inner_blocks` returns them.
    """
    inner_low, odd = least_of(low, first, last)
    inner_high = greatest_of(high, first, last)
    outer_low, outer_high = inner_low, inner_high
    for cut in (left // block, (stop - 1) // block):
        if cut < first or cut >= last:
            least, greatest = float(low[cut]), float(high[cut])
            odd = odd or least != least
            if least < outer_low or outer_low != outer_low:
                outer_low = least
            if greatest > outer_high or outer_high != outer_high:
                outer_high = greatest
    return inner_low, inner_high, outer_low, outer_high, odd


@kernel
def add_coarse(
    low: Array,
    high: Array,
    block: int,
    length: int,
    x_first: Array,
    x_step: float,
    y_zero: float,
    y_step: float,
    difference: Array,
) -> None:
    """Add records to `difference` as `accumulate` does, each column as far as its blocks may reach.

    Parameters
    ----------
    low, high : array (records, blocks)
        In codes.
    block, length : int
        Samples of a block, and of a record.
    x_first, x_step, y_zero, y_step, difference
        As for `overlay_kernels.accumulate`.
    """
    height, width = difference.shape[0] - 1, difference.shape[1]
    edges, shares = np.empty(width + 1, np.int64), np.empty(width + 1)
    for record in range(len(x_first)):
        begin, end = columns_of(x_first[record], x_step, length, width)
        find_edges(0, x_first[record], x_step, length, edges, shares)
        least, greatest = low[record], high[record]
        for column in range(begin, end):
            left, right = edges[column], edges[column + 1]
            if left < right:
                stop = min(right + 1, length)
                before, after = left // block, (stop - 1) // block + 1
                lowest, _ = least_of(least, before, after)
                top, bottom = rows_of(lowest, greatest_of(greatest, before, after), y_zero, y_step, height)
                if top != NOTHING:
                    difference[top, column] += 1
                    difference[bottom + 1, column] -= 1


@kernel
def find_doubts(
    low: Array,
    high: Array,
    block: int,
    length: int,
    x_first: float,
    x_step: float,
    y_zero: float,
    y_step: float,
    height: int,
    spans: Array,
    inner: Array,
    rows: Array,
    doubts: Array,
) -> int:
    """Tell of each column of one record whether its blocks decide its rows; return how many they leave open.

    Parameters
    ----------
    low, high : array (blocks,)
        In codes.
    block, length, x_first, x_step, y_zero, y_step
        As for `add_coarse`, of this record.
    height : int
        Rows of the picture.
    spans : int array (width, 2)
        Written over: each column's first sample, and the one after its last.
    inner : float array (width, 2)
        Written over: least and greatest of the blocks that lie in the column whole.
    rows : int array (width, 2)
        Written over: what `add_coarse` takes for its first and its last row.
    doubts : uint8 array (width,)
        Written over: `DECIDED`, `BY_EDGES` or `BY_SAMPLES`.
    """
    width, count = len(doubts), 0
    edges, shares = np.empty(width + 1, np.int64), np.empty(width + 1)
    find_edges(0, x_first, x_step, length, edges, shares)
    doubts[:] = DECIDED
    begin, end = columns_of(x_first, x_step, length, width)
    for column in range(begin, end):
        left, right = edges[column], edges[column + 1]
        if left >= right:
            continue
        stop = min(right + 1, length)
        first, last = inner_blocks(left, stop, block, length)
        inner_low, inner_high, lowest, highest, odd = told_by_blocks(low, high, block, left, stop, first, last)
        top, bottom = rows_of(lowest, highest, y_zero, y_step, height)
        surely_top, surely_bottom = rows_of(inner_low, inner_high, y_zero, y_step, height)
        if odd:
            doubts[column] = BY_SAMPLES
        elif top != surely_top or bottom != surely_bottom:
            doubts[column] = BY_EDGES
        else:
            continue
        count += 1
        spans[column, 0], spans[column, 1] = left, stop
        inner[column, 0], inner[column, 1] = inner_low, inner_high
        rows[column, 0], rows[column, 1] = top, bottom
    return count


@kernel
def find_pieces(
    spans: Array,
    doubts: Array,
    block: int,
    length: int,
    column: int,
    most: int,
    gap: int,
    pieces: Array,
) -> tuple[int, int]:
    """Say which samples some columns in doubt need, and return the column after those and the number of pieces.

    Parameters
    ----------
    spans, doubts
        As `find_doubts` leaves them.
    block, length : int
        Samples of a block, and of a record.
    column : int
        The first of the columns.
    most : int
        Samples to read, about: one column is taken whatever it needs.
    gap : int
        Samples between two pieces below which they are read as one.
    pieces : int array (pieces, 2)
        Written over: first sample of each, and the one after its last; rising, none touches the next.
    """
    count, taken = 0, 0
    while column < len(doubts):
        if doubts[column] == DECIDED:
            column += 1
            continue
        if taken >= most or count + 2 > len(pieces):
            break
        left, stop = spans[column, 0], spans[column, 1]
        first, last = inner_blocks(left, stop, block, length)
        whole = doubts[column] == BY_SAMPLES or first >= last
        for side in range(2):
            begin = left if side == 0 else last * block
            end = stop if side == 1 or whole else first * block
            if (side == 1 and whole) or begin >= end:
                continue
            if count and begin - pieces[count - 1, 1] <= gap:
                if end > pieces[count - 1, 1]:
                    taken += end - pieces[count - 1, 1]
                    pieces[count - 1, 1] = end
            else:
                pieces[count, 0], pieces[count, 1] = begin, end
                count += 1
                taken += end - begin
        column += 1
    return column, count


@kernel
def exact_ends(
    samples: Array, pieces: Array, piece: int, before: int, begin: int, end: int
) -> tuple[int, int, float, float]:
    """Return the piece that holds some samples, how many lie before that piece, and the samples' least and greatest.

    Parameters
    ----------
    samples, pieces
        As for `finish`.
    piece, before : int
        A piece that is not beyond the samples, and how many samples lie before it.
    begin, end : int
        The first sample, and the one after the last, of the record.
    """
    while pieces[piece, 1] <= begin:
        before += pieces[piece, 1] - pieces[piece, 0]
        piece += 1
    place = before + begin - pieces[piece, 0]
    least, greatest = extremes(samples, place, place + end - begin)
    return piece, before, least, greatest


@kernel
def finish(
    samples: Array,
    pieces: Array,
    columns: Array,
    block: int,
    length: int,
    y_zero: float,
    y_step: float,
    spans: Array,
    inner: Array,
    rows: Array,
    doubts: Array,
    difference: Array,
) -> None:
    """Put the rows that some columns of a record really have in `difference`, in place of those of `add_coarse`.

    Parameters
    ----------
    samples : array (samples,)
        Of all `pieces`, one after the other, in codes.
    pieces : int array (pieces, 2)
        As `find_pieces` leaves them.
    columns : int array (2,)
        The first of the columns, and the one after the last.
    block, length, y_zero, y_step, spans, inner, rows, doubts
        As `find_doubts` takes or leaves them.
    difference : int array (height + 1, width)
        As for `overlay_kernels.accumulate`.
    """
    height, piece, before = difference.shape[0] - 1, 0, 0
    for column in range(columns[0], columns[1]):
        if doubts[column] == DECIDED:
            continue
        left, stop = spans[column, 0], spans[column, 1]
        first, last = inner_blocks(left, stop, block, length)
        if doubts[column] == BY_SAMPLES or first >= last:
            piece, before, low, high = exact_ends(samples, pieces, piece, before, left, stop)
        else:
            low, high = inner[column, 0], inner[column, 1]
            if left < first * block:
                piece, before, least, greatest = exact_ends(samples, pieces, piece, before, left, first * block)
                low, high = min(low, least), max(high, greatest)
            if last * block < stop:
                piece, before, least, greatest = exact_ends(samples, pieces, piece, before, last * block, stop)
                low, high = min(low, least), max(high, greatest)
        if rows[column, 0] != NOTHING:
            difference[rows[column, 0], column] -= 1
            difference[rows[column, 1] + 1, column] += 1
        top, bottom = rows_of(low, high, y_zero, y_step, height)
        if top != NOTHING:
            difference[top, column] += 1
            difference[bottom + 1, column] -= 1
