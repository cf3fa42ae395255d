"""Compiled band-limited interpolation between samples, and the weights of the samples in it.

Positions are in samples. Imported only inside functions: see `compiled`.
"""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.fit_kernels import Array

TAPS = 8
"""Half-length of the interpolating kernel, samples."""
OFFSETS = np.arange(1.0 - TAPS, 1.0 + TAPS)
"""Of the samples that an interpolation takes in, from the one before its place."""
SIGNS = np.where(OFFSETS % 2 == 0, 1.0, -1.0)
COSINES, SINES = np.cos(np.pi * OFFSETS / TAPS), np.sin(np.pi * OFFSETS / TAPS)


@kernel
def tap_weight(distance: float) -> float:
    """Return the interpolating kernel at a distance in samples: a sinc under a raised-cosine-squared window.

    Parameters
    ----------
    distance : float
        Samples.

    Returns
    -------
    float
        1 at distance 0, and 0 from `TAPS` samples on.
    """
    if abs(distance) >= TAPS:
        return 0.0
    window = np.cos(0.5 * np.pi * distance / TAPS) ** 2
    if abs(distance) < 1e-9:
        return 1.0
    return float(np.sin(np.pi * distance) / (np.pi * distance) * window)


@kernel
def tap_slope(distance: float) -> float:
    """Return the derivative of `tap_weight` by its distance.

    Parameters
    ----------
    distance : float
        Samples.

    Returns
    -------
    float
        Per sample, from a central difference.
    """
    step = 1e-4
    return (tap_weight(distance + step) - tap_weight(distance - step)) / (2 * step)


@kernel
def interpolated(values: Array, position: float) -> float:
    """Return the band-limited interpolation of `values` at a position in samples; the ends are held.

    Parameters
    ----------
    values : array (samples,)
    position : float
        Samples.

    Returns
    -------
    float
        In the unit of `values`.
    """
    nearest = int(np.floor(position))
    fraction = position - nearest
    if fraction == 0.0:
        return float(values[min(max(nearest, 0), len(values) - 1)])
    cosine, turn = np.cos(np.pi * fraction / TAPS), np.sin(np.pi * fraction / TAPS)
    total = 0.0
    norm = 0.0
    for j in range(2 * TAPS):
        weight = SIGNS[j] / (fraction - OFFSETS[j]) * (1.0 + cosine * COSINES[j] + turn * SINES[j])
        total += weight * values[min(max(nearest - TAPS + 1 + j, 0), len(values) - 1)]
        norm += weight
    # see `add_taps`; the sine that all weights share cancels
    return total / norm


@kernel
def add_taps(position: float, factor: float, weights: Array) -> None:
    """Add `factor` times the shares of the samples in the interpolation at `position`, see `tap_weights`.

    Parameters
    ----------
    position : float
        Samples.
    factor : float
    weights : array (samples,)
        Added to.

    With f the place after its sample j = 0, sin π(f − j) = ±sin πf, and cos π(f − j)/TAPS is that of a sum of two
    angles: three functions of angles in place of two for each tap.
    """
    nearest = int(np.floor(position))
    fraction = position - nearest
    if fraction == 0.0:
        weights[min(max(nearest, 0), len(weights) - 1)] += factor
        return
    # close to 1 the sine of what is left is exact, that of the fraction is not
    sine = np.sin(np.pi * min(fraction, 1.0 - fraction)) / (2.0 * np.pi)
    cosine, turn = np.cos(np.pi * fraction / TAPS), np.sin(np.pi * fraction / TAPS)
    for j in range(2 * TAPS):
        weight = SIGNS[j] * sine / (fraction - OFFSETS[j]) * (1.0 + cosine * COSINES[j] + turn * SINES[j])
        weights[min(max(nearest - TAPS + 1 + j, 0), len(weights) - 1)] += factor * weight


@kernel
def interpolated_slope(values: Array, position: float) -> float:
    """Return the slope of the interpolation, per sample.

    Parameters
    ----------
    values : array (samples,)
    position : float
        Samples.

    Returns
    -------
    float
        In the unit of `values` per sample, from a central difference.
    """
    step = 1e-3
    return (interpolated(values, position + step) - interpolated(values, position - step)) / (2 * step)


@kernel
def tap_weights(position: float, weights: Array, slope: bool) -> None:
    """Fill `weights` with the shares of the samples in the interpolation at `position`, or in its slope.

    Parameters
    ----------
    position : float
        Samples.
    weights : array (samples,)
        The shares are added to it; those of places beyond an end go to the sample at that end.
    slope : bool
        Whether the shares are those in the slope per sample, else those in the value.
    """
    if not slope:
        add_taps(position, 1.0, weights)
        return
    nearest = int(np.floor(position))
    for k in range(nearest - TAPS + 1, nearest + TAPS + 1):
        weights[min(max(k, 0), len(weights) - 1)] += tap_slope(position - k)
