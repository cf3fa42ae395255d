"""The expected range of normal draws. Source: control-chart tables (d₂)."""

import pytest

from pulsewright_analysis.jitter import expected_range


@pytest.mark.parametrize(("count", "d2"), [(10, 3.078), (25, 3.931), (100, 5.015)])
def test_expected_range(count, d2):
    assert expected_range(count) == pytest.approx(d2, abs=6e-4)
