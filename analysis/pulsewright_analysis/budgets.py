"""The uncertainty budget of any quantity in the findings, found by its name."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from pulsewright.budget import Term
from pulsewright.errors import BudgetError
from pulsewright.quantity import Quantity
from pulsewright_analysis.findings_json import channel_units
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.results import Findings
from pulsewright_analysis.type_b import clock_term, position_terms, scale_term, without


@dataclass(frozen=True)
class Budget:
    """What the uncertainty of one quantity is made of.

    Attributes
    ----------
    name : str
        The quantity's name, as `budget_of` takes it.
    meaning : str
        What it is, in words.
    quantity : Quantity
        Value, u, degrees of freedom and 95 % interval.
    """

    name: str
    meaning: str
    quantity: Quantity

    @property
    def terms(self) -> tuple[Term, ...]:
        """The independent terms, whose squares add up to u²; none for a quantity that is exact by definition."""
        return self.quantity.terms

    def share(self, term: Term) -> float:
        """Return a term's share of u², 0 to 1.

        Parameters
        ----------
        term : Term
            One of `terms`.
        """
        return (term.u / self.quantity.u) ** 2 if self.quantity.u > 0 else 0.0


ONE_WORD: dict[str, tuple[str, Callable[[Findings], Quantity | None]]] = {
    "increment": ("step of the pulse from trigger to trigger", lambda f: f.sequence.increment),
    "start": ("place of the first stop, from the trigger", lambda f: f.sequence.start),
    "extent": ("from the first stop to the last", lambda f: f.sequence.extent),
    "within": ("largest difference between two channels of one module", lambda f: f.alignment.within_modules),
    "between": ("largest difference between two modules", lambda f: f.alignment.largest_between),
    "frequency": ("frequency of the shared sine", lambda f: f.alignment.frequency),
    "jitter": ("standard deviation with the progression taken off", lambda f: f.jitter.std),
    "peak-to-peak": ("peak to peak with the progression taken off", lambda f: f.jitter.peak_to_peak),
    "drift": ("drift a record", lambda f: f.jitter.drift_per_record),
    "period": ("trigger period", lambda f: f.timing.trigger_period),
    "duration": ("record duration", lambda f: f.timing.record_duration),
    "dead": ("dead time, covered by no record", lambda f: f.timing.dead_time),
    "wait": ("wait from a record's end to the next trigger", lambda f: f.timing.wait),
}
"""Quantities that a session has once: what each one is, and where it stands."""
OF_CHANNEL = ("skew", "noise", "offset")
OF_PULSE = ("time", "amplitude", "width")


def budget_of(findings: Findings, name: str) -> Budget:
    """Return the budget of a quantity of the findings.

    Parameters
    ----------
    findings : Findings
    name : str
        Such as ``increment``, ``jitter``, ``period``; ``skew H07``, ``noise H05``; ``between M1 M3``, the second
        module's time minus the first's; ``amplitude H05 12``, of the first pulse of record 12, or of another one
        with its number from 0 behind it.

    Raises
    ------
    BudgetError
        If nothing has that name (the names are listed), or what has it was not measured.
    """
    kind, _, rest = " ".join(name.split()).partition(" ")
    kind = kind.lower()
    if kind == "between" and rest:
        meaning, quantity = _between(findings, rest)
    elif kind in ONE_WORD and not rest:
        meaning, quantity = ONE_WORD[kind][0], ONE_WORD[kind][1](findings)
    elif kind in OF_CHANNEL and rest:
        meaning, quantity = _of_channel(findings, kind, rest)
    elif kind in OF_PULSE and (place := _NUMBERS.fullmatch(rest)):
        meaning, quantity = _of_pulse(findings, kind, place)
    else:
        raise BudgetError(f"nothing measured is called {name!r}", f"the names are {_names(findings)}")
    if quantity is None:
        raise BudgetError(f"{meaning}: not measured", "the page of findings says why")
    return Budget(f"{kind} {rest}".strip(), meaning, quantity)


def budget_names(findings: Findings) -> tuple[str, ...]:
    """Return every name that `budget_of` has a budget for, single pulses left out.

    Parameters
    ----------
    findings : Findings
    """
    names = [word for word, (_, where) in ONE_WORD.items() if where(findings) is not None]
    names += [
        f"between {m.modules[0]} {m.modules[1]}" for m in findings.alignment.between_modules if m.skew is not None
    ]
    names += [f"skew {findings.channel_name(c.channel)}" for c in findings.alignment.channels if c.skew is not None]
    for health in findings.health:
        channel = findings.channel_name(health.channel)
        names += [f"noise {channel}"] if health.noise_rms is not None else []
        names += [f"offset {channel}"] if health.offset is not None else []
    return tuple(names)


def _names(findings: Findings) -> str:
    """Return the allowed forms of a name, with names that this session has."""
    channel = findings.channel_name(findings.channels[0])
    modules = [pair.modules for pair in findings.alignment.between_modules]
    pairs = [f"between {modules[0][0]} {modules[0][1]}"] if modules else []
    forms = [*ONE_WORD, *pairs, *(f"{kind} {channel}" for kind in OF_CHANNEL)]
    return f"{', '.join(forms)}, and of a pulse, by channel and record, {', '.join(OF_PULSE)} as in time {channel} 0"


def _channel(findings: Findings, name: str) -> int:
    for channel in findings.channels:
        if " ".join(findings.channel_name(channel).split()) == name:
            return channel
    names = ", ".join(findings.channel_name(channel) for channel in findings.channels)
    raise BudgetError(f"no channel called {name!r} was measured", f"the channels are {names}")


def _between(findings: Findings, modules: str) -> tuple[str, Quantity | None]:
    pairs = findings.alignment.between_modules
    for pair in pairs:
        first, second = pair.modules
        if modules == f"{first} {second}":
            return f"{second} against {first}", pair.skew
        if modules == f"{second} {first}":
            return f"{first} against {second}", None if pair.skew is None else pair.skew.scaled(-1.0)
    known = ", ".join(f"{pair.modules[0]} {pair.modules[1]}" for pair in pairs) or "none"
    raise BudgetError(f"{modules!r} is no pair of modules that were compared", f"the pairs are {known}")


def _of_channel(findings: Findings, kind: str, name: str) -> tuple[str, Quantity | None]:
    channel = _channel(findings, name)
    if kind == "skew":
        reference = findings.alignment.reference
        against = "" if reference is None else f" against {findings.channel_name(reference)}"
        skews = [entry.skew for entry in findings.alignment.channels if entry.channel == channel]
        return f"skew of {name}{against}", skews[0] if skews else None
    (health,) = (health for health in findings.health if health.channel == channel)
    return f"{kind} of {name}", health.noise_rms if kind == "noise" else health.offset


_NUMBERS = re.compile(r"(?P<whole>(?P<channel>.+?) (?P<record>\d{1,12}))(?: (?P<order>\d{1,12}))?", re.ASCII)
"""A channel's name, the number of a record, and perhaps that of a pulse in it."""


