"""Jitter: the scatter of the pulse's time when its progression has been taken off."""

from __future__ import annotations

import math

import numpy as np

from pulsewright.quantity import Quantity
from pulsewright_analysis.lines import fit_line
from pulsewright_analysis.results import Floats, Jitter, Sequence
from pulsewright_analysis.validity import JITTER_REGION


def measure_jitter(sequence: Sequence) -> tuple[Jitter, list[str]]:
    """Return standard deviation, peak-to-peak and drift of the residuals from the lattice.

    Parameters
    ----------
    sequence : Sequence
        With the residual and its u for each record.

    Returns
    -------
    Jitter, list of str
        The standard deviation's interval is that of χ² (JCGM 100:2008, 4.2 and E.4), the measurement's own variance
        subtracted from value and limits. Where little is left after that, the value reads low (`JITTER_REGION`), and
        the interval, which holds there too, is what counts.
    """
    known = np.flatnonzero(np.isfinite(sequence.residual))
    if len(known) < JITTER_REGION.fewest_records:
        return Jitter(None, None, None, None, None), [
            f"No jitter: only {len(known)} records have a pulse in its place, {JITTER_REGION.fewest_records} are "
            f"the fewest."
        ]
    residual = sequence.residual[known]
    own = float(np.sqrt(np.mean(sequence.residual_u[known] ** 2)))
    dof = len(known) - 2
    line = fit_line(known.astype(float), residual)
    return Jitter(
        std=scatter_quantity(float(np.sqrt(np.sum(residual**2) / dof)), dof, own),
        peak_to_peak=_peak_to_peak(residual, sequence.residual_u[known]),
        drift_per_record=Quantity(line.slope, line.slope_u, "s", float(line.dof)),
        measurement_std=own,
        expected_peak_to_peak=expected_range(len(known)) * float(np.sqrt(np.sum(residual**2) / dof)),
    ), []


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
