"""The estimators of pulses, levels and lines on signals of known truth."""

import math
from typing import Any

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.quantity import Quantity, coverage_factor
from pulsewright.settings import Settings, layered
from pulsewright_analysis.findings import measure
from pulsewright_analysis.jitter import expected_range, jitter_shape, scatter_quantity
from pulsewright_analysis.levels import base_of, measure_levels
from pulsewright_analysis.lines import correlated_u, fit_line
from pulsewright_analysis.pulses import measure_pulses
from pulsewright_analysis.results import Sequence
from pulsewright_analysis.timing import measure_timing
from pulsewright_analysis.validity import PULSE_REGIONS


def session_of(volts: np.ndarray, sample_rate: float = 1e6, scale: float = 1e-4) -> Session:
    """Return a one-channel session of (records, samples) volts with timed triggers."""
    codes = np.round(volts / scale).astype(np.int16)[:, None, :]
    return Session.from_samples(
        codes, [Channel("H01", "M1", scale=scale)], sample_rate, 0, trigger_offset=np.zeros(len(volts))
    )


def pulses_of(session: Session, settings: Settings | None = None):
    """Return the pulses of all records."""
    records = np.arange(session.records)
    return measure_pulses(session, [0], records, measure_levels(session, [0], records), settings or Settings())


@pytest.fixture(scope="module", params=[(sigma, ratio) for sigma in (1.3, 4.0, 12.0, 40.0) for ratio in (30.0, 100.0)])
def cell(request: pytest.FixtureRequest) -> Any:
    """Return σ, the ratio of signal to noise, the middles and the pulses of 600 simulated records."""
    sigma, ratio = request.param
    rng = np.random.default_rng(int(10 * sigma + ratio))
    length = int(max(300, 24 * sigma))
    centre = length / 2 + rng.uniform(-0.5, 0.5, 600)
    clean = np.exp(-(((np.arange(length) - centre[:, None]) / sigma) ** 2) / 2)
    pulses = pulses_of(session_of(clean + rng.standard_normal(clean.shape) / ratio))
    assert len(pulses) == 600
    return sigma, ratio, centre, pulses


@pytest.mark.parametrize("position", ["midpoint", "leading", "centroid", "peak"])
def test_positions_keep_what_their_u_promises(cell: Any, position: str) -> None:
    """Coverage and bias of one simulated cell; 600 records, so that 95 % is known to about 1 %.

    Outside its declared region of validity an estimator must give nothing instead.
    """
    sigma, ratio, centre, pulses = cell
    if not PULSE_REGIONS[position].includes(2.3548 * sigma, ratio):
        assert np.all(np.isnan(pulses.times[position]))
        return
    truth = centre - (math.sqrt(2 * math.log(2)) * sigma if position == "leading" else 0.0)
    error = (pulses.times[position] * 1e6 - truth) / (pulses.times_u[position] * 1e6)
    assert np.all(np.isfinite(error))
    assert abs(np.mean(error)) < 0.35
    assert 0.92 < np.mean(np.abs(error) < 1.96) < 0.98


def test_noise_that_is_not_white():
    """Neighbouring samples alike: a spread of differences would read this noise several times too low."""
    rng = np.random.default_rng(2)
    white = rng.standard_normal((40, 4400))
    smooth = np.stack([np.convolve(row, np.ones(16) / 4, "valid") for row in white])
    _, _, noise, noise_u, effective, autocovariance = base_of(smooth, 1e-6)
    assert abs(noise - 1.0) < 4 * noise_u
    assert effective < smooth.size / 5
    assert autocovariance[8] == pytest.approx(0.5, abs=0.05)


def test_noise_is_never_below_a_code():
    _, _, noise, *_ = base_of(np.full((10, 100), 0.25), 0.01)
    assert noise == pytest.approx(0.01 / math.sqrt(12))


def test_an_echo_of_several_cycles_is_one_pulse_and_its_sign_is_that_of_the_largest_excursion():
    time = np.arange(1000) - 500.0
    burst = -np.exp(-((time / 40) ** 2)) * np.cos(2 * np.pi * time / 30)
    rng = np.random.default_rng(3)
    pulses = pulses_of(session_of(burst + 0.004 * rng.standard_normal((20, 1000))))
    assert len(pulses) == 20
    assert np.all(pulses.polarity == -1)
    assert pulses.time * 1e6 == pytest.approx(np.full(20, 500.0), abs=0.2)


