"""Where a marker pair stands in one record: each end fixed in time, or where the pulse is that it follows."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pulsewright.review import Marker
from pulsewright_analysis.markers import MarkerDifference, difference
from pulsewright_analysis.results import Findings

_PPM = 1e-6


@dataclass(frozen=True)
class FollowedPulse:
    """One end of a following pair in one record.

    Attributes
    ----------
    time, u : float
        Quoted position, seconds from the trigger, and its standard uncertainty with every part.
    own_u : float
        The part of `u` that two pulses of one record and channel do not share, seconds.
    record_u : float
        The part of `u` that may differ from record to record, the trigger's included, seconds.
    steady_u : float
        The part of `u` that is the same in every record, the sample clock's apart, seconds.
    """

    time: float
    u: float
    own_u: float
    record_u: float
    steady_u: float

    @property
    def alone_u(self) -> float:
        """What counts against a time that is fixed: all of `u` but the sample clock's share, seconds."""
        return math.hypot(self.record_u, self.steady_u)


@dataclass(frozen=True)
class End:
    """One marker of a pair, as it was put down.

    Attributes
    ----------
    time, u : float
        Seconds from the trigger, and its standard uncertainty.
    pulse : int or None
        The pulse that it follows, counted from 0 in the order of time; None where it is fixed in time.
    """

    time: float
    u: float
    pulse: int | None = None


@dataclass(frozen=True)
class Standing:
    """A pair in one record.

    Attributes
    ----------
    times, us : (float, float)
        Where its ends are there, and their standard uncertainties, seconds; as they were put down where `reason` says
        why they are not there.
    parts : (float, float)
        What of each end's u counts in their difference, seconds.
    told : MarkerDifference or None
        Its numbers; None where it has none there.
    reason : str
        Why it has none; empty where it has.
    """

    times: tuple[float, float]
    us: tuple[float, float]
    parts: tuple[float, float]
    told: MarkerDifference | None
    reason: str = ""


Find = Callable[[int], FollowedPulse | str]
"""Returns a pulse of one record and channel by its number, or the reason why there is none to quote."""


def standing(ends: tuple[End, End], find: Find, intervals: int = 1, clock_ppm: float = 0.0) -> Standing:
    """Return where a pair stands in one record, with Δ, 1/Δ and Δ/N there.

    Parameters
    ----------
    ends : (End, End)
        Both on one channel.
    find : callable
        Finds the pulses of that record and channel.
    intervals : int
        N, from 1 up.
    clock_ppm : float
        Standard uncertainty of the sample clock's rate, parts per million.

    Returns
    -------
    Standing
        Between two pulses of one record what they share (trigger, cable delay) cancels; a pulse against a time that is
        fixed has all of it (JCGM 100:2008, 5.1.2 and 5.2.2). See `markers.difference` for the rest.
    """
    found: list[FollowedPulse | None] = []
    for end in ends:
        pulse = None if end.pulse is None else find(end.pulse)
        if isinstance(pulse, str):
            us = (ends[0].u, ends[1].u)
            return Standing((ends[0].time, ends[1].time), us, us, None, pulse)
        found.append(pulse)
    against_fixed = None in found
    (t1, u1, part1), (t2, u2, part2) = (
        _place(end, pulse, against_fixed) for end, pulse in zip(ends, found, strict=True)
    )
    return Standing((t1, t2), (u1, u2), (part1, part2), difference(t1, part1, t2, part2, intervals, clock_ppm))


def _place(end: End, pulse: FollowedPulse | None, against_fixed: bool) -> tuple[float, float, float]:
    """Return where an end is, its u, and what of that counts against the other end."""
    if pulse is None:
        return end.time, end.u, end.u
    return pulse.time, pulse.u, pulse.alone_u if against_fixed else pulse.own_u


