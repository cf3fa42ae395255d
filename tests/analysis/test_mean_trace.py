"""The mean trace against NumPy's mean and standard deviation of the same samples (source: NumPy)."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright_analysis.mean_trace import MeanTrace

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
