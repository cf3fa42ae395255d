"""Where found pulses are drawn: at their quoted position, or, where none could be quoted, at their extreme sample."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_analysis.results import Findings, Ints

NO_POSITION = "no position"


@dataclass(frozen=True)
class FoundPulses:
    """Some of the pulses of a session, as they are drawn.

    Attributes
    ----------
    index : int array (pulses,)
        Into `Pulses`.
    record, channel, polarity : int array (pulses,)
    amplitude, time : array (pulses,)
        In the channel's unit, and seconds from the trigger.
    extreme : int array (pulses,)
        The sample farthest out.
    placed : bool array (pulses,)
        Whether `time` is the quoted position; else it is only where the extreme sample lies.
    """

    index: Ints
    record: Ints
    channel: Ints
    polarity: Ints
    amplitude: NDArray[np.float64]
    time: NDArray[np.float64]
    extreme: Ints
    placed: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.index)


def found_pulses(
    session: Session, findings: Findings | None, record: int | Ints | None = None, channels: Iterable[int] = ()
) -> FoundPulses:
    """Return the pulses found in a record or in several, on some channels.

    Parameters
    ----------
    session : Session
    findings : Findings or None
        None, or findings of a session with other records, have no pulses.
    record : int, int array or None
        None for every record.
    channels : iterable of int
        The channels.
    """
    if findings is None or findings.session.records != session.records:
        none = np.zeros(0, dtype=np.int64)
        return FoundPulses(none, none, none, none, np.zeros(0), np.zeros(0), none, np.zeros(0, dtype=bool))
    pulses = findings.pulses
    if record is None or isinstance(record, int):
        index = pulses.where(record)
    else:
        index = np.concatenate([np.zeros(0, dtype=np.int64), *map(pulses.where, np.unique(record).tolist())])
    index = index[np.isin(pulses.channel[index], list(channels))]
    time = pulses.time[index].copy()
    placed = np.isfinite(time)
    for channel in np.unique(pulses.channel[index[~placed]]):
        lost = ~placed & (pulses.channel[index] == channel)
        starts = session.first_sample_time(int(channel))[pulses.record[index[lost]]]
        time[lost] = starts + pulses.extreme_sample[index[lost]] * session.sample_interval
    return FoundPulses(
        index,
        pulses.record[index],
        pulses.channel[index],
        pulses.polarity[index],
        pulses.amplitude[index],
        time,
        pulses.extreme_sample[index],
        placed,
    )


def pulse_text(
    session: Session, findings: Findings | None, record: int, channel: int, time: float, reach: float
) -> str:
    """Say what pulse was found within `reach` seconds of a time of a record; empty where there is none."""
    found = found_pulses(session, findings, record, (channel,))
    if findings is None or not len(found):
        return ""
    nearest = int(np.argmin(np.abs(found.time - time)))
    if abs(found.time[nearest] - time) > reach:
        return ""
    if found.placed[nearest]:
        return f"pulse at {engineering(float(found.time[nearest]), 's', 7)}"
    i = found.index[nearest]
    why = [
        word
        for word, so in (
            ("clipped", findings.pulses.clipped[i]),
            ("cut by the record's end", findings.pulses.cut[i]),
        )
        if so
    ]
    return f"pulse, {NO_POSITION} ({', '.join(why) or 'too noisy'})"
