"""A level crossing for a marker. Sources: algebra on a sine, and SciPy's root finding on its Fourier interpolation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from pulsewright.quantity import Quantity
from pulsewright_analysis.crossings import nearest_crossing

PERIOD = 40.0
LENGTH = 400
WHITE = np.array([1.0, 0.0])


def sine(at: np.ndarray) -> np.ndarray:
    return 100.0 * np.sin(2 * np.pi * np.asarray(at) / PERIOD)


@pytest.mark.parametrize("level", [0.0, 30.0, -71.0])
@pytest.mark.parametrize("place", [121.0, 141.0])
def test_the_crossing_of_a_sine_is_where_algebra_has_it(level: float, place: float) -> None:
    rising = PERIOD / (2 * np.pi) * np.arcsin(level / 100.0)
    true = 120.0 + rising if place < 130 else 140.0 - rising
    found = nearest_crossing(sine(np.arange(LENGTH)), Quantity(level, 0.0), place, 8.0, WHITE)
    assert found is not None
    assert found.value == pytest.approx(true, abs=2e-3)


def test_it_is_where_the_root_finder_has_it_on_a_band_limited_pulse() -> None:
    """A sum of low harmonics is its own Fourier interpolation; brentq finds the root."""
    random = np.random.default_rng(8)
    size, phase = random.normal(size=12), random.uniform(0, 2 * np.pi, 12)

    def signal(at: np.ndarray) -> np.ndarray:
        turns = 2 * np.pi * np.arange(1, 13) / LENGTH
        return np.sum(size * np.cos(np.multiply.outer(np.asarray(at), turns) + phase), axis=-1)

    values = signal(np.arange(LENGTH))
    before = np.flatnonzero(np.diff(values > 0.5))
    before = before[(before > 20) & (before < LENGTH - 20)]
    assert len(before) > 3
    for place in before:
        true = brentq(lambda x: float(signal(np.array(x))) - 0.5, place, place + 1)
        found = nearest_crossing(values, Quantity(0.5, 0.0), place + 0.5, 2.0, 1e-8 * WHITE)
        assert found is not None
        slope = float(signal(np.array(true + 1e-5)) - signal(np.array(true - 1e-5))) / 2e-5
        assert found.value == pytest.approx(true, abs=1e-3 * np.ptp(values) / abs(slope))  # the kernel's own ripple


@pytest.mark.parametrize("correlation", [0.0, 0.8])
def test_its_u_is_the_scatter_of_many_noisy_tries(correlation: float) -> None:
    """White noise, and noise with correlated neighbours: the standard deviation seen is the u that was quoted."""
    random = np.random.default_rng(15)
    lags = correlation ** np.arange(60) if correlation else WHITE
    found = []
    for _ in range(1500):
        noise = random.normal(size=LENGTH)
        if correlation:
            for i in range(1, LENGTH):
                noise[i] = correlation * noise[i - 1] + np.sqrt(1 - correlation**2) * noise[i]
        one = nearest_crossing(sine(np.arange(LENGTH)) + noise, Quantity(50.0, 0.0), 123.3, 6.0, lags)
        assert one is not None
        found.append((one.value, one.u))
    values, u = np.array(found).T
    assert np.std(values, ddof=1) == pytest.approx(np.mean(u), rel=0.08)  # 4 × 1/√(2·1500)


def test_the_level_adds_its_own_u() -> None:
    """u(level)/slope in quadrature (JCGM 100:2008, 5.1.2); a sine's slope at its zero is 2π·A/period."""
    values = sine(np.arange(LENGTH))
    exact = nearest_crossing(values, Quantity(0.0, 0.0), 120.4, 6.0, WHITE)
    loose = nearest_crossing(values, Quantity(0.0, 3.0), 120.4, 6.0, WHITE)
    assert exact is not None
    assert loose is not None
    assert loose.u == pytest.approx(np.hypot(exact.u, 3.0 / (2 * np.pi * 100 / PERIOD)), rel=1e-3)


def test_nothing_is_quoted_without_a_crossing_among_clipped_samples_or_in_the_noise() -> None:
    values = sine(np.arange(LENGTH))
    assert nearest_crossing(values, Quantity(150.0, 0.0), 120.0, 30.0, WHITE) is None
    assert nearest_crossing(values, Quantity(0.0, 0.0), 128.0, 3.0, WHITE) is None
    noise = np.random.default_rng(1).normal(size=LENGTH)
    assert nearest_crossing(1e-3 * values + noise, Quantity(0.0, 0.0), 200.0, 2.0, 100 * WHITE) is None
    values[123] = np.nan
    assert nearest_crossing(values, Quantity(0.0, 0.0), 120.0, 3.0, WHITE) is None
