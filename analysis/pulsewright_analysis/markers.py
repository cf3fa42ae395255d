"""Differences between two markers, with the uncertainty of how each was put down."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pulsewright.quantity import Quantity


@dataclass(frozen=True)
class MarkerDifference:
    """What a pair of markers says.

    Attributes
    ----------
    delta : Quantity
        t₂ − t₁, seconds.
    rate : Quantity or None
        1/Δ, hertz; None where Δ is 0.
    per_interval : Quantity
        Δ/N, seconds.
    intervals : int
        N.
    """

    delta: Quantity
    rate: Quantity | None
    per_interval: Quantity
    intervals: int


def u_by_hand(pixel_time: float, sample_interval: float) -> float:
    """Return the standard uncertainty of a marker dragged by hand, seconds.

    Parameters
    ----------
    pixel_time, sample_interval : float
        Seconds that one screen pixel, and one sample, span.

    Returns
    -------
    float
        The larger of the two, over √12 (uniform error, JCGM 100:2008, 4.3.7).
    """
    return max(pixel_time, sample_interval) / math.sqrt(12.0)


def u_on_sample(sample_interval: float) -> float:
    """Return the standard uncertainty of a marker snapped to a sample, Ts/√12 seconds (JCGM 100:2008, 4.3.7).

    Parameters
    ----------
    sample_interval : float
        Ts, seconds.
    """
    return sample_interval / math.sqrt(12.0)


def difference(
    time_1: float, u_1: float, time_2: float, u_2: float, intervals: int = 1, clock_ppm: float = 0.0
) -> MarkerDifference:
    """Return Δ = t₂ − t₁ with 1/Δ and Δ/N.

    Parameters
    ----------
    time_1, u_1, time_2, u_2 : float
        Both markers and their standard uncertainties, seconds; their errors are taken as independent.
    intervals : int
        N, the number of equal intervals between the markers; from 1 up.
    clock_ppm : float
        Standard uncertainty of the sample clock's rate, parts per million.

    Returns
    -------
    MarkerDifference
        u² = u₁² + u₂² + (Δ·ppm)², u(1/Δ) = u/Δ², u(Δ/N) = u/N (JCGM 100:2008, 5.1.2).

    Raises
    ------
    ValueError
        If `intervals` is below 1.
    """
    if intervals < 1:
        raise ValueError("the number of intervals is a whole number from 1 up")
    delta = time_2 - time_1
    u = math.sqrt(u_1**2 + u_2**2 + (delta * clock_ppm * 1e-6) ** 2)
    rate = Quantity(1 / delta, u / delta**2, "Hz") if delta != 0 else None
    return MarkerDifference(Quantity(delta, u, "s"), rate, Quantity(delta / intervals, u / intervals, "s"), intervals)
