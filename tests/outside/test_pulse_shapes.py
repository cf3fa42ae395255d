"""Pulse widths and positions against shapes whose answers are algebra."""

import math

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright_analysis.findings import measure

SAMPLE_RATE = 10e6
SIGMA = 2e-6
CENTRE = 40.123e-6


def gaussian_session(noise: float, records: int, seed: int = 11) -> Session:
    """Return records of one Gaussian pulse of 1 V in white noise, trigger timed exactly."""
    time = np.arange(1000) / SAMPLE_RATE
    clean = np.exp(-((time - CENTRE) ** 2) / (2 * SIGMA**2))
    rng = np.random.default_rng(seed)
    volts = clean + noise * rng.standard_normal((records, 1, len(time)))
    codes = np.round(volts / 1e-4).astype(np.int16)
    channel = Channel("H01", "M1", scale=1e-4)
    return Session.from_samples(codes, [channel], SAMPLE_RATE, 0, trigger_offset=np.zeros(records))


def test_width_and_positions_of_a_gaussian_pulse():
    """Source: algebra; width at 50 % = 2√(2 ln 2)·σ, every position but the leading crossing at the centre."""
    pulses = measure(gaussian_session(0.002, 200)).pulses
    assert len(pulses) == 200
    width = 2 * math.sqrt(2 * math.log(2)) * SIGMA
    truth = {"midpoint": CENTRE, "centroid": CENTRE, "peak": CENTRE, "leading": CENTRE - width / 2}
    assert np.mean(pulses.width) == pytest.approx(
        width, abs=4 * np.mean(pulses.width_u) / math.sqrt(200) + 1e-3 * width
    )
    for name, expected in truth.items():
        error = (pulses.times[name] - expected) / pulses.times_u[name]
        inside = np.mean(np.abs(error) < 1.96)
        assert abs(np.mean(error)) < 0.5, name
        assert 0.88 < inside < 0.99, (name, inside)


def test_amplitude_is_not_biased_by_noise():
    """Source: the pulse was made with an amplitude of 1 V; the largest noisy sample would read above it."""
    pulses = measure(gaussian_session(0.03, 400)).pulses
    assert np.mean(pulses.amplitude) == pytest.approx(1.0, abs=5 * 0.03 / math.sqrt(400) + 1e-3)


def test_noise_of_the_base():
    """Source: the noise was made with a standard deviation of 30 mV."""
    findings = measure(gaussian_session(0.03, 50))
    noise = findings.health[0].noise_rms
    assert noise is not None
    assert noise.interval95[0] < math.hypot(0.03, 1e-4 / math.sqrt(12)) < noise.interval95[1]
