"""How much faster one module's clock runs than another's, from several events in each record."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Pulses

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEWEST_EVENTS = 3
"""Two events always lie on a line: only a third can contradict that they come at the same instant on all channels."""
MOST_LACK_OF_FIT = 2.0
"""Differences that scatter about the line by more than this many times their u are no clock's."""
FEWEST_DOF = 8


def clock_rate(
    pulses: Pulses, first: int, second: int, together: Bools, span: tuple[float, float] | None
) -> Quantity | None:
    """Return the rate of the second channel's clock over the first's, less 1, from the slope of their skew.

    Parameters
    ----------
    pulses : Pulses
    first, second : int
        Places of two channels, on two modules, that carry the same events.
    together : bool array (records,)
        Records in which both modules belong to the same trigger.
    span : (float, float) or None
        Seconds: events outside are left aside; None for all.

    Returns
    -------
    Quantity or None
        A ratio. Positive where the second clock runs fast, which counts more samples to the same event and tells a
        later time. One slope common to all records by least squares, each record with its own skew (algebra); u from
        the positions' own u or from the scatter about the line, whichever is larger. None where records hold fewer
        than three common events, or where the differences lie on no line: echoes that reach two sensors by different
        ways are not one event.
    """
    events = _common_events(pulses, first, second, together, span)
    if len(events) == 0:
        return None
    time = np.concatenate([centre[0] for centre in events])
    difference = np.concatenate([centre[1] for centre in events])
    u = float(np.sqrt(np.mean(np.concatenate([centre[2] for centre in events]) ** 2)))
    dof = len(time) - len(events) - 1
    reach = float(np.sum(time**2))
    if dof < FEWEST_DOF or reach <= 0:
        return None
    slope = float(np.sum(time * difference)) / reach
    scatter = float(np.sqrt(np.sum((difference - slope * time) ** 2) / dof))
    if scatter > MOST_LACK_OF_FIT * u:
        return None
    told = f"{len(time)} events in {len(events)} records"
    size = max(scatter, u) / np.sqrt(reach)
    return Quantity.from_terms(slope, "", (Term("noise of the channels", size, "A", float(dof), told),))


def _common_events(
    pulses: Pulses, first: int, second: int, together: Bools, span: tuple[float, float] | None
) -> list[tuple[Floats, Floats, Floats]]:
    """Return, by record: times about their mean, differences about their mean, and u of the differences, seconds."""
    found = []
    inside = np.isfinite(pulses.time)
    if span is not None:
        inside &= (pulses.time >= span[0]) & (pulses.time <= span[1])
    own_u = pulses.times_u[pulses.position]
    by_record = [_by_record(pulses, channel, inside) for channel in (first, second)]
    for record in sorted(set(by_record[0]) & set(by_record[1])):
        mine, theirs = by_record[0][record], by_record[1][record]
        if not together[record] or len(mine) != len(theirs) or len(mine) < FEWEST_EVENTS:
            continue
        time, difference = pulses.time[mine], pulses.time[theirs] - pulses.time[mine]
        u = np.hypot(own_u[mine], own_u[theirs])
        found.append((time - np.mean(time), difference - np.mean(difference), u))
    return found


def _by_record(pulses: Pulses, channel: int, inside: Bools) -> dict[int, list[int]]:
    """Return the indices of a channel's pulses, record by record, in the order of time."""
    found: dict[int, list[int]] = {}
    for place in pulses.where(channel=channel).tolist():
        if inside[place]:
            found.setdefault(int(pulses.record[place]), []).append(place)
    return found