def test_first_excursion_decides_when_asked():
    time = np.arange(1000) - 500.0
    bipolar = np.exp(-(((time + 12) / 6) ** 2)) * 0.5 - np.exp(-(((time - 12) / 6) ** 2))
    session = session_of(np.tile(bipolar, (5, 1)) + 0.004 * np.random.default_rng(3).standard_normal((5, 1000)))
    assert np.all(pulses_of(session).polarity == -1)
    assert np.all(pulses_of(session, layered(option={"polarity_rule": "first"})).polarity == 1)


def test_min_gap_joins_and_min_width_drops():
    time = np.arange(2000.0)
    two = np.exp(-(((time - 500) / 6) ** 2)) + np.exp(-(((time - 700) / 6) ** 2)) + (np.abs(time - 1500) < 1.5)
    session = session_of(two[None, :] + 0.002 * np.random.default_rng(1).standard_normal((1, 2000)))
    assert len(pulses_of(session)) == 3
    assert len(pulses_of(session, layered(option={"min_width": "8 us"}))) == 2
    assert len(pulses_of(session, layered(option={"min_gap": "300 us", "min_width": "8 us"}))) == 1


def test_flat_top_has_no_peak_position_but_a_level():
    time = np.arange(1000.0)
    edges = 1 / (1 + np.exp(-(time - 300) / 4)) - 1 / (1 + np.exp(-(time - 600) / 4))
    pulses = pulses_of(
        session_of(np.tile(edges, (30, 1)) + 0.01 * np.random.default_rng(1).standard_normal((30, 1000)))
    )
    assert len(pulses) == 30
    assert np.all(np.isnan(pulses.times["peak"]))
    assert pulses.amplitude == pytest.approx(np.ones(30), abs=0.01)
    assert pulses.width * 1e6 == pytest.approx(np.full(30, 300.0), abs=1.0)


def test_pulse_cut_by_the_record_end_has_no_midpoint():
    time = np.arange(400.0)
    cut = np.exp(-(((time - 398) / 10) ** 2))
    pulses = pulses_of(session_of(cut[None, :] + 0.004 * np.random.default_rng(1).standard_normal((1, 400))))
    assert pulses.cut.tolist() == [True]
    assert np.isnan(pulses.times["midpoint"][0])


def test_expected_range():
    """Source: control-chart tables, d₂ = 3.078 (10), 3.931 (25), 5.015 (100)."""
    assert [expected_range(n) for n in (10, 25, 100)] == pytest.approx([3.078, 3.931, 5.015], abs=1e-3)


def test_scatter_has_the_interval_of_chi_squared():
    """Source: tables of χ² at 20 degrees of freedom, 9.591 and 34.170."""
    quantity = scatter_quantity(1.0, 20, 0.0)
    assert quantity.interval95 == pytest.approx((math.sqrt(20 / 34.170), math.sqrt(20 / 9.591)), rel=1e-3)
    assert scatter_quantity(1.0, 20, 0.6).value == pytest.approx(0.8)


def walking_errors(rng: np.random.Generator, walks: int, count: int, rho: float) -> np.ndarray:
    """Return walks of first-order autoregressive errors of unit variance, (walks, count)."""
    errors = rng.standard_normal((walks, count))
    for i in range(1, count):
        errors[:, i] = rho * errors[:, i - 1] + math.sqrt(1 - rho**2) * errors[:, i]
    return errors


@pytest.mark.parametrize("cycle", [200, 12])
@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_slope_of_correlated_errors_keeps_what_its_u_promises(rho, cycle):
    """2,000 simulated walks of 200 records; the slope was made 0."""
    rng = np.random.default_rng(int(10 * rho) + cycle)
    x = (np.arange(200) % cycle).astype(float)
    inside = 0
    for errors in walking_errors(rng, 2000, 200, rho):
        line = fit_line(x, errors)
        spread = correlated_u(x, line)
        inside += abs(line.slope) < coverage_factor(spread.dof) * spread.slope_u
    assert 0.92 < inside / 2000 < 0.985


