"""The lattice on which a walking pulse stands: its increment, its cycle, and each record's stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.lines import Line, fit_line

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_STOP = -1
NOT_WALKING = "the pulse does not walk: its steps are no larger than their scatter"
FEWEST_STEPS = 3
"""Fewer records than this many steps apart tell no lattice."""
LEAST_SHARE = 0.4
"""At least this share of the steps must be one increment, or the positions are no lattice."""
STANDS_OUT = 6.0
"""An increment is told from no walking where it is this many times the scatter of the steps."""
ON_A_STOP = 0.35
"""A pulse further from its stop than this share of the increment stands on none."""


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
    """

    line: Line
    increment: float
    cycle: int | None
    stop: Ints


def find_lattice(
    position: Floats, u: Floats, given_increment: float | None = None, given_cycle: int | None = None
) -> Lattice | str:
    """Find the lattice of positions in the order of their records, or say why there is none.

    Parameters
    ----------
    position, u : array (records,)
        Seconds; NaN where a record has no pulse.
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
        return f"only {len(known)} records have a pulse with a position"
    steps = np.diff(position[known])
    neighbours = steps[np.diff(known) == 1]
    increment = given_increment
    if increment is None:
        found = _commonest_step(neighbours, float(np.median(u[known])))
        if isinstance(found, str):
            return found
        increment = found
    places = np.concatenate([[0], np.cumsum(np.rint(steps / increment).astype(np.int64))])
    places -= np.min(places)
    cycle = given_cycle or _cycle(np.diff(places), int(np.max(places)) + 1)
    stop = np.full(len(position), NO_STOP, dtype=np.int64)
    stop[known] = places
    if np.max(places) == 0:
        return NOT_WALKING
    return _settled(position, u, stop, cycle)


def _commonest_step(steps: Floats, typical_u: float) -> float | str:
    """Return the step that most neighbouring records make, or why there is none."""
    if len(steps) < FEWEST_STEPS:
        return "too few neighbouring records have a pulse"
    reach = np.maximum(6 * typical_u, 0.2 * np.abs(steps))
    near = np.abs(steps[:, None] - steps[None, :]) < reach[:, None]
    members = steps[near[int(np.argmax(np.sum(near, axis=1)))]]
    if len(members) < LEAST_SHARE * len(steps):
        return "no step from record to record is common to most records"
    increment = float(np.median(members))
    scatter = max(float(np.std(members)), typical_u)
    if abs(increment) < STANDS_OUT * scatter:
        return NOT_WALKING
    return increment


def _cycle(jumps: Ints, seen: int) -> int | None:
    """Return the cycle that the jumps against the walking direction tell, or None where there are none."""
    backward = 1 - jumps[jumps < 0]
    if len(backward) == 0:
        return None
    values, counts = np.unique(backward, return_counts=True)
    return int(max(values[np.argmax(counts)], seen))


def _settled(position: Floats, u: Floats, stop: Ints, cycle: int | None) -> Lattice | str:
    """Fit the line, drop the records that stand on no stop, and fit again."""
    line = None
    for _ in range(3):
        used = stop != NO_STOP
        if np.count_nonzero(used) < FEWEST_STEPS or np.ptp(stop[used]) == 0:
            return "too few records stand on the lattice"
        spread = _scatter(position[used], u[used], stop[used])
        line = fit_line(stop[used].astype(float), position[used], np.hypot(u[used], spread))
        distance = np.full(len(position), np.nan)
        distance[used] = np.abs(line.residual)
        stray = distance > ON_A_STOP * abs(line.slope)
        if not np.any(stray):
            break
        stop = np.where(stray, NO_STOP, stop)
    assert line is not None
    return Lattice(line, line.slope, cycle, stop)


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
    turns = position[known] / lattice.increment
    phase = np.angle(np.mean(np.exp(2j * np.pi * turns))) / (2 * np.pi)
    places = np.rint(turns - phase).astype(np.int64)
    far = np.abs(turns - phase - places) > ON_A_STOP
    places -= np.min(places)
    stop[known] = np.where(far, NO_STOP, places)
    return stop
