"""Weighted straight lines with the uncertainty of slope and intercept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST_TO_CORRELATE = 8
MOST_CORRELATION = 0.98


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
        """Return the line's value at x and its standard uncertainty (JCGM 100:2008, H.3.4).

        Parameters
        ----------
        x : float
            Where the line is read, in the unit of the fitted x.

        Returns
        -------
        value, u : float
            In the unit of the fitted y.
        """
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


@dataclass(frozen=True)
class CorrelatedU:
    """Uncertainty of a line's parameters where residuals are alike from record to record.

    Attributes
    ----------
    intercept_u, slope_u : float
    dof : float
        Of the independent residuals that as many correlated ones are worth.
    correlation : float
        Of neighbouring residuals; 0 where it does not stand out.
    """

    intercept_u: float
    slope_u: float
    dof: float
    correlation: float


def correlated_u(x: Floats, line: Line) -> CorrelatedU:
    """Return the uncertainty of intercept and slope with the residuals' correlation taken into account.

    Parameters
    ----------
    x : array (points,)
        In the order in which the points were recorded; the residuals of `line` belong to them.
    line : Line
        Fitted to these points.

    Returns
    -------
    CorrelatedU
        A stage's errors walk: residuals of neighbouring records are alike. With a first-order autoregression Γ of
        correlation ρ, corrected for its bias in short series (Kendall 1954, from memory), the covariance is
        σ²·(XᵀX)⁻¹XᵀΓX(XᵀX)⁻¹ with σ² = Σr²/(n − tr HΓ): a walk that starts over every few records suffers less than
        one that never does. Fewer than eight points cannot tell, and are taken as independent.
    """
    residual, count = line.residual, len(line.residual)
    plain = CorrelatedU(line.intercept_u, line.slope_u, float(line.dof), 0.0)
    power = float(np.sum(residual**2))
    if count < FEWEST_TO_CORRELATE or power == 0:
        return plain
    seen = float(np.sum(residual[1:] * residual[:-1])) / power
    rho = min((count * seen + 2) / (count - 4), MOST_CORRELATION)
    if seen < 1.5 / np.sqrt(count) or rho <= 0:
        return plain
    design = np.stack([np.ones(count), x], axis=1)
    inverse = np.linalg.inv(design.T @ design)
    middle = design.T @ np.stack([_smeared(design[:, k], rho) for k in range(2)], axis=1)
    variance = power / max(count - float(np.trace(inverse @ middle)), 1.0)
    covariance = variance * inverse @ middle @ inverse
    worth = count * (1 - rho) / (1 + rho)
    return CorrelatedU(
        max(float(np.sqrt(covariance[0, 0])), line.intercept_u * 0.5),
        float(np.sqrt(covariance[1, 1])),
        max(worth - 2, 1.0),
        rho,
    )


def _smeared(values: Floats, rho: float) -> Floats:
    """Return Γ·values for Γᵢₖ = ρ^|i−k|, in one pass forward and one back."""
    forward, backward = values.astype(float), values.astype(float)
    for i in range(1, len(values)):
        forward[i] += rho * forward[i - 1]
        backward[-1 - i] += rho * backward[-i]
    result: Floats = forward + backward - values
    return result