def test_a_line_needs_three_points():
    with pytest.raises(ValueError, match="three points"):
        fit_line(np.array([0.0, 1.0]), np.array([0.0, 1.0]))


def test_period_of_an_even_beat_and_of_a_drifting_one():
    """Coverage over 400 runs of 40 triggers: time stamps that scatter about a beat, and periods that scatter."""
    rng = np.random.default_rng(15)
    for accumulating in (False, True):
        inside, widths, sequence = 0, [], None
        for _ in range(400):
            errors = rng.normal(0, 2e-6, 40)
            time = 0.05 * np.arange(40) + (np.cumsum(errors) if accumulating else errors)
            session = Session.from_samples(
                np.zeros((40, 1, 4), np.int16), [Channel("H01", "M1")], 1e6, 0, trigger_time=time - time[0]
            )
            if sequence is None:  # it tells how many periods lie between two records: one, in every run
                findings = measure(session)
                sequence = findings.sequence
                assert findings.timing.trigger_period == period_of(session, sequence)
            period = period_of(session, sequence)
            assert period is not None
            low, high = period.interval95
            inside += low < 0.05 < high
            widths.append(period.u)
        assert 0.90 < inside / 400 < 0.99
        expected = 2e-6 / math.sqrt(39) if accumulating else 2e-6 * math.sqrt(12 / 40**3)
        assert np.median(widths) == pytest.approx(expected, rel=0.35)


def period_of(session: Session, sequence: Sequence) -> Quantity | None:
    timing, _ = measure_timing(session, np.arange(session.records), sequence, Settings())
    return timing.trigger_period


def test_a_pause_is_no_trigger_period():
    time = 0.05 * np.arange(20.0)
    time[12:] += 0.025
    session = Session.from_samples(np.zeros((20, 1, 4), np.int16), [Channel("H01", "M1")], 1e6, 0, trigger_time=time)
    period = measure(session).timing.trigger_period
    assert period is not None
    assert period.value == pytest.approx(0.05, abs=1e-9)


@pytest.mark.parametrize(("kind", "told"), [("uniform", "uniform"), ("normal", "normal")])
def test_shape_of_jitter(kind, told):
    rng = np.random.default_rng(4)
    draws = rng.uniform(-0.5, 0.5, 300) if kind == "uniform" else rng.normal(0, 0.29, 300)
    assert jitter_shape(draws + rng.normal(0, 0.02, 300), 0.02, 1.0) == told
    assert jitter_shape(draws[:50], 0.02, 1.0) is None


def one_pole_session(time_constant: float, ratio: float) -> Session:
    """Return records of one pulse with one-pole edges, as an RC circuit makes them, no filter behind it."""
    rng = np.random.default_rng(11)
    moment = np.arange(400) - 200 - rng.uniform(-0.5, 0.5, (50, 1))
    rise = 1 - np.exp(-np.maximum(moment + 20, 0) / time_constant)
    fall = 1 - np.exp(-np.maximum(moment - 20, 0) / time_constant)
    samples = rise - fall + rng.standard_normal((50, 400)) / ratio
    return Session.from_samples(samples[:, None], [Channel("H01", "M1")], 1.0, trigger_offset=np.zeros(50))


@pytest.mark.parametrize(
    ("time_constant", "ratio", "said"), [(2.0, 300.0, True), (2.0, 20.0, False), (20.0, 300.0, False)]
)
def test_edges_that_no_filter_rounded_are_named_where_their_u_may_not_hold(
    time_constant: float, ratio: float, said: bool
) -> None:
    # 10 % to 90 % of a one-pole edge: ln 9 time constants, any pulse-technique text
    reasons = [r for r in measure(one_pole_session(time_constant, ratio)).reasons if "rise within" in r]
    assert bool(reasons) is said
    if said:
        assert float(reasons[0].split()[4]) == pytest.approx(np.log(9) * time_constant, rel=0.1)
    by_centroid = measure(one_pole_session(time_constant, ratio), Settings(position="centroid"))
    assert not any("rise within" in r for r in by_centroid.reasons)
