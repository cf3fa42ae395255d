"""Whether pulses of the trade's shapes keep what their u promises; 600 records a cell show 95 % to about 1 %."""

import math

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.settings import Settings, layered
from pulsewright_analysis.levels import measure_levels
from pulsewright_analysis.pulses import measure_pulses

RECORDS = 600
HALF = math.sqrt(2 * math.log(2))


def measured(clean, noise, seed=1, **options):
    """Return the pulses of (records, samples) volts in white noise, one sample a second."""
    rng = np.random.default_rng(seed)
    volts = clean + noise * rng.standard_normal(clean.shape)
    assert np.max(np.abs(volts)) < 1.6
    codes = np.round(volts / 5e-5).astype(np.int16)[:, None, :]
    channel = Channel("H01", "M1", scale=5e-5)
    session = Session.from_samples(codes, [channel], 1.0, 0, trigger_offset=np.zeros(len(volts)))
    records = np.arange(len(volts))
    settings = layered(option=options) if options else Settings()
    return measure_pulses(session, [0], records, measure_levels(session, [0], records), settings)


def centres(length, records=RECORDS, seed=9):
    """Return middles anywhere between two samples, and time from them."""
    middle = length / 2 + np.random.default_rng(seed).uniform(-0.5, 0.5, records)
    return middle, np.arange(length) - middle[:, None]


def share_within(error, u, factor=1.96):
    """Return the share of errors inside their interval; every one must be known."""
    assert np.all(np.isfinite(error))
    assert np.all(u > 0)
    return np.mean(np.abs(error) < factor * u)


@pytest.mark.parametrize("noise", [10**-1.5, 0.01])
@pytest.mark.parametrize("width", [20, 300])
def test_square_pulses(width, noise):
    """An edge between two samples is uniform there: the interval of the midpoint, ±1.65 u, holds 95 % of its errors."""
    middle, time = centres(256 + 3 * width)
    pulses = measured((np.abs(time) < width / 2).astype(float), noise)
    assert len(pulses) == RECORDS
    assert 0.92 < share_within(pulses.amplitude - 1, pulses.amplitude_u) < 0.98
    assert 0.92 < share_within(pulses.times["midpoint"] - middle, pulses.times_u["midpoint"], 1.65) < 0.98
    assert share_within(pulses.width - width, pulses.width_u) > 0.92
    assert np.all(np.isnan(pulses.rise))
    assert np.all(np.isnan(pulses.overshoot))


@pytest.mark.parametrize(("width", "ramp"), [(60, 10), (40, 20), (300, 40)])
def test_trapezoids(width, ramp):
    middle, time = centres(256 + 4 * width)
    clean = np.clip((time + width / 2) / ramp + 0.5, 0, 1) * np.clip((width / 2 - time) / ramp + 0.5, 0, 1)
    pulses = measured(clean, 0.01)
    assert 0.92 < share_within(pulses.amplitude - 1, pulses.amplitude_u) < 0.98
    assert 0.92 < share_within(pulses.times["midpoint"] - middle, pulses.times_u["midpoint"]) < 0.98
    assert 0.92 < share_within(pulses.width - width, pulses.width_u) < 0.98
    assert 0.92 < share_within(pulses.rise - 0.8 * ramp, pulses.rise_u) < 0.985
    assert 0.92 < share_within(pulses.fall - 0.8 * ramp, pulses.fall_u) < 0.985
    assert share_within(pulses.overshoot, pulses.overshoot_u) > 0.92


def test_bipolar_pulses_by_their_first_lobe():
    middle, time = centres(400)
    clean = np.exp(-(((time + 12) / 6) ** 2)) - np.exp(-(((time - 12) / 6) ** 2))
    pulses = measured(clean, 0.01, polarity_rule="first")
    assert np.all(pulses.polarity == 1)
    assert 0.92 < share_within(pulses.amplitude - 1, pulses.amplitude_u) < 0.98
    assert 0.92 < share_within(pulses.times["midpoint"] - middle + 12, pulses.times_u["midpoint"]) < 0.98
    assert 0.92 < share_within(pulses.width - 2 * HALF * 6 / math.sqrt(2), pulses.width_u) < 0.98


