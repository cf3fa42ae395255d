"""How a figure's axes are labelled and in which unit their numbers are written, and what stands where none is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pulsewright_analysis.results import Findings, Floats

_PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}


@dataclass(frozen=True)
class NotDrawn:
    """Why a figure cannot be drawn: one plain sentence."""

    reason: str


@dataclass(frozen=True)
class Axis:
    """How an axis is labelled, and in which unit its numbers are written.

    Attributes
    ----------
    label : str
        What runs along it.
    unit : str
        The unit that numbers are written in, for example ``"ns"``; empty for record numbers and counts.
    factor : float
        A number in SI units times this is the number that is written.
    """

    label: str
    unit: str = ""
    factor: float = 1.0

    @property
    def text(self) -> str:
        """The label with its unit: ``"Residual / ns"``, quantity over unit (ISO 80000-1, 7.1.3)."""
        return f"{self.label} / {self.unit}" if self.unit else self.label

    def written(self, values: Floats) -> Floats:
        """Return values in the unit that the axis is written in."""
        result: Floats = np.asarray(values, dtype=np.float64) * self.factor
        return result


def time_axis(label: str, values: Floats) -> Axis:
    """Return an axis whose unit suits the largest of some times: seconds or a part of them.

    Parameters
    ----------
    label : str
    values : array
        Seconds; NaN does not count.
    """
    return scaled_axis(label, "s", values, highest=0)


def scaled_axis(label: str, unit: str, values: Floats, highest: int = 9) -> Axis:
    """Return an axis whose unit has the prefix that suits the largest of some values.

    Parameters
    ----------
    label : str
    unit : str
        SI unit without prefix; a pure number and percent take none.
    values : array
        In `unit`; NaN does not count.
    highest : int
        The largest power of ten that a prefix may stand for.
    """
    if unit in ("", "%"):
        return Axis(label, unit)
    known = np.abs(values[np.isfinite(values)])
    largest = float(known.max(initial=0.0))
    exponent = 0 if largest == 0 else 3 * math.floor(math.log10(largest * (1 + 1e-12)) / 3)
    exponent = min(max(exponent, -15), highest)
    return Axis(label, f"{_PREFIXES[exponent]}{unit}", 10.0**-exponent)


def reason_of(findings: Findings, beginning: str, otherwise: str) -> str:
    """Return the first of the findings' reasons that begins so, or another sentence."""
    return next((reason for reason in findings.reasons if reason.startswith(beginning)), otherwise)
