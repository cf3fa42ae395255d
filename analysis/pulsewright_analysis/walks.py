"""The pulse that tells the sequence on one channel, and what its witnesses say of every gap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Session
from pulsewright_analysis import witnesses
from pulsewright_analysis.lattice import NO_STOP, Lattice, stops_on
from pulsewright_analysis.polarity_pattern import find_pattern, pattern_counts
from pulsewright_analysis.results import Polarity, Pulses
from pulsewright_analysis.witnesses import Statements

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Walk:
    """The pulse of one order on one channel.

    Attributes
    ----------
    channel : int
    pulse : int array (records,)
        Index into `Pulses`, −1 where there is none.
    position, u : array (records,)
        Seconds, NaN where there is none.
    """

    channel: int
    pulse: Ints
    position: Floats
    u: Floats


def leading_walk(pulses: Pulses, channel: int, records: Ints) -> Walk:
    """Return the pulse whose position varies most from record to record among those that most records have.

    Parameters
    ----------
    pulses : Pulses
    channel : int
        Its place in the session.
    records : int array (records,)
        Record numbers, rising.
    """
    walks = _walks(pulses, channel, records)
    often = 0.5 * np.count_nonzero(walks[0].pulse >= 0)
    spreads = [
        float(np.nanmax(w.position) - np.nanmin(w.position)) if np.any(np.isfinite(w.position)) else -1.0
        for w in walks
        if np.count_nonzero(w.pulse >= 0) >= often
    ]
    return walks[int(np.argmax(spreads))]


def walk_on(lattice: Lattice | str, pulses: Pulses, channel: int, records: Ints) -> Walk:
    """Return the pulse of another channel that goes on most often from stop to stop of a known lattice.

    Parameters
    ----------
    lattice : Lattice or str
        Where it is a str (there is none), the channel's leading walk is returned.
    pulses : Pulses
    channel : int
        Its place in the session.
    records : int array (records,)
        Record numbers, rising.
    """
    if isinstance(lattice, str):
        return leading_walk(pulses, channel, records)

    def steps_on(walk: Walk) -> int:
        counts = witnesses.position_counts(stops_on(lattice, walk.position), records, lattice.cycle)
        return int(np.count_nonzero(counts == 0))

    return max(_walks(pulses, channel, records), key=steps_on)


def _walks(pulses: Pulses, channel: int, records: Ints) -> list[Walk]:
    """Return a walk for each order of pulses on a channel, at least one."""
    mine = pulses.where(channel=channel)
    row = np.full(int(records[-1]) + 1, -1, dtype=np.int64)
    row[records] = np.arange(len(records))
    found = []
    for order in range(int(np.max(pulses.order[mine], initial=0)) + 1):
        index = np.full(len(records), -1, dtype=np.int64)
        these = mine[pulses.order[mine] == order]
        index[row[pulses.record[these]]] = these
        here = index >= 0
        position, u = np.full(len(records), np.nan), np.full(len(records), np.nan)
        position[here], u[here] = pulses.walk_time_of(index[here]), pulses.walk_u_of(index[here])
        found.append(Walk(channel, index, position, u))
    return found


def statements_of(
    session: Session,
    walk: Walk,
    records: Ints,
    polarity: Polarity,
    lattice: Lattice | str,
    period: float | None,
    stale: Bools,
) -> Statements:
    """Return what the witnesses of one module say; a repeated record's payload says nothing.

    Parameters
    ----------
    session : Session
    walk : Walk
        On the channel that speaks for the module.
    records : int array (records,)
    polarity : Polarity
    lattice : Lattice or str
    period : float or None
        Seconds; None where trigger times are not known.
    stale : bool array (records,)
        Where the module's samples are those of an earlier record.
    """
    module = session.module_of[walk.channel]
    time = witnesses.time_counts(session.trigger_time[records, module], records, period)
    sign = np.where(stale, 0, polarity.sign[records, walk.channel])
    alternating = witnesses.alternates(sign, records)
    position = np.full(max(len(records) - 1, 0), witnesses.UNKNOWN, dtype=np.int64)
    cycle = None
    if isinstance(lattice, Lattice):
        cycle = lattice.cycle
        stop = np.where(stale, NO_STOP, stops_on(lattice, walk.position))
        strays = witnesses.out_of_place(stop, records, cycle)
        stop[strays], sign[strays] = NO_STOP, 0
        position = witnesses.position_counts(stop, records, cycle, time)
    pattern = None if alternating is not None else find_pattern(sign, records)
    if pattern is None or len(pattern) < 3:
        return Statements(position, witnesses.polarity_counts(sign, records, alternating, time), time, cycle)
    hints = np.maximum(position, time)
    return Statements(position, pattern_counts(sign, records, pattern, hints), time, cycle, len(pattern))
