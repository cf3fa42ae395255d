"""Sine fits with one frequency common to all channels and records."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MOST_SEARCHED = 64
"""The frequency search looks at this many traces at the most."""
CARRIES_SINE = 0.9
"""Share of a trace's variance that a sine must explain to be one."""
FEWEST_PERIODS = 1.5
ITERATIONS = 12


@dataclass(frozen=True)
class SineFit:
    """y = offset + amplitude·cos(2πf·(t − middle) − phase) for every record and channel, one f.

    Attributes
    ----------
    frequency, frequency_u : float
        Hertz.
    amplitude, phase, offset : array (records, channels)
        In the samples' unit; radians at the middle of the record.
    phase_variance : array (channels,)
        Of one record's phase, radians squared, mean over the records, from the fit's covariance.
    residual_rms : array (channels,)
        Standard deviation about the fit with three parameters a record taken off.
    explained : array (channels,)
        Share of the variance that the sine explains.
    """

    frequency: float
    frequency_u: float
    amplitude: Floats
    phase: Floats
    offset: Floats
    phase_variance: Floats
    residual_rms: Floats
    explained: Floats


def coarse_frequency(samples: Floats, sample_rate: float) -> float:
    """Return the frequency of the strongest line, hertz, from windowed spectra summed over traces.

    Parameters
    ----------
    samples : array (records, channels, samples)
    sample_rate : float
        Hertz.
    """
    traces = samples.reshape(-1, samples.shape[-1])
    traces = traces[np.unique(np.linspace(0, len(traces) - 1, min(MOST_SEARCHED, len(traces))).astype(int))]
    length = traces.shape[1]
    size = 4 * (1 << (length - 1).bit_length())
    centred = traces - np.mean(traces, axis=1, keepdims=True)
    scale = np.std(centred, axis=1, keepdims=True)
    centred /= np.where(scale > 1e-9 * np.max(np.abs(traces), initial=0.0), scale, np.inf)
    power = np.sum(np.abs(np.fft.rfft(centred * np.hanning(length), size)) ** 2, axis=0)
    lowest = max(1, int(size / length))
    peak = lowest + int(np.argmax(power[lowest:-1]))
    around = np.log(np.maximum(power[peak - 1 : peak + 2], np.finfo(float).tiny))
    bend = around[0] - 2 * around[1] + around[2]
    shift = 0.5 * (around[0] - around[2]) / bend if bend < 0 else 0.0
    return float((peak + shift) * sample_rate / size)


def fit_shared_frequency(samples: Floats, sample_rate: float, start: float | None = None) -> SineFit:
    """Fit sines of one common frequency by least squares (IEEE Std 1057's four-parameter fit, frequency shared).

    Parameters
    ----------
    samples : array (records, channels, samples)
        In the channels' units; at least eight samples.
    sample_rate : float
        Hertz.
    start : float, optional
        First guess, hertz; from `coarse_frequency` if left out.

    Returns
    -------
    SineFit
        Frequency by Gauss–Newton steps; for each step offset and both quadratures of every trace are eliminated, so
        that its cost is one product of the samples with five columns.
    """
    frequency = coarse_frequency(samples, sample_rate) if start is None else start
    length = samples.shape[-1]
    time = (np.arange(length) - (length - 1) / 2) / sample_rate
    weight = np.ones(samples.shape[1])
    information = 0.0
    for step in range(ITERATIONS):
        omega = 2 * np.pi * frequency
        fit = _linear_fit(samples, time, omega)
        weight = 1.0 / np.maximum(fit.variance, np.finfo(float).tiny)
        change, information = _frequency_step(fit, weight)
        frequency += change / (2 * np.pi)
        if step > 1 and abs(change) * time[-1] < 1e-11:
            break
    fit = _linear_fit(samples, time, 2 * np.pi * frequency)
    return _finished(fit, frequency, information, samples)


@dataclass(frozen=True)
class _LinearFit:
    """Coefficients of (cos, sin, 1) for each trace, and what a frequency step needs."""

    coefficients: Floats
    gram: Floats
    products: Floats
    variance: Floats


def _linear_fit(samples: Floats, time: Floats, omega: float) -> _LinearFit:
    cosine, sine = np.cos(omega * time), np.sin(omega * time)
    basis = np.stack([cosine, sine, np.ones_like(time), time * cosine, time * sine], axis=1)
    products = samples @ basis
    gram = basis.T @ basis
    coefficients = np.linalg.solve(gram[:3, :3], products[..., :3, None])[..., 0]
    energy = np.einsum("rcn,rcn->rc", samples, samples)
    residual = energy - np.einsum("rck,rck->rc", coefficients, products[..., :3])
    dof = samples.shape[0] * (samples.shape[-1] - 3)
    variance = np.maximum(np.sum(residual, axis=0), 0.0) / max(dof, 1)
    return _LinearFit(coefficients, gram, products, variance)


def _frequency_step(fit: _LinearFit, weight: Floats) -> tuple[float, float]:
    """Return the change of angular frequency, radians a second, and its information Σ d²/σ²."""
    a, b = fit.coefficients[..., 0], fit.coefficients[..., 1]
    # derivative by ω: t·(b·cos − a·sin), as coefficients of the columns (t·cos, t·sin)
    direction = np.stack([b, -a], axis=-1)
    inverse = np.linalg.inv(fit.gram[:3, :3])
    cross = fit.gram[:3, 3:]
    beyond = fit.gram[3:, 3:] - cross.T @ inverse @ cross
    left = fit.products[..., 3:] - fit.coefficients @ cross
    slope = np.einsum("rck,rck->rc", direction, left)
    curvature = np.einsum("rck,kl,rcl->rc", direction, beyond, direction)
    information = float(np.sum(curvature * weight))
    return float(np.sum(slope * weight)) / max(information, np.finfo(float).tiny), information


def _finished(fit: _LinearFit, frequency: float, information: float, samples: Floats) -> SineFit:
    a, b = fit.coefficients[..., 0], fit.coefficients[..., 1]
    amplitude = np.hypot(a, b)
    inverse = np.linalg.inv(fit.gram[:3, :3])
    spread = b**2 * inverse[0, 0] + a**2 * inverse[1, 1] - 2 * a * b * inverse[0, 1]
    phase_variance = fit.variance * np.mean(spread / np.maximum(amplitude, 1e-300) ** 4, axis=0)
    total = np.mean(np.var(samples, axis=-1), axis=0)
    explained = 1 - fit.variance / np.maximum(total, np.finfo(float).tiny)
    return SineFit(
        frequency=frequency,
        frequency_u=1 / (2 * np.pi * np.sqrt(information)) if information > 0 else 0.0,
        amplitude=amplitude,
        phase=np.arctan2(b, a),
        offset=fit.coefficients[..., 2],
        phase_variance=phase_variance,
        residual_rms=np.sqrt(fit.variance),
        explained=np.where(total > 0, explained, 0.0),
    )


def carries_sine(samples: Floats, sample_rate: float) -> bool:
    """Return whether most channels carry one common sine, judged on a few records (records, channels, samples)."""
    few = samples[np.unique(np.linspace(0, len(samples) - 1, min(8, len(samples))).astype(int))]
    if few.shape[-1] < 16:
        return False
    fit = fit_shared_frequency(few, sample_rate)
    if not 0 < fit.frequency < sample_rate / 2 or fit.frequency * few.shape[-1] / sample_rate < FEWEST_PERIODS:
        return False
    return bool(np.median(fit.explained) > CARRIES_SINE)
