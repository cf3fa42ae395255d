"""Budgets: their squares add up to u², for every quantity that has one; what is known reaches the numbers."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.budget import Term
from pulsewright.claims_file import claims_path_for, read_claims
from pulsewright.errors import BudgetError
from pulsewright.opening import open_session
from pulsewright.quantity import Quantity
from pulsewright.settings import Settings, layered
from pulsewright_analysis.alignment import measure_alignment
from pulsewright_analysis.budgets import ONE_WORD, budget_names, budget_of
from pulsewright_analysis.findings import measure
from pulsewright_analysis.findings_json import as_json
from pulsewright_analysis.intervals import with_uniform_term
from pulsewright_analysis.levels import measure_levels
from pulsewright_analysis.results import Findings

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sessions"
KNOWN = {"clock_ppm": 20, "delay_u": "60 ps", "splitter_u": "25 ps", "scale_percent": 0.4, "trigger_offset_u": "90 ps"}


@pytest.fixture(scope="module", params=["tank_walk", "tank_faults", "tank_slip", "tank_sine"])
def pair(request) -> tuple[Findings, Findings]:
    """Return a sample session's findings with nothing known, and with all five settings."""
    path = SAMPLES / f"{request.param}.h5"
    claims = read_claims(claims_path_for(path)).settings
    with open_session(path) as session:
        return measure(session, layered(claims=claims)), measure(session, layered(KNOWN, claims=claims))


def pulse_names(findings: Findings) -> list[str]:
    """Return the names of everything known of a few pulses."""
    pulses = findings.pulses
    names = []
    for i in range(0, len(pulses), max(len(pulses) // 15, 1)):
        place = f"{findings.channel_name(int(pulses.channel[i]))} {pulses.record[i]} {pulses.order[i]}"
        columns = {"time": pulses.time_u, "amplitude": pulses.amplitude_u, "width": pulses.width_u}
        names += [f"{kind} {place}" for kind, u in columns.items() if np.isfinite(u[i])]
    return names


def test_squares_of_the_terms_add_up(pair):
    for findings in pair:
        names = [*budget_names(findings), *pulse_names(findings)]
        assert len(names) > 30
        for name in names:
            budget = budget_of(findings, name)
            total = math.fsum(term.u**2 for term in budget.terms)
            assert total == pytest.approx(budget.quantity.u**2, rel=1e-9), name
            if budget.quantity.u > 0:
                assert math.fsum(budget.share(term) for term in budget.terms) == pytest.approx(1.0), name
                assert all(term.name and term.source for term in budget.terms), name


def test_every_quantity_in_json_has_a_budget(pair):
    """Whatever ``--json`` quotes with a u above 0 names the terms behind it."""
    findings = pair[1]
    alignment = findings.alignment
    quantities = [
        *(entry.skew for entry in alignment.channels),
        *(entry.skew for entry in alignment.between_modules),
        *(where(findings) for _, where in ONE_WORD.values()),
        *(quantity for health in findings.health for quantity in (health.offset, health.noise_rms)),
    ]
    known = [quantity for quantity in quantities if quantity is not None and quantity.u > 0]
    assert len(known) >= 30
    assert all(quantity.terms for quantity in known)


def test_what_is_known_never_narrows_and_changes_no_value(pair):
    without, found = pair
    assert budget_names(without) == budget_names(found)
    for name in budget_names(found):
        old, new = budget_of(without, name).quantity, budget_of(found, name).quantity
        assert new.value == old.value, name
        assert new.u >= old.u, name


def test_each_skew_has_two_cables_and_two_outputs(pair):
    without, found = pair
    names = [name for name in budget_names(found) if name.startswith("skew")][1:]
    assert names
    for name in names:
        old, new = budget_of(without, name).quantity, budget_of(found, name).quantity
        terms = {term.name: term.u for term in new.terms}
        assert terms["cable delay"] == pytest.approx(math.sqrt(2) * 60e-12)
        assert terms["splitter"] == pytest.approx(math.sqrt(2) * 25e-12)
        assert new.u**2 == pytest.approx(old.u**2 + math.fsum(u**2 for u in list(terms.values())[2:]), rel=1e-6)


def test_the_reference_is_exact_against_itself(pair):
    findings = pair[1]
    assert findings.alignment.reference is not None
    budget = budget_of(findings, f"skew {findings.channel_name(findings.alignment.reference)}")
    assert (budget.quantity.value, budget.quantity.u, budget.terms) == (0.0, 0.0, ())


def test_json_has_the_same_keys_with_everything_known(pair):
    """The keys of ``measure --json`` are fixed: budgets add none."""

    def keys(value):
        if isinstance(value, dict):
            return {key: keys(item) for key, item in value.items()}
        return [keys(item) for item in value] if isinstance(value, list) else None

    without, found = (as_json(findings) for findings in pair)
    for body in (without, found):
        for setting in body["settings"].values():
            setting["value"] = None
    assert keys(without) == keys(found)
    assert set(found["sequence"]["increment"] or found["alignment"]["channels"][1]["skew"]) == {
        "value", "u", "unit", "dof", "interval95",
    }  # fmt: skip


def test_names_are_found_whichever_way_they_are_asked_for(make_tank):
    findings = measure(make_tank([range(24)] * 2))
    forth, back = budget_of(findings, "between M1 M2"), budget_of(findings, "  Between  M2 M1 ")
    assert forth.quantity.value == -back.quantity.value
    assert forth.quantity.u == back.quantity.u
    assert back.name == "between M2 M1"
    assert budget_of(findings, "amplitude H02 3").quantity == budget_of(findings, "amplitude H02 3 0").quantity
    assert (
        budget_of(findings, "amplitude H02 3 1").quantity.value != budget_of(findings, "amplitude H02 3").quantity.value
    )


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("", "the names are increment, start"), ("speed", "the names are increment"), ("skew", "skew H01"),
        ("skew H99", "the channels are H01, H02"), ("between M1", "the pairs are M1 M2"), ("between M1 M9", "M1 M2"),
        ("between M1 M1", "M1 M2"), ("jitter H01", "the names are"), ("time H01", "time H01 0"),
        ("time H01 first", "time H01 0"), ("time H01 999", "no pulse 0 on H01 in record 999"),
        ("frequency", "not measured"), ("time H01 0 0 0", "the channels are H01"),
    ],
)  # fmt: skip
def test_a_name_that_nothing_has_is_answered_with_those_there_are(name, said, make_tank):
    findings = measure(make_tank([range(12)] * 2))
    with pytest.raises(BudgetError) as caught:
        budget_of(findings, name)
    assert said in caught.value.sentence
    assert "\n" not in caught.value.sentence


