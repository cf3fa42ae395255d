"""The crossing of a level that lies nearest to a time, for a marker that is put on it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Findings, Floats

TAPS = 8
"""Half-length of the band-limited interpolation, samples; as in `interpolation_kernels`."""
_HALVINGS = 50


def mid_level(findings: Findings, record: int, channel: int, time: float) -> Quantity | None:
    """Return the mid reference level of the pulse nearest to a time (IEEE Std 181: halfway between base and top).

    Parameters
    ----------
    findings : Findings
    record, channel : int
        Where the pulse is.
    time : float
        Seconds from the record's trigger.

    Returns
    -------
    Quantity or None
        In the channel's unit; None where no pulse with a known amplitude and position was found.
    """
    if channel not in findings.channels:
        return None
    pulses, place = findings.pulses, findings.channels.index(channel)
    there = pulses.where(record, channel)
    there = there[np.isfinite(pulses.time[there]) & np.isfinite(pulses.amplitude[there])]
    if not len(there):
        return None
    nearest = there[np.argmin(np.abs(pulses.time[there] - time))]
    base, base_u = float(findings.levels.offset[place]), float(findings.levels.offset_u[place])
    value = base + float(pulses.amplitude[nearest]) / 2
    return Quantity(value, math.hypot(base_u, float(pulses.amplitude_u[nearest]) / 2))


def nearest_crossing(
    values: Floats, level: Quantity, place: float, reach: float, autocovariance: Floats
) -> Quantity | None:
    """Return where a record crosses a level, nearest to a place.

    Parameters
    ----------
    values : array (samples,)
        In the level's unit; NaN where a sample is clipped.
    level : Quantity
        The level with its standard uncertainty.
    place, reach : float
        Where to look, and how far to both sides; samples.
    autocovariance : array (lags,)
        Of the noise, lag 0 first, in the unit squared.

    Returns
    -------
    Quantity or None
        The crossing of the band-limited interpolation, in samples: u² = (wᵀCw + u(level)²)/slope², with w the weights
        of the samples in the interpolated value and C the noise's covariance (JCGM 100:2008, 5.2.2). None where there
        is no crossing in reach, where clipped samples take part, or where u would exceed a sample, so that the noise
        by itself crosses the level again and again.
    """
    low, high = max(math.floor(place - reach), 0), min(math.ceil(place + reach), len(values) - 1)
    above = values[low : high + 1] > level.value
    found = [_crossing(values, level, low + int(i), autocovariance) for i in np.flatnonzero(above[1:] != above[:-1])]
    near = [one for one in found if one is not None and abs(one.value - place) <= reach]
    return min(near, key=lambda one: abs(one.value - place)) if near else None


def _crossing(values: Floats, level: Quantity, before: int, autocovariance: Floats) -> Quantity | None:
    """Return the crossing between a sample and the next one."""
    taps = np.arange(before - TAPS, before + TAPS + 2)
    around = values[np.clip(taps, 0, len(values) - 1)]
    if not np.isfinite(around).all():
        return None
    rising = around[TAPS + 1] > level.value
    left, right = float(before), float(before + 1)
    for _ in range(_HALVINGS):
        middle = (left + right) / 2
        if (_weights(middle - taps) @ around > level.value) == rising:
            right = middle
        else:
            left = middle
    position, step = (left + right) / 2, 1e-4
    weights = _weights(position - taps)
    slope = float((_weights(position + step - taps) - _weights(position - step - taps)) @ around) / (2 * step)
    lags = np.abs(taps[:, None] - taps)
    known = np.append(autocovariance, 0.0)
    covariance = known[np.minimum(lags, len(known) - 1)]
    variance = float(weights @ covariance @ weights) + level.u**2
    if slope == 0 or variance > slope**2:
        return None
    return Quantity(position, math.sqrt(max(variance, 0.0)) / abs(slope), "")


def _weights(distance: NDArray[Any]) -> Floats:
    """Return the interpolating kernel, a sinc under a raised-cosine-squared window, made to add up to 1."""
    window = np.where(np.abs(distance) < TAPS, np.cos(0.5 * np.pi * distance / TAPS) ** 2, 0.0)
    weights = np.sinc(distance) * window
    scaled: Floats = weights / weights.sum()
    return scaled