def standing_in(findings: Findings, pair: tuple[Marker, Marker], record: int | None = None) -> Standing:
    """Return where a pair of a review stands in one record.

    Parameters
    ----------
    findings : Findings
    pair : (Marker, Marker)
        See `pulsewright.review.marker_pairs`.
    record : int, optional
        The one that it was put down on if left out.
    """
    first = pair[0]
    names = [name for name, _ in findings.session.channels]
    channel = names.index(first.channel) if first.channel in names else 0
    here = record_of(pair) if record is None else record
    ppm, intervals = findings.settings.clock_ppm, max(first.intervals, 1)
    return standing(ends_of(pair), PulseFinder(findings, channel, here).of(here), intervals, ppm)


def record_of(pair: tuple[Marker, Marker]) -> int:
    """Return the record that a pair names: that of a marker which follows its pulse, else that of the first.

    Parameters
    ----------
    pair : (Marker, Marker)
    """
    followed = [marker for marker, end in zip(pair, ends_of(pair), strict=True) if end.pulse is not None]
    return (followed or pair)[0].record or 0


def ends_of(pair: tuple[Marker, Marker]) -> tuple[End, End]:
    """Return the ends of a pair; markers of two channels are fixed: no one channel's pulses are followed then.

    Parameters
    ----------
    pair : (Marker, Marker)
    """
    together = pair[0].channel == pair[1].channel
    first, second = (End(marker.time, marker.u, marker.pulse if together else None) for marker in pair)
    return first, second


def followed_pulse(findings: Findings, record: int, channel: int, order: int) -> FollowedPulse | str:
    """Return a channel's pulse of one record by its number, or the reason why there is none to quote.

    Parameters
    ----------
    findings : Findings
    record, channel : int
        Where it is.
    order : int
        Which pulse of that record and channel, counted from 0 in the order of time.

    Returns
    -------
    FollowedPulse or str
    """
    return PulseFinder(findings, channel, record)(record, order)


class PulseFinder:
    """Finds the pulses of one channel by record and number: what is asked of all pulses is asked once.

    Parameters
    ----------
    findings : Findings
    channel : int
        Place of the channel.
    record : int, optional
        The only record that will be asked for; any if left out.
    """

    def __init__(self, findings: Findings, channel: int, record: int | None = None) -> None:
        self._findings, self._channel = findings, channel
        pulses = findings.pulses
        self._times, self._u, self._own = pulses.time, pulses.time_u, pulses.times_u[pulses.position]
        self._record_u = pulses.record_u
        lasting = np.zeros(len(pulses)) if pulses.lasting_u is None else pulses.lasting_u
        clock = np.nan_to_num(pulses.time) * findings.settings.clock_ppm * _PPM
        self._steady = np.sqrt(np.maximum(np.square(lasting) - np.square(clock), 0.0))
        self._places: dict[int, list[int]] = {}
        for place in pulses.where(record, channel):
            self._places.setdefault(int(pulses.record[place]), []).append(int(place))

    def of(self, record: int) -> Find:
        """Return what finds the pulses of one record.

        Parameters
        ----------
        record : int
        """
        return lambda order: self(record, order)

    def __call__(self, record: int, order: int) -> FollowedPulse | str:
        """Return a pulse, or the reason why there is none to quote."""
        there = self._places.get(record, [])
        if order >= len(there):
            return _why_none(self._findings, record, self._channel, order, len(there))
        columns = (self._times, self._u, self._own, self._record_u, self._steady)
        pulse = FollowedPulse(*(float(column[there[order]]) for column in columns))
        if not (math.isfinite(pulse.time) and math.isfinite(pulse.u)):
            return f"the {self._findings.pulses.position} of pulse {order} cannot be measured in record {record}"
        return pulse


def _why_none(findings: Findings, record: int, channel: int, order: int, there: int) -> str:
    if record in findings.settings.left_out:
        return f"record {record} is left out"
    if record not in findings.records or channel not in findings.channels:
        return f"{findings.session.channels[channel][0]} was not measured in record {record}"
    found = "no pulse" if there == 0 else f"only {there} pulse{'s' if there > 1 else ''}"
    return f"{found} in record {record} on {findings.session.channels[channel][0]}, so no pulse {order}"
