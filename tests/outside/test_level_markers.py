"""Levels and their differences. Sources: the PyPI package `uncertainties`, a known truth, NumPy's uniform errors."""

from __future__ import annotations

import numpy as np
import pytest
import uncertainties

from pulsewright.review import LevelMarker
from pulsewright.session import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure
from pulsewright_analysis.level_markers import (
    PlacedLevel,
    known_levels,
    level_by_hand,
    level_difference,
    level_on_sample,
    level_value,
    placed,
)
from pulsewright_analysis.results import Findings

RATE, LENGTH, RECORDS, CODE = 10e6, 1500, 40, 1e-4
BASE, TOP, NOISE = 0.02, 0.52, 4e-3
PERCENT = 2.0


@pytest.fixture(scope="module")
def findings() -> Findings:
    """A flat-topped pulse of 0.5 V on a base of 20 mV, in white noise of 4 mV; the truth is known."""
    time = np.arange(LENGTH) / RATE
    edges = np.clip((time - 50e-6) / 2e-6, 0, 1) - np.clip((time - 90e-6) / 2e-6, 0, 1)
    volts = BASE + (TOP - BASE) * edges + np.random.default_rng(3).normal(0.0, NOISE, (RECORDS, 1, LENGTH))
    session = Session.from_samples(np.round(volts / CODE).astype(np.int16), [Channel("H01", "M1", scale=CODE)], RATE)
    return measure(session, layered(option={"scale_percent": PERCENT}))


def level(findings: Findings, name: str, record: int = 0) -> PlacedLevel:
    return next(one for one in known_levels(findings, record, 0, 70e-6) if one.level == name)


def test_the_levels_are_those_of_the_pulse_and_their_u_holds(findings: Findings) -> None:
    """Over all records the distance from the truth is what u promises: its mean square in u is near 1."""
    truth = {"base": BASE, "10 %": BASE + 0.1 * 0.5, "50 %": BASE + 0.25, "90 %": BASE + 0.45, "top": TOP}
    for name, value in truth.items():
        found = [level(findings, name, record) for record in range(RECORDS)]
        assert found[0].pulse == (None if name == "base" else 0)
        away = np.array([(one.value - value) / one.u for one in found])
        # the base is one number for all records; the others scatter: χ² of 40, 99.9 % within 0.42 … 1.84 of its mean
        assert np.mean(away**2) < (11 if name == "base" else 1.84)


def test_two_levels_of_one_pulse_share_its_base_and_its_amplitude(findings: Findings) -> None:
    """Base and amplitude are variables of their own in the package; the scale is one factor on both levels."""
    base = uncertainties.ufloat(level(findings, "base").value, level(findings, "base").u)
    top = level(findings, "top")
    amplitude = uncertainties.ufloat(top.value - base.n, np.sqrt(top.u**2 - base.s**2))
    scale = uncertainties.ufloat(1.0, PERCENT / 100)
    shares = {"base": 0.0, "10 %": 0.1, "50 %": 0.5, "90 %": 0.9, "top": 1.0}
    for one in shares:
        assert level(findings, one).u == pytest.approx((base + shares[one] * amplitude).s, rel=1e-9)
        for other in shares:
            expected = scale * ((base + shares[other] * amplitude) - (base + shares[one] * amplitude))
            told = level_difference(level(findings, one), level(findings, other), "V", PERCENT)
            assert told.value == pytest.approx(expected.n, abs=1e-12)
            assert told.u == pytest.approx(expected.s, rel=1e-9, abs=1e-15)


def test_other_levels_are_independent(findings: Findings) -> None:
    scale = uncertainties.ufloat(1.0, PERCENT / 100)
    first, second = PlacedLevel(0.1, 1e-3), PlacedLevel(0.4, 2e-3, "sample")
    expected = scale * (uncertainties.ufloat(0.4, 2e-3) - uncertainties.ufloat(0.1, 1e-3))
    assert level_difference(first, second, "V", PERCENT).u == pytest.approx(expected.s, rel=1e-9)
    assert level_value(second, "V", PERCENT).u == pytest.approx((scale * uncertainties.ufloat(0.4, 2e-3)).s, rel=1e-9)
    of_two_pulses = PlacedLevel(0.5, 3e-3, "top", 0, 1e-3), PlacedLevel(0.4, 4e-3, "top", 1, 1e-3)
    assert level_difference(*of_two_pulses, "V").u == pytest.approx(5e-3)


def test_a_sample_is_known_as_well_as_the_noise_lets_it_be(findings: Findings) -> None:
    found = level_on_sample(findings, 0, 0.1)
    assert found is not None
    assert found.u == pytest.approx(NOISE, rel=0.02)


@pytest.mark.parametrize(("pixel", "code"), [(2e-3, 1e-4), (1e-5, -1e-4)])
def test_by_hand_u_is_that_of_a_uniform_error_over_a_pixel_or_a_code(pixel: float, code: float) -> None:
    wide = max(pixel, abs(code))
    errors = np.random.default_rng(1).uniform(-wide / 2, wide / 2, 200_000)
    assert level_by_hand(0.3, pixel, code).u == pytest.approx(errors.std(), rel=0.01)


def test_a_channel_without_findings_has_no_levels(findings: Findings) -> None:
    assert known_levels(findings, 0, 7, 0.0) == ()
    assert level_on_sample(findings, 7, 0.1) is None


def test_a_review_s_marker_is_the_level_that_was_put_down() -> None:
    marker = LevelMarker(0.3, 2e-3, 1, "H01", 4, level="50 %", pulse=1, base_u=1e-3)
    assert placed(marker) == PlacedLevel(0.3, 2e-3, "50 %", 1, 1e-3)
