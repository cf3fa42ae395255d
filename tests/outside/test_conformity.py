"""Verdicts against JCGM 106's worked examples and against scipy.stats.

The examples of JCGM 106:2012, clause 7, are quoted from memory and recomputed with scipy.stats beside each check.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad
from scipy.optimize import brentq

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.estimates import Estimate
from pulsewright_analysis.health import effective_bits
from pulsewright_analysis.jitter import scatter_quantity


def estimate(value: float, u: float, dof: float | None = None) -> Estimate:
    return Estimate(Quantity(value, u, "V", dof))


# (value, u, lower limit, upper limit, probability as printed): JCGM 106:2012, clause 7, from memory
EXAMPLES = [
    (-5.47, 0.05, None, -5.40, 0.92),  # a Zener diode's breakdown voltage
    (509.7, 8.6, 490.0, None, 0.99),  # a container's burst pressure
    (13.6, 1.8, 12.5, 16.3, 0.66),  # a motor oil's viscosity
]


@pytest.mark.parametrize(("value", "u", "low", "high", "printed"), EXAMPLES)
def test_probability_of_conformity_of_the_guides_examples(
    value: float, u: float, low: float | None, high: float | None, printed: float
) -> None:
    found = estimate(value, u).conformity(low, high)
    recomputed = stats.norm.cdf(np.inf if high is None else high, value, u)
    recomputed -= stats.norm.cdf(-np.inf if low is None else low, value, u)
    assert found == pytest.approx(recomputed, abs=1e-12)
    assert round(found, 2) == printed


@pytest.mark.parametrize("dof", [1.0, 3.0, 11.5, 200.0])
def test_students_t(dof: float) -> None:
    one = estimate(1.0, 0.2, dof)
    assert one.conformity(0.9, 1.5) == pytest.approx(stats.t.cdf(2.5, dof) - stats.t.cdf(-0.5, dof), abs=1e-12)
    for coverage in (0.9, 0.95, 0.999):
        assert one.interval(coverage) == pytest.approx(stats.t.interval(coverage, dof, 1.0, 0.2), rel=1e-9)


def uniform_and_normal(x: float, half: float, sigma: float) -> float:
    """Distribution function of a uniform error over ±half plus a normal one, by quadrature."""
    area, _ = quad(lambda shift: stats.norm.cdf((x - shift) / sigma) / (2 * half), -half, half, epsabs=1e-12)
    return float(area)


@pytest.mark.parametrize("share", [0.2, 0.8, 0.98])
@pytest.mark.parametrize("coverage", [0.9, 0.95, 0.99])
def test_an_error_that_is_partly_uniform(share: float, coverage: float) -> None:
    uniform_u, sigma = np.sqrt(share), np.sqrt(1 - share)
    terms = (Term("trigger not timed", uniform_u, "B", uniform=True), Term("noise", sigma, "A"))
    one = Estimate(Quantity.from_terms(0.0, "s", terms))
    half = uniform_u * np.sqrt(3)
    for limit in (0.4, 1.3):
        expected = uniform_and_normal(limit, half, sigma)
        assert one.conformity(None, limit) == pytest.approx(expected, abs=1e-9)
    factor = brentq(lambda x: uniform_and_normal(x, half, sigma) - (1 + coverage) / 2, 0.0, 6.0)
    assert one.interval(coverage)[1] == pytest.approx(factor, rel=1e-6)


@pytest.mark.parametrize("own", [0.0, 2e-9])
def test_a_scatter(own: float) -> None:
    """A variance is distributed as s²·ν/χ² (JCGM 100:2008, E.4)."""
    observed, dof = 5e-9, 24
    one = Estimate(scatter_quantity(observed, dof, own), own=own)
    limit = 6e-9
    assert one.conformity(None, limit) == pytest.approx(
        stats.chi2.sf(observed**2 * dof / (limit**2 + own**2), dof), abs=1e-9
    )
    for coverage in (0.8, 0.95, 0.99):
        ends = observed**2 * dof / stats.chi2.ppf([(1 + coverage) / 2, (1 - coverage) / 2], dof) - own**2
        assert one.interval(coverage) == pytest.approx(np.sqrt(ends), rel=1e-9)


def test_guard_bands_keep_the_risk_of_a_wrong_verdict() -> None:
    """Where the truth lies on the limit, each wrong verdict comes at most as often as the coverage allows."""
    random, trials, n = np.random.default_rng(11), 6000, 8
    holds = fails = 0
    for sample in random.normal(0.0, 1.0, (trials, n)):
        one = estimate(float(sample.mean()), float(sample.std(ddof=1) / np.sqrt(n)), n - 1)
        decision = one.against(None, 0.0, 0.95)
        holds, fails = holds + (decision == "holds"), fails + (decision == "fails")
    # 2.5 % on each side; three standard deviations of a binomial count are allowed for
    expected = 0.025 * trials
    for count in (holds, fails):
        assert abs(count - expected) < 3 * np.sqrt(expected)


def test_effective_bits_by_first_order_propagation() -> None:
    """Source: the PyPI package `uncertainties`."""
    from uncertainties import ufloat
    from uncertainties.umath import log

    from pulsewright.session import Channel

    noise, dof = 3e-3, 5000.0
    channel = Channel("H01", "M1", scale=1.25e-4, lowest_code=-8192, highest_code=8191)
    told = log(2.048 / (ufloat(noise, noise / np.sqrt(2 * dof)) * np.sqrt(12.0))) / np.log(2.0)
    assert effective_bits(channel, noise) == pytest.approx(told.nominal_value, rel=1e-12)
    assert told.std_dev == pytest.approx(1.0 / (np.log(2.0) * np.sqrt(2.0 * dof)), rel=1e-9)
