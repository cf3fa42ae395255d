"""What records are laid over each other by: their triggers, reference pulses, or found pulses. Knows no toolkit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pulsewright.session import Session
from pulsewright_analysis.results import Findings, Floats, Ints

AlignedBy = Literal["trigger", "reference", "pulse"]


@dataclass(frozen=True)
class Alignment:
    """What the records are laid over each other by.

    Attributes
    ----------
    shift : array (records,)
        Seconds that each record is moved earlier by; NaN for records that cannot be aligned.
    about : str
        In words, for the axis and the caption; empty where the trigger aligns them.
    """

    shift: Floats
    about: str = ""


def alignment_of(session: Session, findings: Findings | None, channel: int, by: AlignedBy) -> Alignment | str:
    """Return the alignment of a session's records on one channel, or a sentence why there is none.

    Parameters
    ----------
    session : Session
    findings : Findings or None
    channel : int
    by : str
        ``trigger``; ``reference`` pulse; or found ``pulse``: the walking one on the channel that tells the sequence,
        else the largest of its record. Pulses are brought to their median time, so that the zoom keeps its meaning.
    """
    if by == "trigger":
        return Alignment(np.zeros(session.records))
    if findings is None or findings.session.records != session.records:
        return "the pulses are not measured yet"
    if channel not in findings.channels:
        return f"{session.channels[channel].name} is not measured"
    pulses = findings.pulses
    if by == "reference" and pulses.reference is None:
        return "no reference pulse is set (setting reference_pulse)"
    times = pulses.time if pulses.reference is None or by == "pulse" else pulses.reference
    place = _largest(findings, channel)
    if by == "pulse" and channel == findings.sequence.channel:
        walking = findings.sequence.pulse
        place = np.where(walking >= 0, walking, place)
    at = np.where(place >= 0, times[np.maximum(place, 0)], np.nan) if len(times) else np.full(session.records, np.nan)
    if not np.any(np.isfinite(at)):
        return f"no pulse on {session.channels[channel].name} has a position"
    name = "found pulses" if by == "pulse" else "reference pulses"
    return Alignment(at - float(np.nanmedian(at)), name)


def _largest(findings: Findings, channel: int) -> Ints:
    """Return for each record the largest pulse with a position on a channel, −1 where there is none."""
    pulses = findings.pulses
    chosen = np.flatnonzero((pulses.channel == channel) & np.isfinite(pulses.time))
    rising = chosen[np.argsort(np.abs(pulses.amplitude[chosen]), kind="stable")]
    place = np.full(findings.session.records, -1, dtype=np.int64)
    place[pulses.record[rising]] = rising  # the last one assigned, the largest, stays
    return place
