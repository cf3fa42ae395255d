"""The mean trace against NumPy's mean and standard deviation of the same samples (source: NumPy)."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright.session import Channel, Session
from pulsewright_analysis.mean_trace import MeanTrace, session_means

INTERVAL = 1e-7


def test_records_in_step_give_numpys_mean_and_deviation() -> None:
    codes = np.random.default_rng(1).integers(-3000, 3000, (40, 500)).astype(np.int16)
    trace = MeanTrace(-1e-5, INTERVAL, 500)
    for first in range(0, 40, 7):
        block = codes[first : first + 7]
        trace.add(block, np.full(len(block), -1e-5))
    mean = trace.mean(2e-4, 0.1)
    np.testing.assert_allclose(mean.value, codes.mean(axis=0) * 2e-4 + 0.1)
    np.testing.assert_allclose(mean.deviation, codes.std(axis=0, ddof=1) * 2e-4)
    assert mean.records == 40


def test_a_large_offset_does_not_eat_the_scatter() -> None:
    random = np.random.default_rng(2)
    values = 1e9 + random.normal(0.0, 1e-3, (200, 50))
    trace = MeanTrace(0.0, INTERVAL, 50)
    trace.add(values, np.zeros(200))
    np.testing.assert_allclose(trace.mean().deviation, values.std(axis=0, ddof=1), rtol=1e-3)


def test_each_sample_counts_for_the_nearest_point() -> None:
    """A ramp of 1 a sample, three records that begin 0, 2.4 and 2.6 samples late: whole samples are taken off."""
    ramp = np.arange(20, dtype=np.int16)
    trace = MeanTrace(0.0, INTERVAL, 20)
    trace.add(np.stack([ramp] * 3), np.array([0.0, 2.4, 2.6]) * INTERVAL)
    mean = trace.mean()
    assert mean.value[10] == pytest.approx((10 + 8 + 7) / 3)
    assert mean.value[1] == pytest.approx(1.0)  # only the first record reaches there
    assert np.isnan(mean.deviation[1])


def test_points_that_no_record_reaches_have_no_mean() -> None:
    trace = MeanTrace(0.0, INTERVAL, 10)
    trace.add(np.ones((2, 4), dtype=np.int16), np.array([8.0, 100.0]) * INTERVAL)
    assert np.isfinite(trace.mean().value).tolist() == [False] * 8 + [True] * 2


def test_a_grid_needs_points() -> None:
    with pytest.raises(ValueError, match="no mean over 0 points"):
        MeanTrace(0.0, INTERVAL, 0)


def test_a_record_with_a_sample_that_is_no_number_takes_no_part() -> None:
    values = np.random.default_rng(3).normal(size=(20, 30))
    whole = np.arange(20) != 4
    values[4, 7] = np.nan
    trace = MeanTrace(0.0, INTERVAL, 30)
    trace.add(values, np.zeros(20))
    assert trace.mean().records == 19
    np.testing.assert_allclose(trace.mean().value, values[whole].mean(axis=0))


def test_a_session_has_a_mean_for_each_channel_without_what_is_left_out() -> None:
    codes = np.random.default_rng(5).integers(-900, 900, (23, 3, 40)).astype(np.int16)
    session = Session.from_samples(codes, [Channel(f"H{c}", "M1", scale=0.5) for c in range(3)], 1e6, 10)
    told: list[int] = []
    means = session_means(session, {4, 22, 99}, so_far=lambda records, _: told.append(records))
    kept = np.delete(codes, [4, 22], axis=0)
    for channel, mean in enumerate(means):
        np.testing.assert_allclose(mean.value, kept[:, channel].mean(axis=0))
        assert mean.records == 21
    assert told[-1] == 23


def test_means_that_are_cancelled_hold_nothing_more() -> None:
    session = Session.from_samples(np.ones((5, 1, 8), np.int16), [Channel("H1", "M1")], 1e6)
    assert session_means(session, cancelled=lambda: True)[0].records == 0
