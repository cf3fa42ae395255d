"""The stretch of each record in which alignment is measured, cut out on the same instant for every channel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.long_columns import in_blocks
from pulsewright.session import Session
from pulsewright_analysis.gate_samples import GateSamples, StreamedSamples, held_or_streamed
from pulsewright_analysis.results import Pulses
from pulsewright_analysis.streaming import Check, unchecked

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FEWEST_SAMPLES = 8
RIVALS = 0.7
"""Pulses of at least this share of a record's largest may be the largest of another channel, by noise alone."""


@dataclass(frozen=True)
class Gate:
    """Samples cut out around an event.

    Attributes
    ----------
    records : int array (records,)
        The records that have a gate.
    samples : GateSamples (records, channels, samples)
        In the channels' units.
    start : array (records, channels)
        Time of the first sample, seconds from the record's trigger, delays taken off.
    clipped : bool array (records, channels)
        Whether a sample is at an end code.
    span : (float, float)
        The stretch, seconds; of the first record where it moves with an event.
    """

    records: Ints
    samples: GateSamples
    start: Floats
    clipped: Bools
    span: tuple[float, float]


def cut_gate(
    session: Session,
    channels: Sequence[int],
    records: Ints,
    span: tuple[float, float] | None,
    check: Check = unchecked,
) -> Gate | str:
    """Cut one stretch out of every record and channel, the whole record for None.

    Parameters
    ----------
    session : Session
    channels : sequence of int
    records : int array
    span : (float, float) or None
        Seconds from the trigger.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    Gate or str
        The string is a clause that says why there is none.
    """
    if span is None:
        begin = float(session.first_sample_time(channels[0], records[:1])[0])
        first = in_blocks(len(records), lambda some: np.zeros((len(records[some]), len(channels)), dtype=np.int64))
        count = session.record_length
        span = (begin, begin + session.record_duration)
    else:
        low = span[0]
        first = in_blocks(len(records), lambda some: _ceiled(session, low - _starts(session, channels, records[some])))
        count = int((span[1] - span[0]) * session.sample_rate + 1e-9)
    if count < FEWEST_SAMPLES:
        return f"the stretch holds {count} samples, and {FEWEST_SAMPLES} are the fewest"
    inside = _inside(session, first, count)
    if not np.any(inside):
        return "the stretch does not lie inside the records"
    return _cut(session, list(channels), records, first, inside, count, span, check)


