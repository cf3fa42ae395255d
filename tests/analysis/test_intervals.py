"""Coverage of intervals for an error that is partly uniform, against drawn errors and the guide."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pulsewright_analysis.intervals import half_width_95


def test_the_ends_are_the_normal_and_the_uniform_factor() -> None:
    # JCGM 100:2008, table G.2: 1.96 for 95 % and no limit on the degrees of freedom; 4.3.7: 0.95·√3 = 1.645
    half = half_width_95(np.array([1.0, 1.0]), np.array([0.0, 1.0]))
    assert half == pytest.approx([1.960, 1.645], abs=5e-4)


@pytest.mark.parametrize("normal_u", [2.0, 1.0, 0.25, 0.1, 0.02])
def test_95_percent_of_drawn_errors_lie_within(normal_u: float) -> None:
    count = 400_000
    draws = np.random.default_rng(5)
    errors = draws.uniform(-math.sqrt(3), math.sqrt(3), count) + draws.normal(0, normal_u, count)
    half = half_width_95(np.array([math.hypot(1.0, normal_u)]), np.array([1.0]))[0]
    # five standard deviations of a counted share
    assert np.mean(np.abs(errors) < half) == pytest.approx(0.95, abs=5 * math.sqrt(0.95 * 0.05 / count))


def test_nan_and_zero_stay_what_they_are() -> None:
    half = half_width_95(np.array([math.nan, 0.0]), 0.0)
    assert math.isnan(half[0])
    assert half[1] == 0
