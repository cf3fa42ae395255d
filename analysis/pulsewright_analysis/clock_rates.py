"""How much faster one module's clock runs than another's, from several events in each record."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Pulses

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
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
    if events.records == 0:
        return None
    time, difference = events.time, events.difference
    u = float(np.sqrt(np.mean(events.u**2)))
    dof = len(time) - events.records - 1
    reach = float(np.sum(time**2))
    if dof < FEWEST_DOF or reach <= 0:
        return None
    slope = float(np.sum(time * difference)) / reach
    scatter = float(np.sqrt(np.sum((difference - slope * time) ** 2) / dof))
    if scatter > MOST_LACK_OF_FIT * u:
        return None
    told = f"{len(time)} events in {events.records} records"
    size = max(scatter, u) / np.sqrt(reach)
    return Quantity.from_terms(slope, "", (Term("noise of the channels", size, "A", float(dof), told),))


@dataclass(frozen=True)
class _Events:
    """Events that both channels see, by record and time: each record's own mean is taken off times and differences."""

    time: Floats
    difference: Floats
    u: Floats
    records: int


def _common_events(
    pulses: Pulses, first: int, second: int, together: Bools, span: tuple[float, float] | None
) -> _Events:
    """Return the events of the records in which both channels see as many, and enough; in seconds."""
    places = [_placed(pulses, channel, span) for channel in (first, second)]
    runs = [_Runs.of(pulses.record[mine]) for mine in places]
    record, *own = np.intersect1d(runs[0].record, runs[1].record, assume_unique=True, return_indices=True)
    count, start = runs[0].count[own[0]], [run.start[here] for run, here in zip(runs, own, strict=True)]
    good = together[record] & (count == runs[1].count[own[1]]) & (count >= FEWEST_EVENTS)
    count, start = count[good], [begins[good] for begins in start]
    begin = np.cumsum(count) - count
    time, difference, u = (np.empty(int(np.sum(count))) for _ in range(3))
    for size in np.unique(count).tolist():  # all records of as many events at once
        rows, after = np.flatnonzero(count == size), np.arange(size)
        mine, theirs = (places[k][start[k][rows][:, None] + after] for k in range(2))
        there = begin[rows][:, None] + after
        own_time, own_u = pulses.time[mine], pulses.times_u[pulses.position]
        apart = pulses.time[theirs] - own_time
        time[there] = own_time - np.mean(own_time, axis=1, keepdims=True)
        difference[there] = apart - np.mean(apart, axis=1, keepdims=True)
        u[there] = np.hypot(own_u[mine], own_u[theirs])
    return _Events(time, difference, u, len(count))


def _placed(pulses: Pulses, channel: int, span: tuple[float, float] | None) -> Ints:
    """Return the indices of a channel's pulses that have a position, and one inside the span."""
    mine = pulses.where(channel=channel)
    time = pulses.time[mine]
    inside = np.isfinite(time)
    if span is not None:
        inside &= (time >= span[0]) & (time <= span[1])
    return mine[inside]


@dataclass(frozen=True)
class _Runs:
    """The records of pulses that are sorted by record: each one's number, its first pulse and how many it has."""

    record: Ints
    start: Ints
    count: Ints

    @classmethod
    def of(cls, records: Ints) -> _Runs:
        record, start, count = np.unique(records, return_index=True, return_counts=True)
        return cls(record, start, count)
