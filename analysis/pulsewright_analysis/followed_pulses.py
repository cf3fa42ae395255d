"""Found pulses that markers follow: where each is in a record, and what of its u another pulse shares."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

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
    there = findings.pulses.where(record, channel)
    if order >= len(there):
        return _why_none(findings, record, channel, order, len(there))
    pulse = _pulse(findings, int(there[order]))
    if not (math.isfinite(pulse.time) and math.isfinite(pulse.u)):
        name, position = findings.channel_name(channel), findings.pulses.position
        return f"the {position} of pulse {order} on {name} cannot be measured in record {record}"
    return pulse


def pulses_of(findings: Findings, record: int) -> Find:
    """Return what finds the pulses of one record.

    Parameters
    ----------
    findings : Findings
    record : int
    """
    return lambda channel, order: followed_pulse(findings, record, channel, order)


def _pulse(findings: Findings, place: int) -> FollowedPulse:
    """Return one of the found pulses, by its place among them; no array is touched as a whole: a step must be short."""
    pulses, session = findings.pulses, findings.session
    record, channel = int(pulses.record[place]), int(pulses.channel[place])
    time, own_u = float(pulses.time[place]), float(pulses.times_u[pulses.position][place])
    untimed_u = float(pulses.trigger_u[place])
    lasting_u = 0.0 if pulses.lasting_u is None else float(pulses.lasting_u[place])
    clock_u = time * findings.settings.clock_ppm * _PPM if math.isfinite(time) else 0.0
    steady = max(lasting_u**2 - clock_u**2, 0.0)
    delay_u = min(math.sqrt(steady), findings.settings.delay_u)
    module = session.channels[channel][1]
    return FollowedPulse(
        record=record,
        channel=channel,
        module=module,
        polarity=int(pulses.polarity[place]),
        in_step=bool(findings.sequence.in_step[record, session.modules.index(module)]),
        one_trigger=session.one_trigger,
        time=time,
        u=math.hypot(own_u, untimed_u, lasting_u),
        own_u=own_u,
        untimed_u=untimed_u,
        offset_u=math.sqrt(max(steady - delay_u**2, 0.0)),
        delay_u=delay_u,
    )


def _why_none(findings: Findings, record: int, channel: int, order: int, there: int) -> str:
    name = findings.channel_name(channel)
    if record in findings.settings.left_out:
        return f"record {record} is left out"
    if record not in findings.records or channel not in findings.channels:
        return f"{name} was not measured in record {record}"
    found = "no pulse" if there == 0 else f"only {there} pulse{'s' if there > 1 else ''}"
    return f"{found} in record {record} on {name}, so no pulse {order}"
