"""Each claim with the evidence behind its verdict: numbers, budget, figures, records, method."""

from __future__ import annotations

from collections.abc import Sequence

from pulsewright.errors import BudgetError
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.budgets import budget_of
from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.evidence.numbers import budget_table, facts_of, interval, number
from pulsewright_app.evidence.pictures import Pictures
from pulsewright_app.evidence.sheet import Cell, ClaimPart, Facts, Table
from pulsewright_app.theme import VERDICT_SHAPES
from pulsewright_app.wording import ranges, with_full_stop


def claim_parts(assessment: Assessment, pictures: Pictures) -> tuple[ClaimPart, ...]:
    """Return every claim in the order of the claims file; none is left out, whatever could not be measured."""
    return tuple(
        _part(place, verdict, assessment.findings, pictures)
        for place, verdict in enumerate(assessment.verdicts, start=1)
    )


def _part(place: int, verdict: Verdict, findings: Findings, pictures: Pictures) -> ClaimPart:
    figure = "slip" if verdict.kind == "no_slip" and findings.sequence.slips else verdict.figure
    if verdict.measured is None and verdict.verdict == "undecided" and not verdict.seen:
        figure = ""  # nothing was measured that a figure could show
    new = bool(figure) and not pictures.has(figure)
    picture = pictures.of(figure) if figure else None
    return ClaimPart(
        number=place,
        name=verdict.name,
        kind=verdict.kind,
        limit=verdict.limit,
        verdict=verdict.verdict,
        shape=VERDICT_SHAPES[verdict.verdict],
        measured=_measured(verdict),
        sentence=with_full_stop(verdict.sentence),
        reason=with_full_stop(f"Why: {verdict.why}") if verdict.why else "",
        needed=with_full_stop(f"What would decide it: {verdict.needed}") if verdict.needed else "",
        facts=_facts(verdict),
        budget=_budget(verdict, findings),
        pictures=(picture,) if picture is not None and new else (),
        shown_in=(picture.number,) if picture is not None and not new else (),
        records=_records(verdict.records),
        withheld=_withheld(verdict.withheld),
        method=verdict.method,
    )


def _measured(verdict: Verdict) -> Cell:
    if verdict.measured is not None:
        return number(verdict.measured)
    return verdict.seen or "not measured"


def _facts(verdict: Verdict) -> Facts:
    """Return the numbers; where another than the 95 % interval was compared with the limits, that interval too."""
    if verdict.measured is None:
        return ()
    facts = facts_of(verdict.measured, verdict.probability)
    if verdict.interval is not None and verdict.interval != verdict.measured.interval95:
        name = f"{100 * verdict.coverage:.4g} % interval compared with the limits"
        facts += ((name, interval(*verdict.interval, verdict.measured.unit)),)
    return facts


def _budget(verdict: Verdict, findings: Findings) -> Table | None:
    """Return the budget under the name that the verdict gives, or else what the measured value itself carries."""
    if verdict.budget:
        try:
            return budget_table(budget_of(findings, verdict.budget).quantity)
        except BudgetError:
            pass
    return None if verdict.measured is None else budget_table(verdict.measured)


def _records(records: Sequence[int]) -> str:
    if not records:
        return ""
    noun = "The record that speaks" if len(records) == 1 else "The records that speak"
    return f"{noun} against it: {ranges(records)}."


def _withheld(triggers: Sequence[int]) -> str:
    if not triggers:
        return ""
    noun = "trigger" if len(triggers) == 1 else "triggers"
    return f"Withheld on purpose, to show that a missing trigger is noticed: {noun} {ranges(triggers)}."
