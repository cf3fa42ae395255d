"""A following pair over all records. Sources: NumPy's mean and deviation, and the PyPI package `uncertainties`."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import uncertainties

from pulsewright.session import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.assessment import assess
from pulsewright_analysis.followed_pulses import FollowedPulse, followed_pulse
from pulsewright_analysis.marker_series import PairSeries, pair_over_records
from pulsewright_analysis.standing_pairs import End

RATE, LENGTH, RECORDS, PPM = 10e6, 1000, 20, 25.0
APART = 40e-6
ALONE = 4
"""A record with one pulse only."""
SILENT = 11
LEFT_OUT = 15
BOTH = End(0.0, 0.0, 0), End(0.0, 0.0, 1)


@pytest.fixture(scope="module")
def findings() -> Any:
    """Two pulses 40 µs apart, the pair shaken a little from record to record."""
    random = np.random.default_rng(4)
    time = np.arange(LENGTH) / RATE
    samples = random.normal(0.0, 30.0, (RECORDS, 1, LENGTH))
    for record in range(RECORDS):
        start = 20e-6 + random.normal(0.0, 50e-9)
        for k in range({ALONE: 1, SILENT: 0}.get(record, 2)):
            samples[record, 0] += 8000 * np.exp(-(((time - start - k * APART) / 1e-6) ** 2) / 2)
    session = Session.from_samples(
        np.round(samples).astype(np.int16), [Channel("H01", "M1", scale=1e-4)], RATE, 0,
        trigger_time=np.arange(RECORDS) * 1e-3,
    )  # fmt: skip
    return assess(session, layered(option={"clock_ppm": PPM, "left_out": (LEFT_OUT,)})).findings


@pytest.fixture(scope="module")
def series(findings: Any) -> PairSeries:
    return pair_over_records(findings, BOTH, intervals=4)


def test_mean_and_standard_deviation_are_those_of_numpy(series: PairSeries) -> None:
    there = np.setdiff1d(np.arange(RECORDS), (ALONE, SILENT, LEFT_OUT))
    assert series.measured.tolist() == there.tolist()
    values = series.t2[there] - series.t1[there]
    assert series.mean is not None
    assert series.mean.value == pytest.approx(np.mean(values), rel=1e-12)
    assert series.deviation == pytest.approx(np.std(values, ddof=1), rel=1e-12)
    assert series.mean.value == pytest.approx(APART, abs=3 * series.mean.u)  # the known truth


def test_u_of_every_row_and_of_the_mean_are_those_of_first_order_propagation(findings: Any, series: PairSeries) -> None:
    """One clock, common to all records; the trigger's error of a record, common to its two pulses, must cancel."""
    clock = uncertainties.ufloat(1.0, PPM * 1e-6)
    deltas = []
    for record in series.measured:
        trigger = uncertainties.ufloat(0.0, 1 / RATE / np.sqrt(12.0))
        ends = []
        for order in (0, 1):
            end = followed_pulse(findings, int(record), 0, order)
            assert not isinstance(end, str)
            ends.append(clock * (uncertainties.ufloat(end.time, end.own_u) + trigger))
        deltas.append(ends[1] - ends[0])
        assert series.delta_u[record] == pytest.approx(deltas[-1].std_dev, rel=1e-6)
    n = len(deltas)
    mean = sum(deltas) / n
    assert series.mean is not None and series.deviation is not None
    clock_part = mean.nominal_value * PPM * 1e-6
    theory = np.sqrt(mean.std_dev**2 - clock_part**2)
    expected = np.hypot(max(theory, series.deviation / np.sqrt(n)), clock_part)
    assert series.mean.u == pytest.approx(expected, rel=1e-6)
    assert series.mean_per_interval is not None
    assert series.mean_per_interval.u == pytest.approx(expected / 4, rel=1e-6)


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        (ALONE, "only 1 pulse in record 4 on H01, so no pulse 1"),
        (SILENT, "no pulse in record 11 on H01, so no pulse 0"),
        (LEFT_OUT, "record 15 is left out"),
    ],
)
def test_a_record_without_the_pulses_says_why(series: PairSeries, record: int, reason: str) -> None:
    assert series.reasons[record] == reason
    assert np.isnan([series.delta[record], series.t1[record], series.t2[record]]).all()


def test_numbers_that_have_no_meaning_are_refused(findings: Any) -> None:
    with pytest.raises(ValueError, match="from 1 up"):
        pair_over_records(findings, BOTH, 0)
    with pytest.raises(ValueError, match="from 0"):
        pair_over_records(findings, (End(0.0, 0.0, -1), End(0.0, 0.0, 1)))
    with pytest.raises(ValueError, match="fixed in time"):
        pair_over_records(findings, (End(1e-6, 1e-9), End(2e-6, 1e-9)))


def test_one_marker_that_is_fixed_is_not_averaged_away(findings: Any) -> None:
    """Against a fixed time a pulse has its trigger's error too, anew in each record; the fixed one's is in all.

    Every part is a variable of its own in the package `uncertainties`.
    """
    fixed = End(10e-6, 80e-9)
    series = pair_over_records(findings, (fixed, BOTH[1]))
    clock, put_down = uncertainties.ufloat(1.0, PPM * 1e-6), uncertainties.ufloat(fixed.time, fixed.u)
    deltas = []
    for record in series.measured:
        end = followed_pulse(findings, int(record), 0, 1)
        assert isinstance(end, FollowedPulse)
        trigger = uncertainties.ufloat(0.0, 1 / RATE / np.sqrt(12.0))
        deltas.append(clock * (uncertainties.ufloat(end.time, end.own_u) + trigger - put_down))
        assert series.delta_u[record] == pytest.approx(deltas[-1].std_dev, rel=1e-6)
    mean = sum(deltas) / len(deltas)
    lasting = np.hypot(fixed.u, mean.nominal_value * PPM * 1e-6)
    theory = np.sqrt(mean.std_dev**2 - lasting**2)
    assert series.mean is not None and series.deviation is not None
    expected = np.hypot(max(theory, series.deviation / np.sqrt(len(deltas))), lasting)
    assert series.mean.u == pytest.approx(expected, rel=1e-6)
    assert series.mean.u > fixed.u