def _of_pulse(findings: Findings, kind: str, place: re.Match[str]) -> tuple[str, Quantity | None]:
    """Return the time, amplitude or width of the pulse with that record and order."""
    name, record, order = place["channel"], int(place["record"]), int(place["order"] or 0)
    if place["order"] is not None and place["whole"] in {findings.channel_name(c) for c in findings.channels}:
        # "Hydrophone 1 12" is record 12 of "Hydrophone 1" where there is such a channel
        name, record, order = place["whole"], int(place["order"]), 0
    pulses = findings.pulses
    found = [int(i) for i in pulses.where(record, _channel(findings, name)) if pulses.order[i] == order]
    where = f"pulse {order} on {name} in record {record}"
    if not found:
        raise BudgetError(f"there is no {where}", "the pulses of a record are counted from 0")
    return f"{kind} of {where}", pulse_quantity(findings, kind, found[0])


def pulse_quantity(findings: Findings, kind: str, i: int) -> Quantity | None:
    """Return one pulse's time, amplitude or width with its budget, None where it has none.

    Parameters
    ----------
    findings : Findings
    kind : str
        ``time``, ``amplitude`` or ``width``.
    i : int
        Index into the findings' pulses.

    Returns
    -------
    Quantity or None
        Seconds; an amplitude in its channel's unit.
    """
    pulses, settings = findings.pulses, findings.settings
    values, us = {
        "time": (pulses.time, pulses.time_u),
        "amplitude": (pulses.amplitude, pulses.amplitude_u),
        "width": (pulses.width, pulses.width_u),
    }[kind]
    value, u, untimed = float(values[i]), float(us[i]), float(pulses.trigger_u[i])
    if not (math.isfinite(value) and math.isfinite(u)):
        return None
    known: tuple[Term, ...]
    if kind == "time":
        own, told = float(pulses.times_u[pulses.position][i]), f"{pulses.position} of one pulse"
        known = position_terms(value, untimed, settings)
    else:
        known = ((scale_term if kind == "amplitude" else clock_term)(value, settings),)
        own, told, untimed = without(u, known), "noise and levels of one pulse", 0.0
    half = float(half_width_95(us[i : i + 1], untimed)[0])
    unit = channel_units(findings)[int(pulses.channel[i])] if kind == "amplitude" else "s"
    terms = (Term("noise on this pulse", own, "A", None, told), *known)
    return Quantity(value, u, unit, None, (value - half, value + half), terms)
