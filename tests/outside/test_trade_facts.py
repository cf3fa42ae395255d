"""What practitioners of repetitive-trigger recording take for granted."""

import math

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright_analysis.findings import measure
from pulsewright_analysis.markers import difference, u_by_hand


def ten_pulses() -> Session:
    """Return one record of 5 ms with ten equal pulses 60 µs apart, 2 MS/s, in noise of 5 mV."""
    sample_rate = 2e6
    time = np.arange(10_000) / sample_rate
    volts = sum(np.exp(-(((time - 1e-3 - k * 60e-6) / 4e-6) ** 2) / 2) for k in range(10))
    volts = volts + 0.005 * np.random.default_rng(3).standard_normal(len(time))
    codes = np.round(volts / 1e-4).astype(np.int16)[None, None, :]
    return Session.from_samples(codes, [Channel("H01", "M1", scale=1e-4)], sample_rate, 0, trigger_offset=np.zeros(1))


def test_duration_of_a_record():
    """Common practice, no source: at 25 MS/s 25,600 samples last 1.024 ms."""
    session = Session.from_samples(np.zeros((1, 1, 25_600), np.int16), [Channel("H01", "M1")], 25e6, 0)
    assert session.record_duration == pytest.approx(1.024e-3, rel=1e-12)


def test_ten_pulses_span_nine_intervals():
    """Common practice, no source: ten equal pulses 60 µs apart span nine intervals, 540 µs."""
    pulses = measure(ten_pulses()).pulses
    assert len(pulses) == 10
    span = difference(pulses.time[0], pulses.time_u[0], pulses.time[9], pulses.time_u[9], intervals=9)
    assert abs(span.delta.value - 540e-6) < 3 * span.delta.u
    assert abs(span.per_interval.value - 60e-6) < 3 * span.per_interval.u
    assert span.delta.u < 0.1e-6


def test_hand_reading_on_a_display():
    """Common practice, no source: 542 µs read by hand on a 5 ms display of about 1,000 pixels agrees with 540 µs."""
    u = u_by_hand(5e-3 / 1000, 1 / 25e6)
    reading = difference(0.0, u, 542e-6, u)
    low, high = reading.delta.interval95
    assert low < 540e-6 < high
    assert reading.delta.u == pytest.approx(math.sqrt(2) * 5e-6 / math.sqrt(12))


def test_a_reading_that_is_off_by_more_than_it_can_be_is_not_consistent():
    """Common practice, no source: the same display does not excuse 560 µs for 540 µs."""
    u = u_by_hand(5e-3 / 1000, 1 / 25e6)
    low, _ = difference(0.0, u, 560e-6, u).delta.interval95
    assert low > 540e-6
