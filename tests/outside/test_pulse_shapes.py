"""Pulse widths and positions against shapes whose answers are algebra."""

import math

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.settings import Settings
from pulsewright_analysis.findings import measure
from pulsewright_analysis.levels import measure_levels
from pulsewright_analysis.pulses import measure_pulses

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


def pulses_of_shape(shape, length: int, noise: float = 1e-4, records: int = 20):
    """Return the pulses of records of a shape of 1 V given over samples, its middle anywhere between two samples."""
    rng = np.random.default_rng(5)
    middle = length / 2 + rng.uniform(-0.5, 0.5, records)
    volts = shape(np.arange(length) - middle[:, None]) + noise * rng.standard_normal((records, length))
    session = Session.from_samples(volts[:, None, :], [Channel("H01", "M1")], 1.0, 0, trigger_offset=np.zeros(records))
    everything = np.arange(records)
    return measure_pulses(session, [0], everything, measure_levels(session, [0], everything), Settings())


def returning(step, width: float):
    """Return a pulse of that width made of a step and the same step turned over."""
    return lambda time: step(time + width / 2) - step(time - width / 2)


@pytest.mark.parametrize("sigma", [2.0, 5.0, 20.0])
def test_transitions_of_a_gaussian_pulse(sigma):
    """Source: algebra; √(2 ln 10) − √(2 ln(1/0.9)) = 1.6869 σ from 10 % to 90 % on either side."""
    pulses = pulses_of_shape(lambda t: np.exp(-((t / sigma) ** 2) / 2), int(300 + 20 * sigma))
    assert pulses.rise == pytest.approx(np.full(20, 1.6869 * sigma), rel=4e-3)
    assert pulses.fall == pytest.approx(np.full(20, 1.6869 * sigma), rel=4e-3)
    assert np.all(np.isnan(pulses.overshoot))


def test_transitions_of_a_one_pole_step():
    """Source: algebra; ln 9 time constants from 10 % to 90 %, ln 2 from the start to 50 %."""
    tau = 30.0
    step = returning(lambda t: np.where(t > 0, 1 - np.exp(-np.maximum(t, 0) / tau), 0), 900)
    pulses = pulses_of_shape(step, 4000, 1e-3)
    assert pulses.rise == pytest.approx(np.full(20, math.log(9) * tau), rel=1e-2)
    assert pulses.fall == pytest.approx(np.full(20, math.log(9) * tau), rel=1e-2)
    assert pulses.width == pytest.approx(np.full(20, 900.0), abs=0.3)
    assert pulses.amplitude == pytest.approx(np.ones(20), abs=1e-3)


def test_transitions_of_a_gaussian_filtered_step():
    """Source: tables of the normal distribution; 2 · 1.28155 σ from 10 % to 90 %."""
    from scipy.special import ndtr

    pulses = pulses_of_shape(returning(lambda t: ndtr(t / 8.0), 200), 1200)
    assert pulses.rise == pytest.approx(np.full(20, 2.5631 * 8), rel=2e-3)
    assert pulses.fall == pytest.approx(np.full(20, 2.5631 * 8), rel=2e-3)


@pytest.mark.parametrize(("damping", "share"), [(0.5, 0.1630), (0.2, 0.5266)])
def test_overshoot_of_a_second_order_step(damping, share):
    """Source: algebra; exp(−πζ/√(1 − ζ²)) of the step, and the state that it settles to is the step."""
    natural = 0.2
    damped = natural * math.sqrt(1 - damping**2)

    def step(time):
        late = np.maximum(time, 0)
        ring = np.cos(damped * late) + damping / math.sqrt(1 - damping**2) * np.sin(damped * late)
        return np.where(time > 0, 1 - np.exp(-damping * natural * late) * ring, 0)

    pulses = pulses_of_shape(returning(step, 600), 3000, 1e-3)
    assert len(pulses) == 20
    assert pulses.overshoot == pytest.approx(np.full(20, share), abs=5e-3)
    assert np.all(np.abs(pulses.amplitude - 1) < 4 * pulses.amplitude_u)
    assert np.max(pulses.amplitude_u) < 5e-4
    assert pulses.width == pytest.approx(np.full(20, 600.0), abs=0.1)


def test_widths_are_those_of_another_implementation():
    """Source: scipy.signal.peak_widths at half height, on the same samples without noise."""
    from scipy.signal import find_peaks, peak_widths

    time = np.arange(1200.0)
    clean = np.exp(-(((time - 300.3) / 20) ** 2) / 2) + 0.6 * np.exp(-(((time - 800.7) / 15) ** 2) / 2)
    session = Session.from_samples(clean[None, None, :], [Channel("H01", "M1")], 1.0, 0, trigger_offset=np.zeros(1))
    pulses = measure(session).pulses
    places, _ = find_peaks(clean, height=0.3)
    widths = peak_widths(clean, places, rel_height=0.5)[0]
    assert pulses.width == pytest.approx(widths, rel=2e-3)
