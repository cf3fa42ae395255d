"""Type B terms: what a person knows of clock, cables, splitter, scale and trigger offsets, and where it enters.

None of these errors is averaged away by more records: each is taken as the same in every record of the session.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pulsewright.budget import Term, combined_u
from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import Floats, Ints, Pulses

PPM = 1e-6
PERCENT = 1e-2


def _told(settings: Settings, name: str, unit: str) -> str:
    """Return where a setting's term came from, in words."""
    value = getattr(settings, name)
    if value == 0:
        return f"taken as exact: {name} is 0"
    shown = engineering(value, "s") if unit == "s" else f"{value:.4g} {unit}"
    return f"{name} = {shown} ({settings.origin(name)})"


def clock_term(value: float, settings: Settings) -> Term:
    """Return the sample clock's share in a stretch of time of `value` seconds, or in a frequency in hertz.

    Parameters
    ----------
    value : float
        Seconds or hertz.
    settings : Settings
        Tell `clock_ppm`.

    Returns
    -------
    Term
        In the unit of `value`.
    """
    return Term("sample clock", abs(value) * settings.clock_ppm * PPM, "B", None, _told(settings, "clock_ppm", "ppm"))


def scale_term(value: float, settings: Settings) -> Term:
    """Return the share of a channel's scale in a level of `value`, counted from the level of code 0.

    Parameters
    ----------
    value : float
        The level, in the channel's unit.
    settings : Settings
        Tell `scale_percent`.

    Returns
    -------
    Term
        In the channel's unit.
    """
    told = _told(settings, "scale_percent", "%")
    return Term("scale of the channel", abs(value) * settings.scale_percent * PERCENT, "B", None, told)


def delay_term(settings: Settings, weight: float = 1.0) -> Term:
    """Return the share of cable delays; `weight` is the root of the sum of squares of the channels' weights.

    Parameters
    ----------
    settings : Settings
        Tell `delay_u`.
    weight : float
        1 for one channel alone.

    Returns
    -------
    Term
        In seconds.
    """
    return Term("cable delay", weight * settings.delay_u, "B", None, _told(settings, "delay_u", "s"))


def position_terms(value: float, untimed_u: float, settings: Settings) -> tuple[Term, ...]:
    """Return the terms that a position of `value` seconds from the trigger has besides the scatter of the pulse.

    Parameters
    ----------
    value : float
        Seconds from the trigger.
    untimed_u : float
        Standard uncertainty of a trigger that was not timed, seconds; 0 where it was.
    settings : Settings

    Returns
    -------
    tuple of Term
        Trigger (not timed, or its recorded offset), cable delay, and the clock's share of the time since the trigger.
    """
    if untimed_u > 0:
        trigger = Term("trigger not timed", untimed_u, "B", None, "uniform over one sample interval: Ts/√12", True)
    else:
        told = _told(settings, "trigger_offset_u", "s")
        trigger = Term("recorded trigger offset", settings.trigger_offset_u, "B", None, told)
    return (trigger, delay_term(settings), clock_term(value, settings))


