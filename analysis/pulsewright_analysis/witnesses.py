"""What position, polarity and trigger time each say of triggers missing between two records, and their joint word."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.results import Witness

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

UNKNOWN = -1
CLEARLY_ALTERNATES = 0.6
CLEARLY_CONSTANT = 0.2
FEW_LOST = 3
PRICE_OF_FEW = 0.9
PRICE_OF_MANY = 2.2
PRICE_OF_END = 2.3
"""What up to three lost triggers, more of them, and leaving out a run's end cost, in records out of place."""
MOST_IN_A_ROW = 12
"""More records than this are not out of place in a row."""
WHOLE_PERIODS = 0.25
"""A gap further from a whole number of periods than this is not judged."""


@dataclass(frozen=True)
class Statements:
    """What one module's witnesses say of each gap, between consecutive entries of its records; −1: does not know.

    Attributes
    ----------
    position : int array (gaps,)
        Missing triggers, modulo `cycle` where there is one.
    polarity : int array (gaps,)
        Missing triggers modulo `pattern`.
    time : int array (gaps,)
        Missing triggers.
    cycle : int or None
    pattern : int
        Triggers after which the polarities are the same again.
    """

    position: Ints
    polarity: Ints
    time: Ints
    cycle: int | None
    pattern: int = 2


@dataclass(frozen=True)
class Decision:
    """Missing triggers in one gap (None: no witness knows), who saw them, and who spoke against it.

    Attributes
    ----------
    count : int or None
    seen_in, against : tuple of str
        ``position``, ``polarity``, ``time``.
    """

    count: int | None
    seen_in: tuple[Witness, ...]
    against: tuple[Witness, ...]


def position_counts(stop: Ints, records: Ints, cycle: int | None, time: Ints | None = None) -> Ints:
    """Return the missing triggers that the stops tell, for each gap between consecutive records.

    Parameters
    ----------
    stop : int array (records,)
        −1 where a record stands on none; the gap that ends the silence then answers for it.
    records : int array (records,)
        Record numbers, rising.
    cycle : int or None
    time : int array (gaps,), optional
        What the trigger times tell: triggers that they place in an earlier gap of a silence are not counted again.
    """
    counts = np.full(max(len(records) - 1, 0), UNKNOWN, dtype=np.int64)
    known = np.flatnonzero(stop >= 0)
    before, after = known[:-1], known[1:]
    missing = stop[after] - stop[before] - (records[after] - records[before]) - _placed(time, before, after)
    if cycle is not None:
        missing %= cycle
    counts[after - 1] = np.where(missing >= 0, missing, UNKNOWN)
    return counts


def _placed(time: Ints | None, before: Ints, after: Ints) -> Ints:
    """Return how many missing triggers the trigger times place between records, the last gap of each not counted."""
    if time is None:
        return np.zeros(len(before), dtype=np.int64)
    placed = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(np.maximum(time, 0))])
    between: Ints = placed[after - 1] - placed[before]
    return between


def out_of_place(stop: Ints, records: Ints, cycle: int | None) -> Ints:
    """Return the places of records that leave the walk while it goes on without them.

    A lost trigger shifts every later record; a stale, foreign or exchanged one leaves the walk and lets it go on. The
    cheapest account of all records is taken (dynamic programming): each record out of place has its price, and so has
    each loss, a large one (or a step back) a higher one than a few triggers.

    Parameters
    ----------
    stop : int array (records,)
        −1 where a record stands on none.
    records : int array (records,)
        Record numbers, rising.
    cycle : int or None

    Returns
    -------
    int array
        Indices into `stop`.
    """
    known = np.flatnonzero(stop >= 0)
    ahead = stop[known] - records[known]
    steps = np.diff(ahead)
    if len(known) < 3 or not np.any(steps % cycle if cycle is not None else steps):
        return np.zeros(0, dtype=np.int64)
    on = np.zeros(len(known), dtype=bool)
    on[_cheapest_path(ahead.tolist(), cycle)] = True
    result: Ints = known[~on]
    return result


