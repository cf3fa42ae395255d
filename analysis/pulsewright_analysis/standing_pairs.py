"""Where a marker pair stands in one record: each end fixed in time, or where the pulse is that it follows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pulsewright.review import Marker
from pulsewright_analysis.followed_pulses import Find, FollowedPulse, pulses_of
from pulsewright_analysis.markers import MarkerDifference, difference
from pulsewright_analysis.results import Findings


@dataclass(frozen=True)
class End:
    """One marker of a pair, as it was put down.

    Attributes
    ----------
    time, u : float
        Seconds from the trigger, and its standard uncertainty.
    pulse : int or None
        The pulse of its channel that it follows, counted from 0 in the order of time; None where it is fixed in time.
    channel : int
        Place of the channel that it was put down on.
    """

    time: float
    u: float
    pulse: int | None = None
    channel: int = 0


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
    pulses : (FollowedPulse or None, FollowedPulse or None)
        What each end follows there; None for one that is fixed in time, and where `reason` says why there is none.
    reason : str
        Why it has none; empty where it has.
    """

    times: tuple[float, float]
    us: tuple[float, float]
    parts: tuple[float, float]
    told: MarkerDifference | None
    pulses: tuple[FollowedPulse | None, FollowedPulse | None] = (None, None)
    reason: str = ""


def standing(ends: tuple[End, End], find: Find, intervals: int = 1, clock_ppm: float = 0.0) -> Standing:
    """Return where a pair stands in one record, with Δ, 1/Δ and Δ/N there.

    Parameters
    ----------
    ends : (End, End)
        Each follows a pulse of its own channel, or is fixed in time.
    find : callable
        Finds the pulses of that record.
    intervals : int
        N, from 1 up.
    clock_ppm : float
        Standard uncertainty of the sample clock's rate, parts per million.

    Returns
    -------
    Standing
        Between two pulses of one record what they share cancels (see `FollowedPulse.against`); a pulse against a time
        that is fixed has all of it (JCGM 100:2008, 5.1.2 and 5.2.2). See `markers.difference` for the rest.
    """
    found: list[FollowedPulse | None] = []
    for end in ends:
        pulse = None if end.pulse is None else find(end.channel, end.pulse)
        if isinstance(pulse, str):
            return _nowhere(ends, pulse)
        found.append(pulse)
    first, second = found
    if first is not None and second is not None and (reason := first.apart_from(second)):
        return _nowhere(ends, reason)
    (t1, u1, part1), (t2, u2, part2) = _place(ends[0], first, second), _place(ends[1], second, first)
    told = difference(t1, part1, t2, part2, intervals, clock_ppm)
    return Standing((t1, t2), (u1, u2), (part1, part2), told, (first, second))


def _nowhere(ends: tuple[End, End], reason: str) -> Standing:
    us = (ends[0].u, ends[1].u)
    return Standing((ends[0].time, ends[1].time), us, us, None, reason=reason)


def _place(end: End, pulse: FollowedPulse | None, other: FollowedPulse | None) -> tuple[float, float, float]:
    """Return where an end is, its u, and what of that counts against the other end."""
    if pulse is None:
        return end.time, end.u, end.u
    return pulse.time, pulse.u, math.hypot(*pulse.against(other))


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
    here = record_of(pair) if record is None else record
    ppm, intervals = findings.settings.clock_ppm, max(pair[0].intervals, 1)
    return standing(ends_of(pair, findings), pulses_of(findings, here), intervals, ppm)


def record_of(pair: tuple[Marker, Marker]) -> int:
    """Return the record that a pair names: that of a marker which follows its pulse, else that of the first.

    Parameters
    ----------
    pair : (Marker, Marker)
    """
    return next((marker for marker in pair if marker.pulse is not None), pair[0]).record or 0


def ends_of(pair: tuple[Marker, Marker], findings: Findings) -> tuple[End, End]:
    """Return the ends of a pair, each on its own channel; a marker that names none is on the first one.

    Both are fixed in time where the session does not have a channel that they name.

    Parameters
    ----------
    pair : (Marker, Marker)
    findings : Findings
        For the names of the channels.
    """
    names = [name for name, _ in findings.session.channels]
    wanted = [marker.channel or names[0] for marker in pair]
    if any(name not in names for name in wanted):
        return End(pair[0].time, pair[0].u), End(pair[1].time, pair[1].u)
    first, second = (
        End(marker.time, marker.u, marker.pulse, names.index(name)) for marker, name in zip(pair, wanted, strict=True)
    )
    return first, second