def gate_around_pulses(
    session: Session,
    channels: Sequence[int],
    records: Ints,
    pulses: Pulses,
    reference: int,
    check: Check = unchecked,
) -> Gate | str:
    """Cut a stretch around the strongest pulse of every record: all of the reference's pulse, and half of it beside.

    A channel whose own strongest pulse comes earlier or later throughout is cut as much earlier or later, so that a
    large skew does not push its pulse out of the gate; the gate's `start` keeps account of it. Where a record holds
    several pulses of about the same size, it is the first of them on the reference, and on another channel the one
    nearest to that: a skew is taken to be less than half of what lies between them.

    Parameters
    ----------
    session : Session
    channels : sequence of int
    records : int array
    pulses : Pulses
        Of those channels.
    reference : int
        Place of the channel that the others are compared with.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    Gate or str
        The string is a clause that says why there is none.
    """
    own = _earliest(pulses, _strongest(pulses, reference))
    own = own[np.isin(pulses.record[own], records)]
    used = pulses.record[own].astype(np.int64)
    if len(used) == 0:
        return f"{session.channels[reference].name} shows no pulse to line up on"
    length = int(np.max(pulses.last_sample[own] - pulses.first_sample[own])) + 1
    margin = max(length // 2, FEWEST_SAMPLES)
    count = length + 2 * margin
    begin = session.first_sample_time(reference, used) + (pulses.first_sample[own] - margin) / session.sample_rate
    shift = np.zeros(len(channels))
    for place, channel in enumerate(channels):
        check()
        shift[place] = _shift(session, pulses, _strongest(pulses, channel), own, channel, reference)
    first = in_blocks(
        len(used),
        lambda some: _ceiled(session, begin[some][:, None] + shift[None, :] - _starts(session, channels, used[some])),
    )
    inside = _inside(session, first, count)
    if not np.any(inside):
        return "the pulses lie too close to the ends of the records"
    span = (float(begin[inside][0]), float(begin[inside][0]) + count / session.sample_rate)
    return _cut(session, list(channels), used, first, inside, count, span, check)


def _starts(session: Session, channels: Sequence[int], records: Ints) -> Floats:
    """Return the time of sample 0 of some records, (records, channels)."""
    return np.stack([session.first_sample_time(c, records) for c in channels], axis=1)


def _ceiled(session: Session, since: Floats) -> Ints:
    """Return the first sample at or after so many seconds from sample 0."""
    first: Ints = np.ceil(since * session.sample_rate - 1e-9).astype(np.int64)
    return first


def _inside(session: Session, first: Ints, count: int) -> Bools:
    """Return which records hold the whole stretch on all channels, (records,)."""
    low, high = np.min(first, axis=1), np.max(first, axis=1)
    inside: Bools = (low >= 0) & (high + count <= session.record_length)
    return inside


def _strongest(pulses: Pulses, channel: int) -> Ints:
    """Return the indices of each record's largest pulse on a channel and of those of about its size, by record.

    A clipped pulse has no size, and stands in where there is no other.
    """
    places = pulses.where(channel=channel)
    places = places[np.argsort(pulses.record[places], kind="stable")]
    if len(places) == 0:
        return places
    size = np.nan_to_num(np.abs(pulses.amplitude[places]))
    begins = _first_of_each(pulses.record[places])
    largest = np.maximum.reduceat(size, np.flatnonzero(begins))
    strongest: Ints = places[size >= RIVALS * largest[np.cumsum(begins) - 1]]
    return strongest


def _first_of_each(records: Ints) -> Bools:
    """Return which ones of records that do not fall begin another record."""
    begins = np.ones(len(records), dtype=bool)
    begins[1:] = records[1:] != records[:-1]
    return begins


def _earliest(pulses: Pulses, places: Ints) -> Ints:
    """Return, of some pulses, the earliest of each record, by record."""
    ordered = places[np.lexsort((pulses.first_sample[places], pulses.record[places]))]
    return ordered[_first_of_each(pulses.record[ordered])]


def _shift(session: Session, pulses: Pulses, theirs: Ints, mine: Ints, channel: int, reference: int) -> float:
    """Return how much later a channel's strongest pulse usually comes than the reference's, seconds.

    Parameters
    ----------
    theirs, mine : int array
        Indices of the channel's strongest pulses, and of one of the reference for each record; by record.
    """
    theirs = theirs[np.isin(pulses.record[theirs], pulses.record[mine])]
    if len(theirs) == 0:
        return 0.0
    records = pulses.record[theirs]
    against = mine[np.searchsorted(pulses.record[mine], records)]
    apart = pulses.extreme_sample[theirs].astype(np.int64) - pulses.extreme_sample[against]
    starts = session.first_sample_time(channel, records) - session.first_sample_time(reference, records)
    later = starts + apart / session.sample_rate
    nearest = np.lexsort((np.abs(later), records))
    return float(np.median(later[nearest][_first_of_each(records[nearest])]))


def _cut(
    session: Session,
    channels: list[int],
    records: Ints,
    every: Ints,
    inside: Bools,
    count: int,
    span: tuple[float, float],
    check: Check,
) -> Gate:
    """Cut out the stretch of those records that hold it, from the first sample of every one."""
    first = every
    if not np.all(inside):
        places = np.flatnonzero(inside)
        records, first = records[places], in_blocks(len(places), lambda some: every[places[some]])
    streamed = StreamedSamples(session, tuple(channels), records, first, count)
    samples, clipped = held_or_streamed(streamed, check)
    start = in_blocks(
        len(records),
        lambda some: _starts(session, channels, records[some]) + first[some] / session.sample_rate,
    )
    return Gate(records, samples, start, clipped, span)
