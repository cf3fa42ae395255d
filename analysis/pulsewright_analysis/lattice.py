"""The lattice on which a walking pulse stands: its increment, its cycle, and each record's stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.lines import Line, fit_line
from pulsewright_analysis.validity import INCREMENT_REGION

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_STOP = -1
NOT_WALKING = "the pulse does not walk: its steps are no larger than their scatter"
FEWEST_STEPS = 3
"""Fewer records than this many steps apart tell no lattice."""
LEAST_SHARE = 0.4
"""At least this share of the steps must be one increment, or the positions are no lattice."""
STANDS_OUT = INCREMENT_REGION.smallest_ratio
"""An increment is told from no walking where it is this many times the scatter of the steps."""
NEAR_A_STOP = 0.3
LEAST_OF_CYCLE = 0.75
"""A jump back over less than this share of the stops seen does not start a new cycle."""
ON_A_STOP = 0.35
"""A pulse further from its stop than this share of the increment stands on none."""
MOST_OFF_THE_WALK = 0.45
"""Where more than this share of the steps leaves the walk, there is none: a wrong record in five makes two in five."""


@dataclass(frozen=True)
class Lattice:
    """Places p₀ + increment·(k mod cycle).

    Attributes
    ----------
    line : Line
        Position over stop.
    increment : float
        Seconds, positive when the pulse moves later.
    cycle : int or None
        None where positions never start over.
    stop : int array (records,)
        Each record's place, from 0; −1 where it has none.
    stray : int array
        Places in the arrays of the records whose pulse stands on no stop.
    """

    line: Line
    increment: float
    cycle: int | None
    stop: Ints
    stray: Ints


def find_lattice(
    position: Floats,
    u: Floats,
    records: Ints | None = None,
    given_increment: float | None = None,
    given_cycle: int | None = None,
) -> Lattice | str:
    """Find the lattice of positions in the order of their records, or say why there is none.

    Parameters
    ----------
    position, u : array (records,)
        Seconds; NaN where a record has no pulse.
    records : int array (records,), optional
        Record numbers, rising; without a gap if left out.
    given_increment : float, optional
        Seconds, if known.
    given_cycle : int, optional
        Records after which the pulse starts over, if known.

    Returns
    -------
    Lattice or str
        The string is a clause that says why not.
    """
    known = np.flatnonzero(np.isfinite(position))
    if len(known) < FEWEST_STEPS + 1:
        have = "1 record has" if len(known) == 1 else f"{len(known)} records have"
        return f"only {have} a pulse with a position"
    numbers = known.astype(np.int64) if records is None else records[known]
    places = position[known]
    increment = given_increment
    if increment is None:
        found = _commonest_step(places, numbers, float(np.median(u[known])))
        if isinstance(found, str):
            return found
        increment = _refined(found, places, numbers)
    stops, distance = _places(places / increment)
    if np.max(stops) == 0:
        return NOT_WALKING
    on = distance <= ON_A_STOP
    cycle = given_cycle or _cycle(stops[on], numbers[on])
    if _share_off_the_walk(stops[on], numbers[on], cycle) > MOST_OFF_THE_WALK:
        return "the positions do not go on from stop to stop"
    stop = np.full(len(position), NO_STOP, dtype=np.int64)
    stop[known] = np.where(on, stops - np.min(stops[on]), NO_STOP)
    return _settled(position, u, stop, cycle)


def _commonest_step(position: Floats, records: Ints, typical_u: float) -> float | str:
    """Return the step that most neighbouring records make, or why there is none.

    Where hardly any two records are neighbours, a step is shared out over the records it passes.
    """
    steps, apart = np.diff(position), np.diff(records)
    neighbours = steps[apart == 1]
    if len(neighbours) < FEWEST_STEPS:
        neighbours = steps / apart
    if len(neighbours) < FEWEST_STEPS:
        return "too few neighbouring records have a pulse"
    reach = np.maximum(6 * typical_u, 0.2 * np.abs(neighbours))
    rising = np.sort(neighbours)
    # counted in the sorted steps: a table of each against each would not fit for many records
    near = np.searchsorted(rising, neighbours + reach) - np.searchsorted(rising, neighbours - reach, side="right")
    commonest = int(np.argmax(near))
    members = neighbours[np.abs(neighbours - neighbours[commonest]) < reach[commonest]]
    if len(members) < LEAST_SHARE * len(neighbours):
        return "no step from record to record is common to most records"
    increment = float(np.median(members))
    scatter = max(float(np.std(members)), typical_u)
    return increment if abs(increment) >= STANDS_OUT * scatter else NOT_WALKING


def _refined(increment: float, position: Floats, records: Ints) -> float:
    """Return a closer increment from records ever further apart: one step tells it too badly for a long way back."""
    apart = 1
    while apart < len(position):
        distance = position[apart:] - position[:-apart]
        passed = records[apart:] - records[:-apart]
        stops = np.rint(distance / increment)
        sure = (np.abs(distance / increment - stops) < NEAR_A_STOP) & (np.abs(stops) <= passed) & (stops != 0)
        if np.count_nonzero(sure) >= FEWEST_STEPS:
            increment = float(np.sum(distance[sure] * stops[sure]) / np.sum(stops[sure] ** 2))
        apart *= 2
    return increment


def _cycle(places: Ints, records: Ints) -> int | None:
    """Return the cycle that most jumps back tell, or None where there is none.

    A start-over passes nearly all stops, and the walk goes on before and after it; a shorter jump, or one that the
    next record takes back, is a record out of place.
    """
    ahead = np.diff(records) - np.diff(places)
    walks_on = np.concatenate([[True], ahead == 0, [True]])
    low, high = np.percentile(places, (2, 98))
    seen = round(float(high - low)) + 1
    backward = ahead[(ahead > 1) & (ahead >= LEAST_OF_CYCLE * seen) & walks_on[:-2] & walks_on[2:]]
    if len(backward) == 0:
        return None
    values, counts = np.unique(backward, return_counts=True)
    commonest = int(values[len(values) - 1 - int(np.argmax(counts[::-1]))])
    return commonest if np.max(counts) > 1 else max(commonest, seen)


def _share_off_the_walk(places: Ints, records: Ints, cycle: int | None) -> float:
    """Return the share of the steps between records that are not one stop a record."""
    missing = np.diff(places) - np.diff(records)
    return float(np.mean((missing % cycle if cycle is not None else missing) != 0)) if len(missing) else 0.0


def _settled(position: Floats, u: Floats, stop: Ints, cycle: int | None) -> Lattice | str:
    """Fit the line, drop the records that stand on no stop, and fit again."""
    line = None
    for _ in range(3):
        used = stop != NO_STOP
        if np.count_nonzero(used) < FEWEST_STEPS or np.ptp(stop[used]) == 0:
            return "too few records stand on the lattice"
        spread = _scatter(position[used], u[used], stop[used])
        line = fit_line(stop[used].astype(float), position[used], np.hypot(u[used], spread))
        distance = np.zeros(len(position))
        distance[used] = np.abs(line.residual)
        far = distance > ON_A_STOP * abs(line.slope)
        if not np.any(far):
            break
        stop = np.where(far, NO_STOP, stop)
    assert line is not None
    stray = np.flatnonzero(np.isfinite(position) & (stop == NO_STOP))
    return Lattice(line, line.slope, cycle, stop, stray)


def _scatter(position: Floats, u: Floats, stop: Ints) -> float:
    """Return the scatter about the line beyond the measurement's own u, seconds."""
    plain = fit_line(stop.astype(float), position)
    return float(np.sqrt(max(plain.residual_std**2 - float(np.mean(u**2)), 0.0)))


def stops_on(lattice: Lattice, position: Floats) -> Ints:
    """Return the stops of another module's positions on a known lattice, up to a constant, −1 where there is none.

    Parameters
    ----------
    lattice : Lattice
    position : array (records,)
        Seconds; NaN where a record has no pulse. The module's own constant offset does not matter.
    """
    known = np.isfinite(position)
    stop = np.full(len(position), NO_STOP, dtype=np.int64)
    if not np.any(known):
        return stop
    places, distance = _places(position[known] / lattice.increment)
    stop[known] = np.where(distance > ON_A_STOP, NO_STOP, places)
    return stop


def _places(turns: Floats) -> tuple[Ints, Floats]:
    """Return whole places, from 0, of positions in increments, and how far each is from its place."""
    phase = np.angle(np.mean(np.exp(2j * np.pi * turns))) / (2 * np.pi)
    places = np.rint(turns - phase).astype(np.int64)
    return places - np.min(places), np.abs(turns - phase - places)