def test_an_untimed_trigger_has_its_own_u_and_not_that_of_recorded_offsets(make_tank):
    """Source: JCGM 100:2008, 4.3.7: Ts/√12."""
    settings = Settings(trigger_offset_u=5e-9, delay_u=1e-9)
    interval = 1 / 5e6
    untimed = budget_of(measure(make_tank([range(24)] * 2, timed=False), settings), "time H01 4").terms
    timed = budget_of(measure(make_tank([range(24)] * 2), settings), "time H01 4").terms
    assert {t.name: t.u for t in untimed}["trigger not timed"] == pytest.approx(interval / math.sqrt(12))
    assert "recorded trigger offset" not in {t.name for t in untimed}
    assert {t.name: t.u for t in timed}["recorded trigger offset"] == 5e-9


def test_names_with_blanks_and_numbers_in_them(make_tank):
    session = make_tank([range(12)] * 2)
    names = ("Hydrophone", "Hydrophone 1", "Hydrophone  2", "H04")
    session.channels = tuple(replace(c, name=name) for c, name in zip(session.channels, names, strict=True))
    findings = measure(session)
    assert budget_of(findings, "time Hydrophone 1 3").meaning == "time of pulse 0 on Hydrophone 1 in record 3"
    assert budget_of(findings, "time Hydrophone 1 3 1").meaning == "time of pulse 1 on Hydrophone 1 in record 3"
    assert budget_of(findings, "time Hydrophone 3 1").meaning == "time of pulse 1 on Hydrophone in record 3"
    assert budget_of(findings, "skew Hydrophone 2").quantity == findings.alignment.channels[2].skew
    for name in budget_names(findings):
        assert budget_of(findings, name).quantity.u >= 0


def drawn_session(rng: np.random.Generator, delay_u: float, offset_u: float) -> Session:
    """Return 12 records of one sine on two modules of two channels, which in truth sample at the same instant.

    The cables' and the trigger offsets' errors are drawn once and hold for every record.
    """
    late = delay_u * rng.standard_normal(4) + np.repeat(offset_u * rng.standard_normal(2), 2)
    time = np.arange(250) / 1e6
    phase = rng.uniform(0, 2 * np.pi, (12, 1, 1))
    clean = np.cos(2 * np.pi * 41.3e3 * (time - late[None, :, None]) + phase)
    codes = np.round((clean + 0.02 * rng.standard_normal(clean.shape)) / 1e-4).astype(np.int16)
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=1e-4) for c in range(4)]
    return Session.from_samples(codes, channels, 1e6, trigger_offset=np.zeros((12, 2)))


