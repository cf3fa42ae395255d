"""Measures one session of a campaign; this is what a worker runs, on whatever machine."""

from __future__ import annotations

from pathlib import Path

from pulsewright.claims_file import ClaimsFile
from pulsewright.errors import PulsewrightError
from pulsewright_analysis.assessment import Assessment, Verdict
from pulsewright_analysis.budgets import budget_names, budget_of
from pulsewright_analysis.results import Findings
from pulsewright_app.campaign.finding import basis_of
from pulsewright_app.campaign.outcome import Basis, Judged, Measured, Outcome


def outcome_of(folder: Path, session: str, claims: ClaimsFile, claims_digest: str, version: str) -> Outcome:
    """Measure and judge one session; what goes wrong is told in the outcome, so that the others go on.

    Parameters
    ----------
    folder : Path
        The campaign's folder, as this machine sees it.
    session : str
        The session's path in it.
    claims : ClaimsFile
        What is claimed, with its settings.
    claims_digest, version : str
        What the outcome rests on besides the files.
    """
    nothing = Basis.unknown(claims_digest, version)
    basis = nothing
    try:
        basis = basis_of(folder / session, claims_digest, version)
        return _measured(folder, session, claims, basis)
    except PulsewrightError as error:
        return Outcome(session, "failed", basis, error.sentence)
    # what follows may come out otherwise another time, so it rests on nothing and is tried again
    except MemoryError:
        return Outcome(session, "failed", nothing, "There is not enough memory for it on this worker.")
    except Exception as error:  # one broken session must not end a night's work
        fault = f"A fault of the program itself ({type(error).__name__}: {error})."
        return Outcome(session, "failed", nothing, fault)


def lost(session: str, claims_digest: str, version: str) -> Outcome:
    """Return the outcome of a session whose workers ended under it; it will be tried again."""
    reason = "Its workers ended one after another while they measured it; they may have lacked memory."
    return Outcome(session, "failed", Basis.unknown(claims_digest, version), reason)


def _measured(folder: Path, session: str, claims: ClaimsFile, basis: Basis) -> Outcome:
    from pulsewright_app.inputs import open_with_settings

    given = open_with_settings(folder / session, claims)
    with given.session as opened:
        assessment = given.assess()
        return Outcome(
            session,
            "measured",
            basis,
            sha256=given.sha256,
            created=opened.created,
            records=opened.records,
            channels=len(opened.channels),
            quantities=quantities_of(assessment.findings),
            verdicts=verdicts_of(assessment),
        )


def quantities_of(findings: Findings) -> tuple[Measured, ...]:
    """Return every quantity that has a budget, single pulses left out."""
    found = []
    for name in budget_names(findings):
        budget = budget_of(findings, name)
        quantity = budget.quantity
        low, high = quantity.interval95
        found.append(
            Measured(
                name, budget.meaning, quantity.unit, float(quantity.value), float(quantity.u), quantity.dof,
                float(low), float(high),
            )
        )  # fmt: skip
    return tuple(found)


def verdicts_of(assessment: Assessment) -> tuple[Judged, ...]:
    """Return what each claim came to, in plain values."""
    return tuple(_judged(verdict) for verdict in assessment.verdicts)


def _judged(verdict: Verdict) -> Judged:
    quantity = verdict.measured
    low, high = (None, None) if quantity is None else quantity.interval95
    return Judged(
        verdict.name,
        verdict.kind,
        verdict.limit,
        verdict.verdict,
        verdict.sentence,
        verdict.reason,
        "" if quantity is None else quantity.unit,
        None if quantity is None else float(quantity.value),
        None if quantity is None else float(quantity.u),
        None if low is None else float(low),
        None if high is None else float(high),
        verdict.low,
        verdict.high,
        verdict.probability,
        ",".join(str(record) for record in verdict.records),
    )