@pytest.mark.parametrize("tau", [8.0, 30.0])
def test_exponential_pulses_that_begin_between_two_samples(tau):
    """Where it begins is uniform between two samples, and so is most of what is not known of its width."""
    middle, time = centres(int(512 + 20 * tau))
    pulses = measured(np.where(time >= 0, np.exp(-np.maximum(time, 0) / tau), 0.0), 0.01)
    assert 0.92 < share_within(pulses.amplitude - 1, pulses.amplitude_u) < 0.98
    assert 0.92 < share_within(pulses.times["leading"] - middle, pulses.times_u["leading"], 1.65) < 0.98
    assert share_within(pulses.width - tau * math.log(2), pulses.width_u) > 0.92


@pytest.mark.parametrize("sigma", [2.0, 4.25, 12.7])
def test_transitions_of_gaussian_pulses(sigma):
    _, time = centres(int(256 + 24 * sigma))
    pulses = measured(np.exp(-((time / sigma) ** 2) / 2), 0.01)
    for value, u in ((pulses.rise, pulses.rise_u), (pulses.fall, pulses.fall_u)):
        assert 0.92 < share_within(value - 1.6869 * sigma, u) < 0.985


@pytest.mark.parametrize("period", [700, 1000, 2000])
@pytest.mark.parametrize("length", [512, 2000])
def test_pulses_on_hum(length, period):
    """Hum of 0.2 V under pulses of 1 V and ten samples at 40 dB, at any phase."""
    middle, time = centres(length)
    phase = np.random.default_rng(4).uniform(0, 2 * np.pi, (RECORDS, 1))
    clean = np.exp(-((time / 4.25) ** 2) / 2) + 0.2 * np.sin(2 * np.pi * np.arange(length) / period + phase)
    pulses = measured(clean, 0.01)
    assert len(pulses) == RECORDS
    for name in ("midpoint", "centroid", "peak"):
        assert 0.92 < share_within(pulses.times[name] - middle, pulses.times_u[name]) < 0.98, name
    assert 0.92 < share_within(pulses.amplitude - 1, pulses.amplitude_u) < 0.985


@pytest.mark.parametrize("slope", [0.3, 0.5])
def test_pulses_on_a_slope(slope):
    middle, time = centres(600)
    pulses = measured(np.exp(-((time / 4.25) ** 2) / 2) + slope * np.linspace(-0.5, 0.5, 600), 0.01)
    assert len(pulses) == RECORDS
    assert 0.92 < share_within(pulses.times["midpoint"] - middle, pulses.times_u["midpoint"]) < 0.98
    assert 0.92 < share_within(pulses.amplitude - 1, pulses.amplitude_u) < 0.985


def test_drift_from_record_to_record_hides_no_pulse():
    middle, time = centres(1000)
    drift = np.linspace(-0.25, 0.25, RECORDS)[:, None]
    pulses = measured(np.exp(-((time / 4.25) ** 2) / 2) + drift, 0.01)
    assert np.array_equal(pulses.record, np.arange(RECORDS))
    assert 0.92 < share_within(pulses.times["midpoint"] - middle, pulses.times_u["midpoint"]) < 0.98


@pytest.mark.parametrize("apart", [3.0, 4.0, 5.0, 6.0, 8.0])
def test_neighbours_that_overlap_are_two(apart):
    """Two Gaussian pulses that many σ apart, 1 V and 0.8 V: two, and no position that their overlap has falsified."""
    sigma = 6.0
    middle, time = centres(400, 200)
    half = apart * sigma / 2
    clean = np.exp(-(((time + half) / sigma) ** 2) / 2) + 0.8 * np.exp(-(((time - half) / sigma) ** 2) / 2)
    pulses = measured(clean, 0.01)
    assert np.array_equal(np.bincount(pulses.record), np.full(200, 2))
    truth = middle[pulses.record] + np.where(pulses.order == 0, -half, half)
    assert np.max(np.abs(pulses.extreme_sample - truth)) < 4
    assert np.all(pulses.ambiguous) == (apart == 3.0)
    for name in ("midpoint", "centroid", "peak"):
        known = np.isfinite(pulses.times[name])
        error = (pulses.times[name] - truth)[known]
        assert np.mean(np.abs(error) < 1.96 * pulses.times_u[name][known]) > 0.92 if np.any(known) else apart < 6


@pytest.mark.parametrize("beyond", [-4, -2, 0, 4, 10])
def test_no_amplitude_of_a_top_outside_the_record(beyond):
    time = np.arange(400.0)
    cut = np.exp(-(((time - 399 - beyond) / 8) ** 2) / 2)
    pulses = measured(np.stack([cut, cut[::-1]] * 20), 0.01)
    assert np.all(pulses.cut)
    assert np.all(np.isnan(pulses.amplitude))
    for times in pulses.times.values():
        assert np.all(np.isnan(times))
