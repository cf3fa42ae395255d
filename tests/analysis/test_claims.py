"""Verdicts on sessions of known truth: what holds, what fails, what cannot be told, and what would tell it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from pulsewright.budget import Term
from pulsewright.claim import Claim, parse_claim
from pulsewright.quantity import Quantity
from pulsewright.review import Marker, Review
from pulsewright.settings import layered
from pulsewright_analysis.assessment import assessed
from pulsewright_analysis.claims import judge
from pulsewright_analysis.estimates import Estimate
from pulsewright_analysis.findings import measure
from pulsewright_analysis.results import Findings
from pulsewright_analysis.undecided import what_would_decide
from pulsewright_analysis.verdicts import Verdict

SPAN = "50 us .. 150 us"
ALL = list(range(32))


def claim(kind: str, limit: Any = None, **more: Any) -> Claim:
    return parse_claim({"name": kind, "kind": kind, **({} if limit is None else {"limit": limit}), **more})


def verdict(findings: Findings, kind: str, limit: Any = None, **more: Any) -> Verdict:
    (found,) = judge(findings, [claim(kind, limit, **more)])
    return found


def measured(make_tank: Any, pings: Any, settings: dict[str, Any] | None = None, **more: Any) -> Findings:
    told = {"span": SPAN, "alignment_span": "5 us .. 25 us", **(settings or {})}
    return measure(make_tank(pings, **more), layered(option=told))


@pytest.fixture
def clean(make_tank: Any) -> Findings:
    """Every ping kept on both modules; measured once, for nothing of it changes."""
    if not _KEPT:
        _KEPT.append(measured(make_tank, [ALL, ALL]))
    return _KEPT[0]


_KEPT: list[Findings] = []


def without(*lost: int) -> list[int]:
    """Return 32 pings without some."""
    return [ping for ping in range(32 + len(lost)) if ping not in lost]


# -- against a limit ------------------------------------------------------------------------------------------


def test_increment_at_its_true_value_holds_and_beside_it_fails(clean: Findings) -> None:
    assert verdict(clean, "increment", "10 us ± 5 ns").verdict == "holds"
    far = verdict(clean, "increment", "10.1 us ± 5 ns")
    assert far.verdict == "fails"
    assert far.budget == "increment"
    assert far.probability == pytest.approx(0.0, abs=1e-6)
    assert "10.1 µs ± 5 ns" in far.sentence


def test_a_limit_inside_the_interval_is_undecided_with_what_would_decide_it(clean: Findings) -> None:
    increment = clean.sequence.increment
    assert increment is not None
    off = abs(increment.value - 10e-6) + 0.4 * increment.u
    found = verdict(clean, "increment", f"10 us ± {off * 1e12:.6f} ps")
    assert found.verdict == "undecided"
    assert re.fullmatch(r"about [\d,]+ more records, [\d,]+ in all, if the value stays where it is", found.needed)
    assert "reaches across the limit" in found.reason
    assert 0.1 < (found.probability or 0) < 0.97


def test_a_wider_coverage_decides_less() -> None:
    estimate = Estimate(Quantity(2.1, 1.0, "s"))
    assert estimate.against(0.0, None, 0.95) == "holds"
    assert estimate.against(0.0, None, 0.99) == "undecided"


def test_one_sided_limits_look_at_their_own_side_alone() -> None:
    wide = Estimate(Quantity(-100.0, 10.0, "s"))
    assert wide.against(None, 0.0, 0.95) == "holds"
    assert wide.against(0.0, None, 0.95) == "fails"
    assert wide.against(-1000.0, None, 0.95) == "holds"


def test_two_sided_limits_fail_on_either_side() -> None:
    for value in (-8.0, 8.0):
        assert Estimate(Quantity(value, 1.0, "s")).against(-5.0, 5.0, 0.95) == "fails"
    # an interval wider than the limits on both sides says nothing
    assert Estimate(Quantity(0.0, 9.0, "s")).against(-5.0, 5.0, 0.95) == "undecided"


def test_the_interval_accounts_for_how_many_are_compared(clean: Findings) -> None:
    found = verdict(clean, "skew", "20 ns")
    assert found.verdict == "holds"
    assert found.measured is not None and found.interval is not None
    assert found.interval[1] - found.interval[0] > 1.2 * 2 * found.measured.expanded
    alone = verdict(clean, "skew", "20 ns", channels="H04")
    assert alone.interval == pytest.approx(alone.measured.interval95)  # type: ignore[union-attr]


def test_a_late_channel_fails_and_is_named(make_tank: Any) -> None:
    findings = measured(make_tank, [ALL, ALL], late=30e-9)
    found = verdict(findings, "skew", "10 ns")
    assert (found.verdict, found.budget) == ("fails", "skew H04")
    assert verdict(findings, "skew", "10 ns", channels="H02,H03").verdict == "holds"
    within = verdict(findings, "skew_within_modules", "10 ns")
    assert (within.verdict, within.budget) == ("fails", "within")
    assert "H04 against H03" in within.sentence
    # half of the module's channels are 30 ns late: its mean is 15 ns late
    assert verdict(findings, "skew_between_modules", "10 ns", modules="M2,M1").verdict == "fails"
    assert verdict(findings, "skew_between_modules", "20 ns").verdict == "holds"


def test_sizes_of_pulses_are_compared_without_their_sign(clean: Findings) -> None:
    assert verdict(clean, "amplitude", "0.4 V .. 0.6 V", channels="H01,H04").verdict == "holds"
    assert verdict(clean, "amplitude", "0.6 V .. 0.9 V").verdict == "fails"
    # width of a Gaussian at 50 %: 2.35482 σ (algebra)
    assert verdict(clean, "width", "2.2 us .. 2.5 us").verdict == "holds"


def test_noise_jitter_period_and_dead_time(clean: Findings) -> None:
    assert verdict(clean, "noise", "5 mV").verdict == "holds"
    assert verdict(clean, "noise", "3 mV").verdict == "fails"
    assert verdict(clean, "jitter", "50 ns").verdict == "holds"
    assert verdict(clean, "trigger_period", "50 ms ± 1 us").verdict == "holds"
    assert verdict(clean, "dead_time", "49 ms").verdict == "holds"  # 50 ms less 180 µs
    assert verdict(clean, "dead_time", "49.9 ms").verdict == "fails"


def test_re_arm_margin_needs_the_re_arm_time(make_tank: Any, clean: Findings) -> None:
    found = verdict(clean, "re_arm_margin", "1 ms")
    assert found.verdict == "undecided"
    assert "re_arm" in found.reason
    known = measured(make_tank, [ALL, ALL], {"re_arm": "48 ms"})
    assert verdict(known, "re_arm_margin", "1 ms").verdict == "holds"
    assert verdict(known, "re_arm_margin", "2 ms").verdict == "fails"


def test_extent_of_so_many_intervals(clean: Findings) -> None:
    assert verdict(clean, "extent", "70 us ± 0.1 us").verdict == "holds"
    assert verdict(clean, "extent", "70 us ± 0.1 us", intervals=7).verdict == "holds"
    assert verdict(clean, "extent", "30 us ± 0.1 us", intervals=3).verdict == "holds"
    found = verdict(clean, "extent", "80 us ± 0.1 us", intervals=8)
    assert (found.verdict, found.reason) == ("undecided", "the walk has 7 intervals, not 8")


# -- what is not there ----------------------------------------------------------------------------------------


def test_a_channel_that_does_not_exist_leaves_the_claim_undecided(clean: Findings) -> None:
    for kind, limit in (("skew", "5 ns"), ("amplitude", "0.1 V .. 1 V"), ("noise", "5 mV"), ("polarity", "constant")):
        found = verdict(clean, kind, limit, channels="H09")
        assert found.verdict == "undecided"
        assert "there is no channel H09 in the session" in found.reason
        assert found.reason in found.sentence


def test_a_limit_in_another_unit_leaves_the_claim_undecided(clean: Findings) -> None:
    found = verdict(clean, "noise", "5 Pa")
    assert found.verdict == "undecided"
    assert "the limit is in Pa" in found.reason


def test_a_session_without_pulses_leaves_claims_about_them_undecided(make_tank: Any) -> None:
    findings = measured(make_tank, [ALL, ALL], {"span": "25 us .. 50 us"})
    claims = [
        claim("increment", "10 us ± 1 us"), claim("extent", "70 us ± 1 us"), claim("amplitude", "0.1 V .. 1 V"),
        claim("width", "1 us .. 3 us"), claim("polarity", "alternates"), claim("jitter", "1 us"),
    ]  # fmt: skip
    for found in judge(findings, claims):
        assert found.verdict == "undecided", found
        assert found.reason
    assert len(judge(findings, claims)) == len(claims)
    assert verdict(findings, "enob", 7).reason.startswith("no sine")


def test_a_marker_pair_is_found_by_its_name(clean: Findings) -> None:
    markers = [Marker(10e-6, 1e-9, 0, "gap"), Marker(110e-6, 1e-9, 0, "gap"), Marker(0.0, 1e-9, 1, "other")]
    told = claim("marker_pair", "100 us ± 10 ns", pair="gap")
    (found,) = judge(clean, [told], Review(markers=markers))
    assert found.verdict == "holds"
    assert found.measured is not None and found.measured.u == pytest.approx(np.sqrt(2) * 1e-9)
    (found,) = judge(clean, [told], Review(markers=markers[2:]))
    assert (found.verdict, "'gap'" in found.reason) == ("undecided", True)
    (found,) = judge(clean, [told])
    assert found.verdict == "undecided"


def test_a_claim_on_a_pair_that_follows_is_about_where_its_pulse_is(clean: Findings) -> None:
    """Against a time that is fixed the pulse has all of its u (JCGM 100:2008, 5.1.2), whatever was kept of it."""
    channel = clean.channels[0]
    place = clean.pulses.where(3, channel)[0]
    time, u = float(clean.pulses.time[place]), float(clean.pulses.time_u[place])
    name = clean.channel_name(channel)
    pair = [Marker(0.0, 4e-9, 0, "ping", name, 3), Marker(9.0, 9.0, 0, "ping", name, 3, pulse=0)]
    told = claim("marker_pair", f"{time * 1e6:.6f} us ± 1 us", pair="ping")
    (found,) = judge(clean, [told], Review(markers=pair))
    assert found.verdict == "holds"
    assert found.measured is not None
    assert found.measured.value == pytest.approx(time)
    assert found.measured.u == pytest.approx(np.hypot(u, 4e-9))
    (found,) = judge(clean, [told], Review(markers=[pair[0], replace(pair[1], pulse=7)]))
    assert found.verdict == "undecided"
    assert "so no pulse 7" in found.reason


# -- counts ---------------------------------------------------------------------------------------------------


def test_nothing_missed(clean: Findings) -> None:
    found = verdict(clean, "no_missed_trigger")
    assert found.verdict == "holds"
    assert "before the first and after the last record cannot be seen" in found.sentence
    assert verdict(clean, "no_slip").verdict == "holds"
    assert verdict(clean, "triggers_sent", 32).verdict == "holds"


def test_a_missed_trigger_fails_with_its_record(make_tank: Any) -> None:
    findings = measured(make_tank, [without(11)] * 2)
    found = verdict(findings, "no_missed_trigger")
    assert (found.verdict, found.records) == ("fails", (10,))
    assert found.seen == "1 trigger missed, after record 10"
    assert verdict(findings, "triggers_sent", 33).verdict == "holds"
    assert verdict(findings, "triggers_sent", 34).verdict == "fails"


def test_a_loss_at_the_end_is_seen_by_the_count_alone(clean: Findings) -> None:
    lost = replace(clean, sequence=replace(clean.sequence, sent=33))
    assert verdict(lost, "no_missed_trigger").verdict == "fails"
    # a claim tells the number as well as the setting does
    both = judge(clean, [claim("no_missed_trigger"), claim("triggers_sent", 33)])
    assert [found.verdict for found in both] == ["fails", "fails"]


def test_a_withheld_trigger_that_is_found_is_not_counted_against_the_claim(make_tank: Any) -> None:
    findings = measured(make_tank, [without(11)] * 2)
    found = verdict(findings, "no_missed_trigger", withheld=[11])
    assert (found.verdict, found.withheld) == ("holds", (11,))
    assert "the method notices" in found.sentence
    # another one missing is still counted
    more = measured(make_tank, [without(11, 20)] * 2)
    found = verdict(more, "no_missed_trigger", withheld=[11])
    assert (found.verdict, found.records) == ("fails", (18,))
    assert verdict(more, "no_missed_trigger").seen == "2 triggers missed, after records 10 and 18"
    assert verdict(more, "no_missed_trigger", withheld=[11, 20]).verdict == "holds"


def test_of_a_part_no_more_is_said_than_was_measured(make_tank: Any) -> None:
    """Ping 20 was lost, and lies behind the part."""
    findings = measured(make_tank, [without(20), without(20)], {"records": "0:9"})
    found = verdict(findings, "no_missed_trigger")
    assert "none missed in 9 records that were measured" in found.sentence
    found = verdict(findings, "no_missed_trigger", withheld=[20])
    assert found.verdict == "undecided"
    assert "only a part of the records was measured" in found.sentence


def test_a_withheld_trigger_that_is_not_found_fails_the_claim(clean: Findings) -> None:
    found = verdict(clean, "no_missed_trigger", withheld=[11])
    assert found.verdict == "fails"
    assert "did not notice that trigger 11 was withheld" in found.sentence
    assert found.records == (11,)


def test_where_no_witness_sees_every_loss_the_claim_is_undecided(make_tank: Any) -> None:
    session = make_tank([ALL, ALL])
    session.trigger_time[:] = np.nan
    findings = measure(session, layered(option={"span": SPAN, "alignment_span": "5 us .. 25 us"}))
    found = verdict(findings, "no_missed_trigger")
    assert found.verdict == "undecided"
    assert "a loss of 8 triggers cannot be seen" in found.reason
    assert "the number of triggers sent" in found.needed
    known = replace(findings, sequence=replace(findings.sequence, sent=32))
    assert verdict(known, "no_missed_trigger").verdict == "holds"


def test_a_slip_fails_with_its_record(make_tank: Any) -> None:
    findings = measured(make_tank, [list(range(32)), [p for p in range(33) if p != 20]])
    found = verdict(findings, "no_slip")
    assert (found.verdict, found.records) == ("fails", (20,))


def test_polarity_by_trigger_and_not_by_record(make_tank: Any, clean: Findings) -> None:
    # after the missing ping two equal signs follow each other, as they must
    findings = measured(make_tank, [without(11)] * 2)
    assert verdict(findings, "polarity", "alternates").verdict == "holds"
    assert verdict(findings, "polarity", "+ -").verdict == "holds"
    assert verdict(findings, "polarity", "constant").verdict == "fails"
    assert verdict(findings, "polarity", "+ + - -").verdict == "fails"
    signs = clean.polarity.sign.copy()
    signs[5, 0] = -signs[5, 0]
    wrong = replace(clean, polarity=replace(clean.polarity, sign=signs))
    found = verdict(wrong, "polarity", "alternates")
    assert (found.verdict, found.records) == ("fails", (5,))
    unclear = clean.polarity.confidence.copy()
    unclear[5, 0] = 1.0
    doubtful = replace(wrong, polarity=replace(wrong.polarity, confidence=unclear))
    assert verdict(doubtful, "polarity", "alternates").verdict == "undecided"


def test_polarity_cannot_prove_itself(clean: Findings) -> None:
    """Where polarity alone told of a missed trigger, it may as well have broken its pattern."""
    from pulsewright_analysis.results import MissedTrigger

    signs = clean.polarity.sign.copy()
    signs[11:] = -signs[11:]
    sequence = replace(clean.sequence, missed=(MissedTrigger(10, 1, ("polarity",)),))
    findings = replace(clean, sequence=sequence, polarity=replace(clean.polarity, sign=signs))
    assert verdict(findings, "polarity", "alternates").verdict == "undecided"


def test_clipped_samples(clean: Findings) -> None:
    assert verdict(clean, "no_clipped_sample").verdict == "holds"
    health = list(clean.health)
    health[2] = replace(health[2], clipped_samples=4, clipped_records=(3, 9))
    clipped = replace(clean, health=tuple(health))
    assert verdict(clipped, "no_clipped_sample").records == (3, 9)
    assert verdict(clipped, "no_clipped_sample", channels="H01,H02").verdict == "holds"


# -- in words -------------------------------------------------------------------------------------------------


def test_a_sentence_is_made_of_what_was_claimed_and_what_was_seen() -> None:
    told = Verdict("a", "noise", None, "at most 5 mV", "undecided", claimed="the noise. Seen: as usual", seen="2 mV")
    assert told.sentence == "Claimed: the noise. Seen: as usual. Seen: 2 mV"
    assert told.seen == "2 mV"
    # a reason that ends the sentence by chance still stands below it
    assert replace(told, reason="2 mV").why == "2 mV"
    unmeasured = replace(told, claimed="the noise", seen="", reason="no record")
    assert (unmeasured.sentence, unmeasured.why) == ("Claimed: the noise. Not measured: no record", "")


def test_a_count_that_could_not_be_made_names_no_limit(clean: Findings) -> None:
    found = verdict(clean, "no_clipped_sample", channels="H09")
    assert found.sentence.startswith("Claimed: no sample at an end code of the converter. Not measured: there is no")


def test_a_skew_that_was_not_measured_has_both_its_limits(clean: Findings) -> None:
    found = verdict(clean, "skew", "5 ns", channels="H09")
    assert (found.measured, found.low, found.high) == (None, -5e-9, 5e-9)


# -- what would decide ----------------------------------------------------------------------------------------


def averaged(value: float, one_record: float, records: int, lasting: float = 0.0) -> Estimate:
    terms = (Term("noise", one_record / np.sqrt(records), "A"), Term("cable delay", lasting, "B", None, "delay_u"))
    return Estimate(Quantity.from_terms(value, "s", terms), count=records)


@pytest.mark.parametrize("value", [0.9, 1.1])
def test_as_many_records_as_are_asked_for_do_decide(value: float) -> None:
    one = averaged(value, 2.0, 50, lasting=0.02)
    assert one.against(None, 1.0, 0.95) == "undecided"
    told = what_would_decide(one, None, 1.0, 0.95, 1e6)
    total = int(re.search(r"([\d,]+) in all", told)[1].replace(",", ""))  # type: ignore[index]
    assert averaged(value, 2.0, total, 0.02).against(None, 1.0, 0.95) != "undecided"
    assert averaged(value, 2.0, int(0.98 * total), 0.02).against(None, 1.0, 0.95) == "undecided"


def test_records_do_not_help_against_what_stays_the_same_in_all_of_them() -> None:
    told = what_would_decide(averaged(0.9, 0.1, 50, lasting=0.2), None, 1.0, 0.95, 1e6)
    assert told.startswith("more records do not help")
    assert "cable delay" in told and "delay_u" in told


def test_a_trigger_that_was_not_timed_asks_for_a_finer_sample_rate() -> None:
    def untimed(interval: float) -> Estimate:
        terms = (Term("noise", 1e-9, "A"), Term("triggers not timed", interval / np.sqrt(12), "B", uniform=True))
        return Estimate(Quantity.from_terms(80e-9, "s", terms), count=20)

    one = untimed(200e-9)
    assert one.against(None, 100e-9, 0.95) == "undecided"
    told = what_would_decide(one, None, 100e-9, 0.95, 5e6)
    rate = float(re.search(r"A sample rate of ([\d.]+) MS/s", told)[1]) * 1e6  # type: ignore[index]
    assert untimed(1 / rate).against(None, 100e-9, 0.95) == "holds"
    assert rate > 5e6


def test_one_pulses_own_u_is_not_averaged() -> None:
    told = what_would_decide(Estimate(Quantity(0.95, 0.1, "V")), None, 1.0, 0.95, 1e6)
    assert "one pulse's own u" in told


def test_a_value_on_its_limit_is_never_decided() -> None:
    assert "no measurement decides" in what_would_decide(averaged(1.0, 0.1, 9), None, 1.0, 0.95, 1e6)


def test_records_that_decide_about_a_scatter() -> None:
    from pulsewright_analysis.jitter import scatter_quantity

    one = Estimate(scatter_quantity(4e-9, 34, 1e-9), own=1e-9, count=36)
    assert one.against(None, 5e-9, 0.95) == "undecided"
    told = what_would_decide(one, None, 5e-9, 0.95, 1e6)
    total = int(re.search(r"([\d,]+) in all", told)[1].replace(",", ""))  # type: ignore[index]
    assert Estimate(scatter_quantity(4e-9, total - 1, 1e-9), own=1e-9).against(None, 5e-9, 0.95) == "holds"


def test_the_exit_code_follows_the_worst_verdict(clean: Findings) -> None:
    from pathlib import Path

    from pulsewright.claims_file import ClaimsFile

    def code(*claims: Claim) -> int:
        return assessed(clean, ClaimsFile(Path("a.toml"), claims=claims)).exit_code

    holds, fails = claim("no_slip"), claim("noise", "1 mV")
    open_one = claim("enob", 7)
    assert code() == 0
    assert code(holds) == 0
    assert code(holds, open_one) == 3
    assert code(holds, open_one, fails) == 1