@dataclass(frozen=True)
class ComparisonErrors:
    """Errors of channels against each other that averaging over records does not take away.

    Attributes
    ----------
    module_of : int array (channels,)
        Each compared channel's module.
    untimed, recorded : array (modules,)
        Standard uncertainty of a module's trigger offset where triggers were not timed, and where they were, seconds;
        both 0 where one offset serves all modules.
    settings : Settings
    """

    module_of: Ints
    untimed: Floats
    recorded: Floats
    settings: Settings

    @classmethod
    def of(cls, session: Session, channels: Sequence[int], settings: Settings) -> ComparisonErrors:
        """Return the errors among these channels of a session.

        A module that did not time its trigger knows it to ±Ts/2 (JCGM 100:2008, 4.3.7). One that timed it knows it as
        well as its recorded offsets are known. Either error is the same for all its channels.

        Parameters
        ----------
        session : Session
        channels : sequence of int
            Places of the compared channels in the session.
        settings : Settings
            Tell `trigger_offset_u`, and what `terms` needs.
        """
        module_of = session.module_of[list(channels)].astype(np.int64)
        nothing = np.zeros(len(session.modules))
        if session.shared_offset:
            return cls(module_of, nothing, nothing, settings)
        unknown = np.any(~np.isfinite(session.trigger_offset), axis=0)
        untimed = np.where(unknown, session.sample_interval / np.sqrt(12.0), 0.0)
        return cls(module_of, untimed, np.where(unknown, 0.0, settings.trigger_offset_u), settings)

    @property
    def any_untimed(self) -> bool:
        """Whether a module did not time its trigger and has no offset in common with the others."""
        return bool(np.any(self.untimed))

    def terms(self, selector: Floats, value: float) -> tuple[Term, ...]:
        """Return the terms of Σ selector·time, whose weights add up to 0.

        Parameters
        ----------
        selector : array (channels,)
            Weight of each channel: 1 and −1 for a skew. For modules, 1/n of each of the second one's channels and −1/n
            of each of the first one's: independent cable delays then average to u·√(1/n₁ + 1/n₂), while the error of
            a module's trigger offset, which its channels share, stays whole.
        value : float
            The sum, seconds.
        """
        weight = float(np.sqrt(np.sum(selector**2)))
        by_module = np.zeros(len(self.untimed))
        np.add.at(by_module, self.module_of, selector)
        by_module[np.abs(by_module) < 1e-12] = 0.0  # what rounding leaves of weights that cancel
        untimed, recorded = (float(np.sqrt(np.sum((by_module * u) ** 2))) for u in (self.untimed, self.recorded))
        own = untimed > 0 and np.count_nonzero(by_module * self.untimed) == 1
        return (
            Term("triggers not timed", untimed, "B", None, _told_untimed(untimed), own),
            Term("recorded trigger offsets", recorded, "B", None, self._told_recorded(by_module)),
            delay_term(self.settings, weight),
            Term("splitter", weight * self.settings.splitter_u, "B", None, _told(self.settings, "splitter_u", "s")),
            clock_term(value, self.settings),
        )

    def _told_recorded(self, by_module: Floats) -> str:
        """Return where the share of recorded trigger offsets came from, or why there is none."""
        if self.settings.trigger_offset_u > 0 and not np.any(by_module * self.recorded):
            return "none: one offset serves both, or none was recorded"
        return _told(self.settings, "trigger_offset_u", "s")


def _told_untimed(u: float) -> str:
    return "uniform over one sample interval for each module: Ts/√12" if u > 0 else "none, or one offset serves both"


def entered(pulses: Pulses, settings: Settings) -> Pulses:
    """Return the pulses with the Type B parts in the u of amplitude, width and position.

    Parameters
    ----------
    pulses : Pulses
        With u from noise alone.
    settings : Settings

    Returns
    -------
    Pulses
        The part of a position that is the same in every record is kept apart in `lasting_u`, so that it is not taken
        for scatter, nor averaged.
    """
    timed = pulses.trigger_u == 0
    trigger = np.where(timed, settings.trigger_offset_u, 0.0)
    clock = settings.clock_ppm * PPM
    lasting = np.hypot(np.hypot(trigger, settings.delay_u), np.nan_to_num(pulses.time) * clock)
    return replace(
        pulses,
        amplitude_u=np.hypot(pulses.amplitude_u, pulses.amplitude * settings.scale_percent * PERCENT),
        width_u=np.hypot(pulses.width_u, pulses.width * clock),
        lasting_u=lasting,
    )


def without(u: float, terms: Sequence[Term]) -> float:
    """Return what is left of a combined u when independent terms are taken out of it.

    Parameters
    ----------
    u : float
        Combined standard uncertainty.
    terms : sequence of Term
        What is taken out, in the unit of `u`.

    Returns
    -------
    float
        In the unit of `u`; 0 where the terms are larger than it.
    """
    return float(np.sqrt(max(u**2 - combined_u(terms) ** 2, 0.0)))