def _cheapest_path(ahead: list[int], cycle: int | None) -> list[int]:
    """Return the records that the cheapest account leaves in place, by how far each stop is ahead of its number."""
    few = FEW_LOST if cycle is None else min(FEW_LOST, (cycle - 1) // 2)

    def price(before: int, after: int) -> float:
        missing = ahead[after] - ahead[before]
        if cycle is not None:
            missing %= cycle
        return 0.0 if missing == 0 else PRICE_OF_FEW if 0 < missing <= few else PRICE_OF_MANY

    def at_an_end(skipped: int) -> float:
        # beyond the ends nothing tells whether the walk went on
        return max(float(skipped), PRICE_OF_END) if skipped else 0.0

    count = len(ahead)
    best, origin = [0.0] * count, [-1] * count
    for after in range(count):
        best[after] = at_an_end(after)
        for before in range(max(after - 1 - MOST_IN_A_ROW, 0), after):
            total = best[before] + (after - before - 1) + price(before, after)
            if total < best[after]:
                best[after], origin[after] = total, before
    place = min(range(count), key=lambda i: best[i] + at_an_end(count - 1 - i))
    path = []
    while place >= 0:
        path.append(place)
        place = origin[place]
    return path


def alternates(sign: Ints, records: Ints) -> bool | None:
    """Return whether the polarity changes with each trigger; None where the signs do not tell.

    Parameters
    ----------
    sign : int array (records,)
        1, −1, or 0 where there is no pulse.
    records : int array (records,)
        Record numbers, rising.
    """
    known = np.flatnonzero(sign)
    # over an even number of triggers an alternating sign is the same again, and tells nothing
    odd = np.diff(records[known]) % 2 == 1
    if np.count_nonzero(odd) < 2:
        return None
    share = float(np.mean(np.diff(sign[known])[odd] != 0))
    if share >= CLEARLY_ALTERNATES:
        return True
    return False if share <= CLEARLY_CONSTANT else None


def polarity_counts(sign: Ints, records: Ints, alternating: bool | None, time: Ints | None = None) -> Ints:
    """Return the missing triggers modulo 2 that an alternating polarity tells, −1 where it tells nothing.

    Arrays and `time` as for `position_counts`; `sign` is 0 where a record has no pulse.

    Parameters
    ----------
    sign : int array (records,)
        1, −1, or 0.
    records : int array (records,)
        Record numbers, rising.
    alternating : bool or None
        What `alternates` returns; unless True, nothing is told.
    time : int array (gaps,), optional

    Returns
    -------
    int array (gaps,)
    """
    counts = np.full(max(len(records) - 1, 0), UNKNOWN, dtype=np.int64)
    if not alternating:
        return counts
    known = np.flatnonzero(sign)
    before, after = known[:-1], known[1:]
    changed = (sign[after] != sign[before]).astype(np.int64)
    counts[after - 1] = (changed - (records[after] - records[before]) - _placed(time, before, after)) % 2
    return counts


def time_counts(time: Floats, records: Ints, period: float | None) -> Ints:
    """Return the missing triggers that the gaps between trigger times tell, −1 where they are not known.

    Parameters
    ----------
    time : array (records,)
        Trigger times, seconds; NaN where they are not known.
    records : int array (records,)
        Record numbers, rising.
    period : float or None
        Trigger period, seconds; None where it is not known.

    Returns
    -------
    int array (gaps,)
        Not known either where a gap is further than a quarter from a whole number of periods, or shorter than its
        records take.
    """
    counts = np.full(max(len(records) - 1, 0), UNKNOWN, dtype=np.int64)
    if period is None:
        return counts
    periods = np.diff(time) / period
    whole = np.rint(periods)
    good = np.isfinite(periods) & (np.abs(periods - whole) <= WHOLE_PERIODS)
    missing = np.where(good, whole, 0).astype(np.int64) - np.diff(records)
    return np.where(good & (missing >= 0), missing, UNKNOWN)


def decide(statements: Statements, gap: int) -> Decision:
    """Return the count that most witnesses agree to; where two counts have as many, the one that time says.

    Position sees counts modulo the cycle, polarity modulo its pattern, time all.

    Parameters
    ----------
    statements : Statements
    gap : int
        Index into the arrays of `statements`.
    """
    said: dict[Witness, int] = {
        "position": int(statements.position[gap]),
        "polarity": int(statements.polarity[gap]),
        "time": int(statements.time[gap]),
    }
    modulus: dict[Witness, int | None] = {"position": statements.cycle, "polarity": statements.pattern, "time": None}
    known: list[Witness] = [name for name, count in said.items() if count != UNKNOWN]

    def agrees(name: Witness, count: int) -> bool:
        if said[name] == UNKNOWN:
            return False
        size = modulus[name]
        return (count - said[name]) % size == 0 if size else count == said[name]

    if not known:
        return Decision(None, (), ())
    best, best_score = 0, -1.0
    for count in sorted({said[name] for name in known}):
        score = sum(1.0 for name in known if agrees(name, count)) + (0.5 if agrees("time", count) else 0.0)
        if score > best_score:
            best, best_score = count, score
    visible: dict[Witness, bool] = {
        "position": statements.cycle is None or best % statements.cycle != 0,
        "polarity": best % statements.pattern != 0,
        "time": True,
    }
    seen: tuple[Witness, ...] = tuple(n for n in known if best > 0 and visible[n] and agrees(n, best))
    return Decision(best, seen, tuple(n for n in known if not agrees(n, best)))


def usual_period(time: Floats, records: Ints) -> float | None:
    """Return the median gap between triggers, a record's share of it, seconds; None where too few are known.

    Parameters
    ----------
    time : array (records,)
        Trigger times, seconds; NaN where they are not known.
    records : int array (records,)
        Record numbers, rising.
    """
    gaps = np.diff(time) / np.diff(records)
    gaps = gaps[np.isfinite(gaps) & (gaps > 0)]
    if len(gaps) < 2:
        return None
    return float(np.median(gaps))
