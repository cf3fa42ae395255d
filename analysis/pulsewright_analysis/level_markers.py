"""Values that a person marks on a channel: how well each is known, the levels that are there, and their difference."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright.review import LevelMarker
from pulsewright.review_markers import SHARES, LevelName
from pulsewright_analysis.results import Findings

_PERCENT = 0.01


@dataclass(frozen=True)
class PlacedLevel:
    """One level marker, as it was put down.

    Attributes
    ----------
    value, u : float
        In the channel's unit, and its standard uncertainty, the accuracy of the channel's scale apart.
    level : str
        What it was put on (see `pulsewright.review.LevelMarker`); empty where the hand left it.
    pulse : int or None
        The pulse that `level` is a level of, counted from 0 in the order of time.
    base_u : float
        The part of `u` that is the base's: two levels of one pulse share it.
    """

    value: float
    u: float
    level: LevelName = ""
    pulse: int | None = None
    base_u: float = 0.0

    @property
    def amplitude_u(self) -> float | None:
        """Standard uncertainty of the amplitude that this is a share of; None where it is no share of one, or 0."""
        share = SHARES.get(self.level, 0.0)
        return math.sqrt(max(self.u**2 - self.base_u**2, 0.0)) / share if share else None


def placed(marker: LevelMarker) -> PlacedLevel:
    """Return a level marker of a review as it was put down.

    Parameters
    ----------
    marker : LevelMarker
    """
    return PlacedLevel(marker.value, marker.u, marker.level, marker.pulse, marker.base_u)


def level_by_hand(value: float, pixel_value: float, code: float) -> PlacedLevel:
    """Return a level where the hand left it.

    Parameters
    ----------
    value : float
        In the channel's unit.
    pixel_value, code : float
        What one screen pixel, and one code of the converter, span in that unit.

    Returns
    -------
    PlacedLevel
        u is the larger of the two, over √12 (uniform error, JCGM 100:2008, 4.3.7).
    """
    return PlacedLevel(value, max(pixel_value, abs(code)) / math.sqrt(12.0))


def level_on_sample(findings: Findings, channel: int, value: float) -> PlacedLevel | None:
    """Return a level on a sample: known as well as the channel's noise lets one sample be, never below a code/√12.

    Parameters
    ----------
    findings : Findings
    channel : int
        Place of the channel.
    value : float
        The sample's, in the channel's unit.

    Returns
    -------
    PlacedLevel or None
        None where the channel's noise was not measured.
    """
    if channel not in findings.channels:
        return None
    noise = float(findings.levels.noise[findings.channels.index(channel)])
    return PlacedLevel(value, noise, "sample") if math.isfinite(noise) else None


def known_levels(findings: Findings, record: int, channel: int, time: float) -> tuple[PlacedLevel, ...]:
    """Return a channel's base, and the levels of the pulse that lies nearest to a time of a record (IEEE Std 181).

    Parameters
    ----------
    findings : Findings
    record, channel : int
        Where they are.
    time : float
        Seconds from the record's trigger.

    Returns
    -------
    tuple of PlacedLevel
        The base alone where the record has no pulse with a known amplitude; nothing where the channel was not measured.
    """
    if channel not in findings.channels:
        return ()
    place, pulses, levels = findings.channels.index(channel), findings.pulses, findings.levels
    base = float(levels.offset[place])
    wander = float(levels.wander[place]) if place < len(levels.wander) else 0.0
    base_u = math.hypot(float(levels.offset_u[place]), wander)
    if not (math.isfinite(base) and math.isfinite(base_u)):
        return ()
    found = [PlacedLevel(base, base_u, "base", None, base_u)]
    there = pulses.where(record, channel)
    there = there[np.isfinite(pulses.time[there]) & np.isfinite(pulses.amplitude[there])]
    there = there[np.isfinite(pulses.amplitude_u[there])]
    if len(there):
        i = there[np.argmin(np.abs(pulses.time[there] - time))]
        amplitude, u = float(pulses.amplitude[i]), float(pulses.amplitude_u[i])
        scale = amplitude * findings.settings.scale_percent * _PERCENT  # enters where two levels are compared
        own = math.sqrt(max(u**2 - scale**2, 0.0))
        names: tuple[LevelName, ...] = ("10 %", "50 %", "90 %", "top")
        for name in names:
            share = SHARES[name]
            at = math.hypot(base_u, share * own)
            found.append(PlacedLevel(base + share * amplitude, at, name, int(pulses.order[i]), base_u))
    return tuple(found)


def level_value(level: PlacedLevel, unit: str, scale_percent: float = 0.0) -> Quantity:
    """Return one level with the accuracy of its channel's scale in its u.

    Parameters
    ----------
    level : PlacedLevel
    unit : str
        The channel's.
    scale_percent : float
        Standard uncertainty of the scale, percent of what it reads.

    Returns
    -------
    Quantity
    """
    return Quantity(level.value, math.hypot(level.u, level.value * scale_percent * _PERCENT), unit)


def level_difference(first: PlacedLevel, second: PlacedLevel, unit: str, scale_percent: float = 0.0) -> Quantity:
    """Return v₂ − v₁ of two levels of one channel, with its budget.

    Parameters
    ----------
    first, second : PlacedLevel
    unit : str
        The channel's.
    scale_percent : float
        Standard uncertainty of the scale, percent of what it reads; one scale for both.

    Returns
    -------
    Quantity
        u² = u₁² + u₂² + (Δ·percent)² for independent errors (JCGM 100:2008, 5.1.2). Two levels of one pulse share its
        base, which cancels, and are shares p of its amplitude A: u = |p₂ − p₁|·u(A) (5.2.2).
    """
    delta = second.value - first.value
    scale = Term("scale", abs(delta) * scale_percent * _PERCENT, "B", None, "setting scale_percent")
    apart = _apart_u(first, second)
    if apart is not None:
        terms = (Term("amplitude of the pulse", apart, "A", None, f"{first.level} to {second.level}"), scale)
        return Quantity.from_terms(delta, unit, terms)
    put_down = "as it was put down"
    return Quantity.from_terms(
        delta,
        unit,
        (Term("first level", first.u, "B", None, put_down), Term("second level", second.u, "B", None, put_down), scale),
    )


def _apart_u(first: PlacedLevel, second: PlacedLevel) -> float | None:
    """Return the u of the distance of two levels of one pulse; None for other levels."""
    names = (first.level, second.level)
    pulses = {level.pulse for level in (first, second) if level.level != "base"}
    if not all(name in SHARES for name in names) or len(pulses) > 1 or None in pulses:
        return None
    known = [u for u in (first.amplitude_u, second.amplitude_u) if u is not None]
    return abs(SHARES[names[1]] - SHARES[names[0]]) * max(known, default=0.0)
