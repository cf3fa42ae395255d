"""Found pulses that markers follow: where each is in a record, and what of its u another pulse shares."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pulsewright_analysis.results import Findings

_PPM = 1e-6


@dataclass(frozen=True)
class FollowedPulse:
    """One end of a following pair in one record.

    Attributes
    ----------
    record, channel : int
        Where it is.
    module : str
        That of its channel.
    polarity : int
        1 or −1.
    in_step : bool
        Whether its module's record belongs to the same trigger as most modules' records.
    one_trigger : bool
        Whether one trigger offset serves all modules of the session.
    time, u : float
        Quoted position, seconds from the trigger, and its standard uncertainty with every part.
    own_u : float
        The part of `u` that two pulses of one record do not share, seconds.
    untimed_u : float
        The part of a trigger that was not timed, seconds; all channels of its module share it in a record.
    offset_u : float
        The part of recorded trigger offsets, seconds; all channels of a module share it, in all records.
    delay_u : float
        The part of its channel's cable delay, seconds; the same in all records.
    """

    record: int
    channel: int
    module: str
    polarity: int
    in_step: bool
    one_trigger: bool
    time: float
    u: float
    own_u: float
    untimed_u: float
    offset_u: float
    delay_u: float

    def against(self, other: FollowedPulse | None) -> tuple[float, float]:
        """Return what of its u counts in a difference, seconds: what each record has anew, and what is in all.

        What the two share cancels (JCGM 100:2008, 5.2.2): everything but its own part on one channel, the trigger on
        two channels of one module. Each module that did not time its trigger has an error of its own, which may be
        the same in all records: their samplings may stand still against each other.

        Parameters
        ----------
        other : FollowedPulse or None
            The other pulse, of the same record; None for a time that is fixed. The sample clock's share is not in it.
        """
        if other is None:
            return math.hypot(self.own_u, self.untimed_u), math.hypot(self.offset_u, self.delay_u)
        if other.channel == self.channel:
            return self.own_u, 0.0
        if other.module == self.module or self.one_trigger:
            return self.own_u, self.delay_u
        return self.own_u, math.hypot(self.untimed_u, self.offset_u, self.delay_u)

    def apart_from(self, other: FollowedPulse) -> str:
        """Return why the two have no difference, as a clause; empty where they have one.

        Parameters
        ----------
        other : FollowedPulse
        """
        if self.module == other.module or (self.in_step and other.in_step):
            return ""
        return f"{self.module} and {other.module} are out of step in record {self.record}"


Find = Callable[[int, int], FollowedPulse | str]
"""Returns a pulse of one record by its channel and number, or the reason why there is none to quote."""


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
    return PulseFinder(findings, record)(record, channel, order)


class PulseFinder:
    """Finds pulses by record, channel and number: what is asked of all pulses is asked once.

    Parameters
    ----------
    findings : Findings
    record : int, optional
        The only record that will be asked for; any if left out.
    """

    def __init__(self, findings: Findings, record: int | None = None) -> None:
        self._findings, self._record = findings, record
        pulses = findings.pulses
        self._own_u, self._u = pulses.times_u[pulses.position], pulses.time_u
        lasting = np.zeros(len(pulses)) if pulses.lasting_u is None else pulses.lasting_u
        clock = np.nan_to_num(pulses.time) * findings.settings.clock_ppm * _PPM
        steady = np.sqrt(np.maximum(np.square(lasting) - np.square(clock), 0.0))
        self._delay_u = np.minimum(steady, findings.settings.delay_u)
        self._offset_u = np.sqrt(np.square(steady) - np.square(self._delay_u))
        modules = findings.session.modules
        self._modules = [modules.index(module) for _, module in findings.session.channels]
        self._places: dict[int, dict[int, list[int]]] = {}

    def of(self, record: int) -> Find:
        """Return what finds the pulses of one record.

        Parameters
        ----------
        record : int
        """
        return lambda channel, order: self(record, channel, order)

    def __call__(self, record: int, channel: int, order: int) -> FollowedPulse | str:
        """Return a pulse, or the reason why there is none to quote."""
        there = self._on(channel).get(record, [])
        if order >= len(there):
            return _why_none(self._findings, record, channel, order, len(there))
        pulse = self._pulse(there[order])
        if not (math.isfinite(pulse.time) and math.isfinite(pulse.u)):
            name, position = self._findings.channel_name(channel), self._findings.pulses.position
            return f"the {position} of pulse {order} on {name} cannot be measured in record {record}"
        return pulse

    def _on(self, channel: int) -> dict[int, list[int]]:
        """Return the places of a channel's pulses in the findings, by record."""
        if channel not in self._places:
            by_record: dict[int, list[int]] = {}
            pulses = self._findings.pulses
            for place in pulses.where(self._record, channel):
                by_record.setdefault(int(pulses.record[place]), []).append(int(place))
            self._places[channel] = by_record
        return self._places[channel]

    def _pulse(self, place: int) -> FollowedPulse:
        findings, pulses = self._findings, self._findings.pulses
        record, channel = int(pulses.record[place]), int(pulses.channel[place])
        return FollowedPulse(
            record=record,
            channel=channel,
            module=findings.session.channels[channel][1],
            polarity=int(pulses.polarity[place]),
            in_step=bool(findings.sequence.in_step[record, self._modules[channel]]),
            one_trigger=findings.session.one_trigger,
            time=float(pulses.time[place]),
            u=float(self._u[place]),
            own_u=float(self._own_u[place]),
            untimed_u=float(pulses.trigger_u[place]),
            offset_u=float(self._offset_u[place]),
            delay_u=float(self._delay_u[place]),
        )


def _why_none(findings: Findings, record: int, channel: int, order: int, there: int) -> str:
    name = findings.channel_name(channel)
    if record in findings.settings.left_out:
        return f"record {record} is left out"
    if record not in findings.records or channel not in findings.channels:
        return f"{name} was not measured in record {record}"
    found = "no pulse" if there == 0 else f"only {there} pulse{'s' if there > 1 else ''}"
    return f"{found} in record {record} on {name}, so no pulse {order}"
