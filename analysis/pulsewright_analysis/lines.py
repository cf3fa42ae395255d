"""Weighted straight lines with the uncertainty of slope and intercept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """y = intercept + slope·x, fitted.

    Attributes
    ----------
    intercept, slope : float
    covariance : array (2, 2)
        Of (intercept, slope).
    residual_std : float
        √(Σ w·residual²/(n − 2)) with weights of mean 1.
    chi_squared : float
        Σ residual²/u².
    dof : int
        n − 2.
    residual : array (points,)
    """

    intercept: float
    slope: float
    covariance: Floats
    residual_std: float
    chi_squared: float
    dof: int
    residual: Floats

    @property
    def intercept_u(self) -> float:
        """Standard uncertainty of the intercept."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def slope_u(self) -> float:
        """Standard uncertainty of the slope."""
        return float(np.sqrt(self.covariance[1, 1]))

    def predicted(self, x: float) -> tuple[float, float]:
        """Return the line's value at x and its standard uncertainty (JCGM 100:2008, H.3.4)."""
        gradient = np.array([1.0, x])
        return self.intercept + self.slope * x, float(np.sqrt(gradient @ self.covariance @ gradient))


def fit_line(x: Floats, y: Floats, u: Floats | None = None, from_scatter: bool = True) -> Line:
    """Fit a straight line by least squares.

    Parameters
    ----------
    x, y : array (points,)
        At least three points, at two different x or more.
    u : array (points,), optional
        Standard uncertainties of y; equal weights if left out.
    from_scatter : bool
        Whether the covariance is scaled by the scatter about the line (JCGM 100:2008, H.3) or rests on `u` alone
        (ISO/TS 28037:2010, clause 6).

    Returns
    -------
    Line

    Raises
    ------
    ValueError
        If there are fewer than three points, or all x are equal.
    """
    if len(x) < 3 or np.ptp(x) == 0:
        raise ValueError("a line with uncertainties needs three points at two different places")
    weights = np.ones(len(x)) if u is None else 1.0 / np.asarray(u, dtype=float) ** 2
    total = np.sum(weights)
    centre = float(np.sum(weights * x) / total)
    height = float(np.sum(weights * y) / total)
    spread = float(np.sum(weights * (x - centre) ** 2))
    slope = float(np.sum(weights * (x - centre) * (y - height)) / spread)
    residual = y - height - slope * (x - centre)
    chi_squared, dof = float(np.sum(weights * residual**2)), len(x) - 2
    scale = chi_squared / dof if from_scatter else 1.0
    slope_var, height_var = scale / spread, scale / total
    cross = -centre * slope_var
    covariance = np.array([[height_var + centre**2 * slope_var, cross], [cross, slope_var]])
    residual_std = float(np.sqrt(chi_squared / dof * len(x) / total))
    return Line(height - slope * centre, slope, covariance, residual_std, chi_squared, dof, residual)


def correlation_inflation(residual: Floats) -> float:
    """Return the factor, 1 or more, by which correlation from record to record widens the u of a fit's parameters.

    √((1 + ρ)/(1 − ρ)) for the lag-one correlation ρ where that stands out from 0 (first-order autoregression). About a
    fitted line ρ reads low by about (1 + 4ρ)/n, which is put back (the bias of a short series' ρ, from memory; checked
    by simulation).
    """
    if len(residual) < 8:
        return 1.0
    variance = float(np.sum(residual**2))
    if variance == 0:
        return 1.0
    rho = float(np.sum(residual[1:] * residual[:-1])) / variance
    if rho < 2 / np.sqrt(len(residual)):
        return 1.0
    rho = min(rho + (1 + 4 * rho) / len(residual), 0.95)
    return float(np.sqrt((1 + rho) / (1 - rho)))