def test_coverage_between_modules_with_errors_that_last():
    """200 set-ups with cables and trigger offsets drawn anew, 12 records each: the 95 % interval holds the truth.

    Averaged over the records as if they were noise, the same errors would leave coverage far below.
    """
    rng = np.random.default_rng(31)
    delay_u, offset_u = 20e-9, 30e-9
    settings = Settings(alignment_method="sine", delay_u=delay_u, trigger_offset_u=offset_u)
    records, in_step = np.arange(12), SimpleNamespace(in_step=np.ones((12, 2), dtype=bool), slips=())
    inside = averaged = 0
    for _ in range(200):
        session = drawn_session(rng, delay_u, offset_u)
        levels = measure_levels(session, range(4), records)
        alignment, _, _ = measure_alignment(session, range(4), records, levels, None, in_step, settings)
        skew = alignment.between_modules[0].skew
        low, high = skew.interval95
        inside += low <= 0.0 <= high
        own = skew.terms[0].u
        as_noise = math.sqrt(own**2 + (skew.u**2 - own**2) / 12)
        averaged += abs(skew.value) <= 1.96 * as_noise
    # binomial scatter of 200 set-ups: 95 % ± 1.54 % (one standard deviation), as noise 60 % at most ± 3.5 %
    assert 0.90 < inside / 200 < 0.995
    assert averaged / 200 < 0.6


def test_coverage_of_a_noise_whose_scale_is_known_to_two_percent():
    """20,000 standard deviations of 200 samples, read with a scale that is off by 2 % (one standard deviation)."""
    from scipy.special import chdtri

    rng = np.random.default_rng(5)
    dof, runs = 199, 20_000
    read = np.sqrt(rng.chisquare(dof, runs) / dof) * (1 + 0.02 * rng.standard_normal(runs))
    ends = [math.sqrt(dof / float(chdtri(dof, tail))) for tail in (0.025, 0.975)]
    inside = 0
    for value in read.tolist():
        u = value / math.sqrt(2 * dof)
        quantity = Quantity(value, u, "V", dof, (value * ends[0], value * ends[1]))
        low, high = quantity.widened(Term("scale", 0.02 * value, "B")).interval95
        inside += low <= 1.0 <= high
    assert 0.93 < inside / runs < 0.97


@pytest.mark.parametrize("ratio", [0.2, 1.0, 5.0])
def test_coverage_of_a_mean_with_a_uniform_error(ratio):
    """20,000 means of 6 normal readings with one uniform error of `ratio` times their u: coverage 93 % to 97 %."""
    rng = np.random.default_rng(6)
    readings = rng.standard_normal((20_000, 6))
    uniform_u = ratio / math.sqrt(6)
    errors = np.mean(readings, axis=1) + uniform_u * math.sqrt(3) * rng.uniform(-1, 1, 20_000)
    own = np.std(readings, axis=1, ddof=1) / math.sqrt(6)
    inside = 0
    for error, u in zip(errors.tolist(), own.tolist(), strict=True):
        terms = (Term("readings", u, "A", 5.0), Term("not timed", uniform_u, "B", uniform=True))
        low, high = with_uniform_term(Quantity.from_terms(error, "s", terms)).interval95
        inside += low <= 0.0 <= high
    assert 0.93 < inside / 20_000 < 0.97


def test_one_module_that_did_not_time_its_trigger_gives_the_interval_of_a_uniform_error(make_tank):
    """Source: JCGM 100:2008, 4.3.7: 95 % of a uniform error lie within 0.95·√3 = 1.645 standard deviations.

    Between that and the normal 1.96 as the scatter of 24 records has its small part; two such modules give a
    triangular error, which is left at the normal factor.
    """
    untimed = measure(make_tank([range(24)] * 2, timed=False))
    start = untimed.sequence.start
    assert 0.95 * math.sqrt(3) < start.expanded / start.u < 1.8
    both = untimed.alignment.between_modules[0].skew
    assert both.expanded / both.u == pytest.approx(1.96, abs=0.01)
    session = make_tank([range(24)] * 2)
    session.trigger_offset[:, 1] = np.nan
    one = measure(session).alignment.between_modules[0].skew
    assert 0.95 * math.sqrt(3) < one.expanded / one.u < 1.8
