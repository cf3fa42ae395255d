"""Patterns of polarity longer than an alternation, such as two up and two down, and the triggers missing in them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.witnesses import UNKNOWN

Ints = NDArray[np.int64]

LONGEST = 8
"""Longer patterns are not looked for."""
FEWEST_ROUNDS = 4
"""A pattern must have been seen this often."""
LEAST_AGREEMENT = 0.75
"""At least this share of the signs must return after a pattern's length."""
COST_OF_LOSS = 6.0
COST_OF_WRONG_SIGN = 5.0
COST_WHERE_OTHERS_SEE_IT = 5.0
"""What a path pays for a missing trigger, for a record of the wrong sign, and for a loss that another witness sees."""


def find_pattern(sign: Ints, records: Ints) -> tuple[int, ...] | None:
    """Return the shortest pattern that most signs follow, or None where there is none.

    Parameters
    ----------
    sign : int array (records,)
        1, −1, or 0 where there is no pulse.
    records : int array (records,)
        Record numbers, rising.

    Returns
    -------
    tuple of int or None
        Signs from one place of the pattern on: ``(1,)`` where all are positive, ``(1, -1)`` where they alternate.
    """
    last = int(records[-1]) + 1 if len(records) else 0
    line = np.zeros(last, dtype=np.int64)
    line[records] = sign
    for length in range(1, LONGEST + 1):
        first, second = line[:-length], line[length:]
        known = (first != 0) & (second != 0)
        if np.count_nonzero(line) < FEWEST_ROUNDS * length or np.count_nonzero(known) < FEWEST_ROUNDS:
            return None
        if np.mean(first[known] == second[known]) >= LEAST_AGREEMENT:
            return _usual_signs(line, length)
    return None


def _usual_signs(line: Ints, length: int) -> tuple[int, ...] | None:
    """Return the longest undisturbed stretch's signs, one pattern long."""
    best, run, start = 0, 0, 0
    for i in range(length, len(line)):
        run = run + 1 if line[i] != 0 and line[i] == line[i - length] else 0
        if run > best:
            best, start = run, i - length + 1
    signs = tuple(int(s) for s in line[start : start + length])
    return signs if best >= length and 0 not in signs else None


def pattern_counts(sign: Ints, records: Ints, pattern: tuple[int, ...], hints: Ints) -> Ints:
    """Return the missing triggers, modulo the pattern's length, for each gap between consecutive records.

    Parameters
    ----------
    sign, records : int array (records,)
    pattern : tuple of int
        At least two signs.
    hints : int array (gaps,)
        What another witness says is missing. Where several gaps explain the signs equally well (two equal signs in a
        row do not tell which of them is missing) the one that the other witness names is taken.

    Returns
    -------
    int array (gaps,)
        By the cheapest path through the pattern (Viterbi's algorithm): a loss shifts all later signs, a record of the
        wrong sign shifts none.
    """
    known = np.flatnonzero(sign)
    counts = np.full(max(len(records) - 1, 0), UNKNOWN, dtype=np.int64)
    if len(known) < 2:
        return counts
    length, signs = len(pattern), np.array(pattern)
    cost = np.where(signs == sign[known[0]], 0.0, COST_OF_WRONG_SIGN)
    origins = []
    for before, after in pairwise(known.tolist()):
        hinted = bool(np.any(hints[before:after] > 0))
        price = np.full(length, COST_WHERE_OTHERS_SEE_IT if hinted else COST_OF_LOSS)
        price[0] = 0.0
        phases = np.arange(length)
        # a path in phase p that misses m triggers arrives in phase p + records passed + m
        missing = (phases[None, :] - phases[:, None] - (records[after] - records[before])) % length
        total = cost[:, None] + price[missing]
        origins.append(np.argmin(total, axis=0))
        cost = np.min(total, axis=0) + np.where(signs == sign[known[len(origins)]], 0.0, COST_OF_WRONG_SIGN)
    phase = int(np.argmin(cost))
    for step in range(len(origins) - 1, -1, -1):
        origin = int(origins[step][phase])
        passed = int(records[known[step + 1]] - records[known[step]])
        counts[known[step + 1] - 1] = (phase - origin - passed) % length
        phase = origin
    return counts
