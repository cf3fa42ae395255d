"""Two sessions side by side, exchanged cables, and the re-arm time, on sessions of known truth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pulsewright.budget import Term
from pulsewright.errors import SettingError
from pulsewright.quantity import Quantity
from pulsewright.settings import layered
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.comparing import _scatter_interval, compare
from pulsewright_analysis.estimates import Estimate
from pulsewright_analysis.findings import measure
from pulsewright_analysis.jitter import scatter_quantity
from pulsewright_analysis.re_arm import bracket, rate_of
from pulsewright_analysis.results import Findings
from pulsewright_analysis.swapping import parse_swapped, separate

ALL = list(range(32))
KNOWN = {"clock_ppm": 20, "delay_u": "2 ns"}


def measured(make_tank: Any, pings: Any, settings: dict[str, Any] | None = None, **more: Any) -> Findings:
    told = {"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us", **(settings or {})}
    return measure(make_tank(pings, **more), layered(option=told))


@pytest.fixture
def before_and_after(make_tank: Any) -> tuple[Assessment, Assessment]:
    """The last channel is 30 ns later after the change than before."""
    old = measured(make_tank, [ALL, ALL], KNOWN, seed=1)
    new = measured(make_tank, [ALL, ALL], KNOWN, seed=2, late=30e-9)
    return Assessment(old), Assessment(new)


def test_what_changed_is_significant_and_nothing_else(before_and_after: tuple[Assessment, Assessment]) -> None:
    found = {d.name: d for d in compare(*before_and_after, ("cables", "clock")).differences}
    assert {name for name, d in found.items() if d.significant} == {"skew H04", "between M1 M2"}
    late = found["skew H04"].difference
    assert late is not None and abs(late.value - 30e-9) < 3 * late.u


def test_errors_in_common_cancel_only_where_a_person_says_so(before_and_after: tuple[Assessment, Assessment]) -> None:
    apart = {d.name: d.difference for d in compare(*before_and_after).differences}
    told = compare(*before_and_after, ("cables", "clock"))
    same = {d.name: d.difference for d in told.differences}
    wide, narrow = apart["skew H02"], same["skew H02"]
    assert wide is not None and narrow is not None
    # 2 ns of each of two channels, in both sessions: 4 ns in all, which are common where the cables stayed
    assert wide.u**2 - narrow.u**2 == pytest.approx((4e-9) ** 2, rel=1e-3)
    period = same["period"]
    assert period is not None
    clock = next(term for term in period.terms if term.name == "sample clock")
    assert clock.u == pytest.approx(abs(period.value) * 20e-6)
    assert any("cancel" in remark for remark in told.remarks)
    assert any("independent" in remark for remark in compare(*before_and_after).remarks)


def test_a_word_that_nothing_stands_for(before_and_after: tuple[Assessment, Assessment]) -> None:
    with pytest.raises(SettingError, match="'cable' is not one of clock, cables"):
        compare(*before_and_after, ("cable",))


def test_what_only_one_session_has_has_no_difference(before_and_after: tuple[Assessment, Assessment]) -> None:
    old, new = before_and_after
    silent = replace(new.findings, sequence=replace(new.findings.sequence, increment=None))
    found = {d.name: d for d in compare(old, Assessment(silent)).differences}
    assert found["increment"].difference is None
    assert found["increment"].reason == "not measured after"
    body = compare(old, Assessment(silent)).as_json()
    assert body["schema"] == "pulsewright-comparison/1"
    assert next(entry for entry in body["quantities"] if entry["name"] == "increment")["new"] is None


def test_a_difference_against_the_uncertainties_package(before_and_after: tuple[Assessment, Assessment]) -> None:
    """Source: the PyPI package `uncertainties`, with one clock error for both sessions."""
    from uncertainties import ufloat

    same = {d.name: d for d in compare(*before_and_after, ("clock",)).differences}
    found = same["increment"]
    assert found.old is not None and found.new is not None and found.difference is not None
    clock = ufloat(1.0, 20e-6)
    own = [next(t.u for t in q.terms if t.name.startswith("scatter")) for q in (found.old, found.new)]
    old, new = (ufloat(q.value, u) for q, u in zip((found.old, found.new), own, strict=True))
    assert found.difference.u == pytest.approx((new * clock - old * clock).std_dev, rel=1e-6)


def test_the_interval_of_a_difference_of_scatters_holds_what_it_promises() -> None:
    random, trials, dof, hits = np.random.default_rng(3), 1500, 20, 0
    for chi in random.chisquare(dof, (trials, 2)):
        seen = np.array([1.0, 2.0]) * np.sqrt(chi / dof)
        a, b = (Estimate(scatter_quantity(float(value), dof, 0.0), own=0.0) for value in seen)
        low, high = _scatter_interval(a, b, (), 0.95)
        hits += low <= 1.0 <= high
    # three standard deviations of a binomial count, and a percent for what the method approximates
    assert abs(hits / trials - 0.95) < 3 * np.sqrt(0.95 * 0.05 / trials) + 0.01


# -- exchanged cables -----------------------------------------------------------------------------------------


def skew(recorder: float, cable: float, sign: int) -> Quantity:
    terms = (
        Term("noise of the channels", 0.3e-9, "A"),
        Term("recorded trigger offsets", 1e-9, "B"),
        Term("cable delay", 5e-9, "B"),
    )
    return Quantity.from_terms(recorder + sign * cable, "s", terms)


def test_recorder_and_cable_are_told_apart() -> None:
    """Source of u: the PyPI package `uncertainties`, one recorder error and one cable error for both sessions."""
    from uncertainties import ufloat

    found = separate("H01", "H05", skew(3e-9, 7e-9, 1), skew(3e-9, 7e-9, -1))
    assert found.recorder.value == pytest.approx(3e-9)
    assert found.cable.value == pytest.approx(7e-9)
    error = ufloat(0, 1e-9)
    old, new = 10e-9 + ufloat(0, 0.3e-9) + error, -4e-9 + ufloat(0, 0.3e-9) + error
    assert found.recorder.u == pytest.approx(((old + new) / 2).std_dev)
    # what the cable is off its declared delay is the very thing that is measured, so it is no part of its u
    assert found.cable.u == pytest.approx(((old - new) / 2).std_dev)


@pytest.mark.parametrize("text", ["H01", "H01:H01", "H01:", "", "H01:H02:H03"])
def test_pairs_that_are_none(text: str) -> None:
    with pytest.raises(SettingError, match="is no pair of channels"):
        parse_swapped(text)


def test_a_channel_in_two_pairs() -> None:
    assert parse_swapped("H01:H05, H02:H06") == (("H01", "H05"), ("H02", "H06"))
    with pytest.raises(SettingError, match="H05 stands in more than one pair"):
        parse_swapped("H01:H05,H05:H06")


# -- re-arm time ----------------------------------------------------------------------------------------------


def at_rate(findings: Findings, period: float, name: str) -> Findings:
    """Return findings as if the triggers had come at another rate."""
    timing = findings.timing
    assert timing.trigger_period is not None and timing.dead_time is not None
    duration = findings.session.record_length / findings.session.sample_rate
    quantity = replace(timing.trigger_period, value=period)
    dead = replace(timing.dead_time, value=period - duration)
    told = replace(timing, trigger_period=quantity, dead_time=dead, shortest_period=period)
    return replace(findings, timing=told, session=replace(findings.session, file=Path(name)))


@pytest.fixture
def clean(make_tank: Any) -> Findings:
    return measured(make_tank, [ALL, ALL])


@pytest.fixture
def lossy(make_tank: Any) -> Findings:
    return measured(make_tank, [[p for p in range(33) if p != 11]] * 2)


def test_the_re_arm_time_is_bracketed(clean: Findings, lossy: Findings) -> None:
    duration = clean.session.record_length / clean.session.sample_rate
    rates = [
        rate_of(at_rate(clean, duration + 40e-6, "slow.h5")),
        rate_of(at_rate(clean, duration + 12e-6, "faster.h5")),
        rate_of(at_rate(lossy, duration + 9e-6, "fast.h5")),
        rate_of(at_rate(lossy, duration + 5e-6, "fastest.h5")),
    ]
    found = bracket(rates, periods_given=True)
    assert found.above is not None and found.at_most is not None
    assert (found.above.value, found.at_most.value) == (pytest.approx(9e-6), pytest.approx(12e-6))
    low, high = found.interval95
    assert low is not None and high is not None and low <= found.above.value and high > found.at_most.value
    assert not found.reasons


def test_a_recorder_that_keeps_every_second_trigger_is_lossy_once_the_period_is_given(clean: Findings) -> None:
    duration = clean.session.record_length / clean.session.sample_rate
    halved = at_rate(clean, 2 * (duration + 5e-6), "halved.h5")
    assert rate_of(halved).kept == "clean"
    assert any("keeps every second trigger" in reason for reason in bracket([rate_of(halved)]).reasons)
    rate = rate_of(halved, period=duration + 5e-6)
    assert (rate.kept, rate.reason) == ("lossy", "only one trigger in 2 was kept")
    assert rate.dead_time is not None and rate.dead_time.value == pytest.approx(5e-6, rel=1e-6)
    assert rate_of(halved, period=0.7 * (duration + 5e-6)).kept == "not known"


def test_a_trigger_withheld_on_purpose_is_no_loss(lossy: Findings) -> None:
    assert rate_of(lossy).kept == "lossy"
    assert rate_of(lossy, withheld=(11,)).kept == "clean"


def test_losses_at_a_slower_rate_than_a_clean_session_have_another_cause(clean: Findings, lossy: Findings) -> None:
    found = bracket([rate_of(at_rate(clean, 1e-3, "a.h5")), rate_of(at_rate(lossy, 2e-3, "b.h5"))], True)
    assert found.above is None and found.at_most is None
    assert any("something else" in reason for reason in found.reasons)


def test_one_kind_of_session_alone_gives_one_end(clean: Findings, lossy: Findings) -> None:
    assert bracket([rate_of(clean)], True).above is None
    assert bracket([rate_of(lossy)], True).at_most is None
