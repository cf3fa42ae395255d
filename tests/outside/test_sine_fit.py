"""The shared-frequency sine fit against SciPy's general least squares."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from pulsewright_analysis.sine import fit_shared_frequency

SAMPLE_RATE = 1e6
FREQUENCY = 31.7e3


def traces(records: int, channels: int, noise: float) -> np.ndarray:
    """Return noisy sines (records, channels, 400) of one frequency, random phases, three amplitudes."""
    rng = np.random.default_rng(5)
    time = (np.arange(400) - 199.5) / SAMPLE_RATE
    phase = rng.uniform(0, 2 * np.pi, (records, channels, 1))
    amplitude = np.linspace(0.5, 1.5, channels)[None, :, None]
    clean = 0.1 + amplitude * np.cos(2 * np.pi * FREQUENCY * time - phase)
    return clean + noise * rng.standard_normal(clean.shape)


def model(time: np.ndarray, offset: float, amplitude: float, frequency: float, phase: float) -> np.ndarray:
    """Return the four-parameter sine."""
    return offset + amplitude * np.cos(2 * np.pi * frequency * time - phase)


def test_one_trace_equals_curve_fit():
    """Source: scipy.optimize.curve_fit on the same samples, same four parameters (IEEE Std 1057)."""
    samples = traces(1, 1, 0.05)
    time = (np.arange(400) - 199.5) / SAMPLE_RATE
    found = fit_shared_frequency(samples, SAMPLE_RATE)
    start = (found.offset[0, 0], found.amplitude[0, 0], FREQUENCY, found.phase[0, 0])
    best, covariance = curve_fit(model, time, samples[0, 0], p0=start)
    assert found.frequency == pytest.approx(best[2], rel=1e-7)
    assert found.offset[0, 0] == pytest.approx(best[0], abs=1e-6)
    assert found.amplitude[0, 0] == pytest.approx(best[1], abs=1e-6)
    assert found.phase[0, 0] == pytest.approx(best[3], abs=1e-6)
    assert found.frequency_u == pytest.approx(np.sqrt(covariance[2, 2]), rel=0.02)
    assert np.sqrt(found.phase_variance[0]) == pytest.approx(np.sqrt(covariance[3, 3]), rel=0.02)


def test_shared_frequency_equals_a_joint_curve_fit():
    """Source: scipy.optimize.curve_fit of two traces at once with one frequency."""
    samples = traces(1, 2, 0.05)
    time = (np.arange(400) - 199.5) / SAMPLE_RATE

    def joint(t: np.ndarray, f: float, *rest: float) -> np.ndarray:
        return np.concatenate([model(t, rest[3 * k], rest[3 * k + 1], f, rest[3 * k + 2]) for k in range(2)])

    found = fit_shared_frequency(samples, SAMPLE_RATE)
    start = [FREQUENCY]
    for k in range(2):
        start += [found.offset[0, k], found.amplitude[0, k], found.phase[0, k]]
    best, _ = curve_fit(joint, time, samples[0].ravel(), p0=start)
    assert found.frequency == pytest.approx(best[0], rel=1e-5)
    assert found.phase[0] == pytest.approx(best[[3, 6]], abs=2e-4)


def test_frequency_within_its_uncertainty():
    """Source: the traces were made at 31.7 kHz."""
    found = fit_shared_frequency(traces(20, 3, 0.1), SAMPLE_RATE)
    assert abs(found.frequency - FREQUENCY) < 3 * found.frequency_u
