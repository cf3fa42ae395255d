"""Coverage intervals of an error that is partly uniform and partly normal, for whole arrays at once."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import UNIFORM_FACTOR_95, Quantity, coverage_factor

Floats = NDArray[np.float64]


def half_width_95(u: Floats, uniform_u: Floats | float = 0.0) -> Floats:
    """Return the half-widths of 95 % intervals whose degrees of freedom are not limited.

    Parameters
    ----------
    u : array
        Combined standard uncertainties, of any one unit; NaN is kept.
    uniform_u : array or float
        The part of each that comes from one uniform error, for example of a trigger that was not timed.

    Returns
    -------
    array
        k·u, where k goes from 1.96 with no uniform part to 1.65 with nothing else: the 95 % point of the sum
        of a normal and a uniform error (their convolution; its ends are in JCGM 100:2008, G.1 and 4.3.7).
    """
    shares, factors = _factors()
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.nan_to_num(np.square(uniform_u / u))
    half: Floats = u * np.interp(share, shares, factors)
    return half


def with_uniform_term(quantity: Quantity) -> Quantity:
    """Return a quantity with the 95 % interval that suits the one uniform term of its budget, if there is just one.

    Parameters
    ----------
    quantity : Quantity
        With its budget; where no term or more than one is uniform, it is returned as it is.

    Returns
    -------
    Quantity
        Its half-width is that of `half_width_95`, wider by Student's t over the normal factor where the degrees of
        freedom are limited: they are not where the uniform term dominates, and there is no uniform term where they
        matter most, so that both ends are exact (JCGM 100:2008, G.1, G.4 and 4.3.7).
    """
    uniform = [term.u for term in quantity.terms if term.uniform and term.u > 0]
    if len(uniform) != 1:
        return quantity
    student = coverage_factor(quantity.dof) / coverage_factor(None)
    half = student * float(half_width_95(np.array([quantity.u]), uniform[0])[0])
    return replace(quantity, limits95=(quantity.value - half, quantity.value + half))


def coverage_factor_with_uniform(u: float, uniform_u: float, coverage: float) -> float:
    """Return the two-sided coverage factor of an error that is partly uniform and partly normal.

    Parameters
    ----------
    u, uniform_u : float
        Combined standard uncertainty, and its uniform part, of any one unit.
    coverage : float
        Between 0 and 1.
    """
    share = min((uniform_u / u) ** 2, 1.0) if u > 0 else 0.0
    if share > 1 - 1e-9:
        return coverage * float(np.sqrt(3.0))
    half_range, normal = np.array([np.sqrt(3.0 * share)]), np.array([np.sqrt(1.0 - share)])
    if share < 1e-9:
        return coverage_factor(None, coverage)
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = (low + high) / 2
        below = float(_probability_within(np.array([middle]), half_range, normal)[0]) < coverage
        low, high = (middle, high) if below else (low, middle)
    return low


def probability_below(x: float, u: float, uniform_u: float) -> float:
    """Return the chance that an error of standard uncertainty `u`, a part of it uniform, is below `x`.

    Parameters
    ----------
    x : float
        In the unit of `u`.
    u, uniform_u : float
        Combined standard uncertainty, and its uniform part, of any one unit; the rest is normal, both about 0.
    """
    from scipy.special import ndtr

    half, normal = float(np.sqrt(3.0)) * min(uniform_u, u), float(np.sqrt(max(u**2 - uniform_u**2, 0.0)))
    if half == 0 or half < 1e-6 * normal:
        return float(ndtr(x / u))
    if normal < 1e-6 * half:
        return float(np.clip((x + half) / (2 * half), 0.0, 1.0))
    area = _integral(np.array([(x + half) / normal, (x - half) / normal]))
    return float(np.clip(normal / (2 * half) * (area[0] - area[1]), 0.0, 1.0))


@cache
def _factors() -> tuple[Floats, Floats]:
    """Return the 95 % factor on a grid of the uniform error's share in u², by bisection."""
    shares = np.linspace(0.0, 1.0, 513)
    inner = shares[1:-1]
    half_range, normal = np.sqrt(3.0 * inner), np.sqrt(1.0 - inner)
    low, high = np.full_like(inner, 1.0), np.full_like(inner, 3.0)
    for _ in range(50):
        middle = (low + high) / 2
        below = _probability_within(middle, half_range, normal) < 0.95
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return shares, np.concatenate([[coverage_factor(None)], low, [UNIFORM_FACTOR_95]])


def _probability_within(half: Floats, half_range: Floats, normal: Floats) -> Floats:
    """Return the chance that a uniform error over ±`half_range` plus a normal one lies within ±`half`."""
    upper, lower = (half + half_range) / normal, (half - half_range) / normal
    chance: Floats = normal / half_range * (_integral(upper) - _integral(lower)) - 1
    return chance


def _integral(x: Floats) -> Floats:
    """Return the integral of the normal distribution function up to x."""
    from scipy.special import ndtr

    area: Floats = x * ndtr(x) + np.exp(-(x**2) / 2) / np.sqrt(2 * np.pi)
    return area
