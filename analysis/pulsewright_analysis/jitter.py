"""Jitter: the scatter of the pulse's time when its progression has been taken off."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from pulsewright.quantity import Quantity
from pulsewright_analysis.lines import correlated_u, fit_line
from pulsewright_analysis.results import Floats, Jitter, Sequence

FEWEST_RECORDS = 4
FEWEST_FOR_SHAPE = 100
CLEARLY_LIKELIER = 3.0


def measure_jitter(sequence: Sequence, interval: float) -> tuple[Jitter, list[str]]:
    """Return standard deviation, peak-to-peak and drift of the residuals from the lattice.

    Parameters
    ----------
    sequence : Sequence
        With the residual and its u for each record.
    interval : float
        The sample interval, seconds.

    Returns
    -------
    Jitter, list of str
        The standard deviation's interval is that of χ² (JCGM 100:2008, 4.2 and E.4), the measurement's own variance
        subtracted from value and limits.
    """
    known = np.flatnonzero(np.isfinite(sequence.residual))
    if len(known) < FEWEST_RECORDS:
        return Jitter(None, None, None, None, None, None), [
            f"No jitter: only {len(known)} records have a pulse in its place."
        ]
    residual = sequence.residual[known]
    own = float(np.sqrt(np.mean(sequence.residual_u[known] ** 2)))
    dof = len(known) - (1 if sequence.increment is None else 2)
    observed = float(np.sqrt(np.sum(residual**2) / dof))
    drift, reasons = None, []
    if sequence.increment is not None and sequence.cycle is None:
        reasons.append("No drift: where the walk never starts over, a drift is part of the increment.")
    else:
        line = fit_line(known.astype(float), residual)
        spread = correlated_u(known.astype(float), line)
        drift = Quantity(line.slope, spread.slope_u, "s", spread.dof)
    return Jitter(
        std=scatter_quantity(observed, dof, own),
        peak_to_peak=_peak_to_peak(residual, sequence.residual_u[known]),
        drift_per_record=drift,
        measurement_std=own,
        expected_peak_to_peak=expected_range(len(known)) * observed,
        shape=jitter_shape(residual, own, interval),
    ), reasons


def jitter_shape(residual: Floats, own: float, interval: float) -> Literal["uniform", "normal"] | None:
    """Tell whether times scatter uniformly over one sample interval or normally, None where either may be.

    Parameters
    ----------
    residual : array (records,)
        Seconds; fewer than 100 are not judged.
    own : float
        The measurement's own standard deviation, seconds: it blurs the uniform's edges.
    interval : float
        Seconds.

    Returns
    -------
    str or None
        By the difference of the two log-likelihoods, which must be 3 or more (odds of 20 to 1). A trigger that was not
        timed is uniform (JCGM 100:2008, 4.3.7); a trigger's own jitter mostly is not.
    """
    from scipy.special import ndtr

    if len(residual) < FEWEST_FOR_SHAPE:
        return None
    sigma = float(np.std(residual))
    if sigma == 0:
        return None
    half, blur = interval / 2, max(own, 1e-3 * interval)
    centred = residual - np.mean(residual)
    uniform = np.log(np.maximum((ndtr((centred + half) / blur) - ndtr((centred - half) / blur)) / interval, 1e-300))
    normal = -0.5 * (centred / sigma) ** 2 - np.log(sigma * np.sqrt(2 * np.pi))
    ahead = float(np.sum(uniform - normal))
    if abs(ahead) < CLEARLY_LIKELIER:
        return None
    return "uniform" if ahead > 0 else "normal"


def scatter_quantity(observed: float, dof: int, own: float) -> Quantity:
    """Return a standard deviation in seconds with its χ² interval, less the measurement's own.

    Parameters
    ----------
    observed : float
        Standard deviation seen, seconds.
    dof : int
        Its degrees of freedom.
    own : float
        Standard deviation that the measurement itself adds, seconds.
    """
    from scipy.special import chdtri

    value = math.sqrt(max(observed**2 - own**2, 0.0))
    limits = [observed * math.sqrt(dof / float(chdtri(dof, tail))) for tail in (0.025, 0.975)]
    low, high = (math.sqrt(max(limit**2 - own**2, 0.0)) for limit in limits)
    observed_u = observed / math.sqrt(2 * dof)
    u = observed * observed_u / value if value > observed_u else observed_u
    return Quantity(value, u, "s", float(dof), (low, high))


def expected_range(count: int) -> float:
    """Return d₂, the expected range of `count` standard normal draws: ∫ 1 − Φⁿ − (1 − Φ)ⁿ."""
    from scipy.special import ndtr

    x = np.linspace(-8.0, 8.0, 4001)
    below = ndtr(x)
    return float(np.trapezoid(1 - below**count - (1 - below) ** count, x))


def _peak_to_peak(residual: Floats, u: Floats) -> Quantity:
    low, high = int(np.argmin(residual)), int(np.argmax(residual))
    return Quantity(float(residual[high] - residual[low]), float(np.hypot(u[low], u[high])), "s")
