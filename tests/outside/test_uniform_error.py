"""Markers and untimed triggers carry the uncertainty of a uniform error."""

import math

import numpy as np
import pytest
import uncertainties
from scipy import stats

from pulsewright import Channel, Session
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.markers import difference, u_by_hand, u_on_sample


def test_uniform_error_of_width_a():
    """Source: JCGM 100:2008, 4.3.7: u = a/√12 for an error uniform over a width a."""
    assert u_on_sample(40e-9) == pytest.approx(40e-9 / math.sqrt(12))
    assert u_by_hand(5e-6, 40e-9) == pytest.approx(stats.uniform(0, 5e-6).std())
    assert u_by_hand(1e-9, 40e-9) == pytest.approx(stats.uniform(0, 40e-9).std())


def test_interval_of_a_uniform_error_is_its_own():
    """Source: scipy.stats.uniform's central 95 %, and scipy.stats.norm's."""
    u = np.array([stats.uniform(-1, 2).std()])
    assert half_width_95(u, u)[0] == pytest.approx(stats.uniform(-1, 2).interval(0.95)[1], rel=1e-6)
    assert half_width_95(u, 0.0)[0] == pytest.approx(stats.norm(0, u[0]).interval(0.95)[1], rel=1e-6)


def test_untimed_trigger():
    """Source: JCGM 100:2008, 4.3.7: an offset somewhere in [0, Ts) is Ts/2 with u = Ts/√12."""
    session = Session.from_samples(np.zeros((2, 1, 10), np.int16), [Channel("H01", "M1")], 1e6, 4)
    assert session.trigger_u(0) == pytest.approx([1e-6 / math.sqrt(12)] * 2)
    assert session.first_sample_time(0) == pytest.approx([-4e-6 + 0.5e-6] * 2)


def test_marker_difference_against_the_uncertainties_package():
    """Source: PyPI package `uncertainties` (first-order propagation)."""
    first, second = uncertainties.ufloat(12e-6, 0.3e-6), uncertainties.ufloat(554e-6, 0.4e-6)
    expected = second - first
    found = difference(12e-6, 0.3e-6, 554e-6, 0.4e-6, intervals=9)
    assert (found.delta.value, found.delta.u) == pytest.approx((expected.n, expected.s))
    assert found.rate is not None
    assert (found.rate.value, found.rate.u) == pytest.approx(((1 / expected).n, (1 / expected).s))
    assert (found.per_interval.value, found.per_interval.u) == pytest.approx(((expected / 9).n, (expected / 9).s))
