"""Judges claims: holds, fails or undecided, by guard bands of the expanded uncertainty (JCGM 106:2012)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pulsewright.claim import Claim
from pulsewright.quantity import engineering
from pulsewright.review import Review
from pulsewright_analysis.claim_counts import COUNTED
from pulsewright_analysis.claim_estimates import Evidence, Gathered, NotMeasurable, gather
from pulsewright_analysis.claim_wording import FIGURES, method_of
from pulsewright_analysis.estimates import Estimate
from pulsewright_analysis.results import Findings
from pulsewright_analysis.undecided import what_would_decide
from pulsewright_analysis.verdicts import Decision, Verdict, listed_records


def judge(findings: Findings, claims: Sequence[Claim], review: Review | None = None) -> tuple[Verdict, ...]:
    """Return the verdict on each claim, in the order of the claims.

    Parameters
    ----------
    findings : Findings
        Of a whole measuring.
    claims : sequence of Claim
    review : Review, optional
        What a person added: where a claim's marker pair is found.

    Returns
    -------
    tuple of Verdict
        *holds* where the whole interval of the error, at the coverage of the settings, lies inside the limits;
        *fails* where all of it lies outside; *undecided* in between, with what would decide it (JCGM 106:2012,
        clause 8, guard bands of U on each side). Of many channels, pairs or pulses each must hold, and each is given
        the share (1 − coverage)/n of lying outside its interval (Bonferroni's inequality). A claim that cannot be
        measured is undecided with the reason, never left out.
    """
    evidence = Evidence(findings, review, tuple(claims))
    return tuple(_judged(claim, evidence) for claim in claims)


def _judged(claim: Claim, evidence: Evidence) -> Verdict:
    findings = evidence.findings
    coverage = findings.settings.coverage_percent / 100
    low, high = _limits(claim)
    start = Verdict(
        claim.name,
        claim.kind,
        None,
        claim.limit.words,
        "undecided",
        claimed=claim.about.meaning + (f", {claim.limit.words}" if claim.about.has_limit else ""),
        low=low,
        high=high,
        coverage=coverage,
        figure=FIGURES[claim.kind],
        method=method_of(claim, findings),
        withheld=claim.withheld,
    )
    try:
        if claim.kind in COUNTED:
            return COUNTED[claim.kind](claim, evidence, start)
        return _by_limit(claim, findings, gather(claim, evidence), start)
    except NotMeasurable as error:
        return replace(start, reason=str(error))


def _by_limit(claim: Claim, findings: Findings, gathered: Gathered, start: Verdict) -> Verdict:
    low, high = _limits(claim)
    compared = max(gathered.compared, len(gathered.estimates))
    if compared == 0:
        raise NotMeasurable("; ".join(gathered.gaps) or "there is nothing to compare")
    share = 1 - (1 - start.coverage) / compared
    decisions = [estimate.against(low, high, share) for estimate in gathered.estimates]
    decision: Decision = "holds"
    if "fails" in decisions:
        decision = "fails"
    elif "undecided" in decisions or gathered.gaps:
        decision = "undecided"
    # the estimate that decides is the one that fails most clearly, else the one that reaches furthest
    deciding = [e for e, made in zip(gathered.estimates, decisions, strict=True) if made == decision]
    worst = max(deciding or gathered.estimates, key=lambda estimate: estimate.excess(low, high, share))
    interval = worst.interval(share)
    return replace(
        start,
        measured=worst.quantity,
        verdict=decision,
        records=_against(gathered.estimates, decisions),
        seen=_seen(worst, compared, interval),
        reason=_reason(decision, gathered, decisions),
        needed=_needed(worst, claim, share, findings) if decision == "undecided" and "undecided" in decisions else "",
        interval=interval,
        probability=None if gathered.gaps else _probability(gathered.estimates, claim),
        budget=worst.budget,
    )


def _limits(claim: Claim) -> tuple[float | None, float | None]:
    """Return the limits; those of a skew hold in both directions."""
    low, high = claim.limit.low, claim.limit.high
    if claim.kind.startswith("skew") and high is not None:
        return -high, high
    return low, high


def _seen(worst: Estimate, compared: int, interval: tuple[float, float]) -> str:
    quantity = worst.quantity
    seen = f"{f'{worst.what}, ' if worst.what else ''}{quantity.in_words}"
    if compared == 1:
        return seen
    low, high = (engineering(end, quantity.unit) for end in interval)
    return f"{seen}; as {compared} are compared at once, from {low} to {high}"


def _against(estimates: Sequence[Estimate], decisions: Sequence[Decision]) -> tuple[int, ...]:
    """Return the records of what fails."""
    failing = (e for e, made in zip(estimates, decisions, strict=True) if made == "fails")
    return listed_records(record for estimate in failing for record in estimate.records)


def _reason(decision: Decision, gathered: Gathered, decisions: Sequence[Decision]) -> str:
    if decision != "undecided":
        return ""
    if "undecided" in decisions:
        first = "the interval reaches across the limit"
        return "; ".join((first, *gathered.gaps))
    return "; ".join(gathered.gaps)


def _needed(worst: Estimate, claim: Claim, coverage: float, findings: Findings) -> str:
    low, high = _limits(claim)
    return what_would_decide(worst, low, high, coverage, findings.session.sample_rate)


def _probability(estimates: Sequence[Estimate], claim: Claim) -> float:
    """Return the probability that all conform, their errors taken as independent.

    Errors that several have in common, such as the reference's noise, make it larger than that, never smaller
    (Šidák's inequality, for normal errors and limits on both sides).
    """
    low, high = _limits(claim)
    return math.prod(estimate.conformity(low, high) for estimate in estimates)
