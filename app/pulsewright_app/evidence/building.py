"""Builds the evidence sheet of one session: every number of it is taken from the assessment."""

from __future__ import annotations

from itertools import groupby

from pulsewright.review import Review
from pulsewright.session import Session
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.findings import Watch
from pulsewright_app.evidence.accumulating import UNWATCHED
from pulsewright_app.evidence.claim_parts import claim_parts
from pulsewright_app.evidence.current import require_current
from pulsewright_app.evidence.marker_tables import level_table, marker_table, pair_notes_table, series_table
from pulsewright_app.evidence.part_tables import (
    health_table,
    left_out_table,
    notes_table,
    recorder_table,
    rejected_table,
    session_facts,
    skew_table,
)
from pulsewright_app.evidence.pictures import KINDS, Pictures
from pulsewright_app.evidence.settings_table import settings_table
from pulsewright_app.evidence.sheet import ClaimPart, Decision, Facts, Passage, Sheet
from pulsewright_app.evidence.titles import usual_title
from pulsewright_app.evidence.view_pictures import view_picture
from pulsewright_app.evidence.words import CAUTIONS, HOW_TO_READ
from pulsewright_app.sentences import ALIGNMENT_ROWS, HEALTH, SETTINGS, STANDS_OUT, Sentence, sentences
from pulsewright_app.wording import summary, with_full_stop

_IN_TABLES = (ALIGNMENT_ROWS, HEALTH, SETTINGS)


def sheet_of(
    assessment: Assessment,
    session: Session,
    review: Review | None = None,
    *,
    date: str = "",
    by: str = "",
    watch: Watch = UNWATCHED,
) -> Sheet:
    """Return the evidence sheet of a session.

    Parameters
    ----------
    assessment : Assessment
        Every number is taken from it.
    session : Session
        The one that was assessed, open: figures are drawn from its samples.
    review : Review, optional
        What a person added: markers, reasons, notes, views.
    date, by : str
        When and by whom the sheet was made; empty ones are left to be filled in by hand.
    watch : Watch, optional
        Told how far the figures are; stops the work when it is called off.

    Raises
    ------
    Cancelled
        If it was called off.
    EvidenceError
        If the findings are not those of this session and this review as they are now.
    """
    from importlib.metadata import version

    review = review or Review()
    findings = assessment.findings
    session = session.with_delays(findings.settings.delays)
    require_current(assessment, session, review, watch)
    pictures = Pictures(session, assessment, review, watch)
    claims = claim_parts(assessment, pictures)
    rest = [picture for kind in KINDS if not pictures.has(kind) and (picture := pictures.of(kind)) is not None]
    return Sheet(
        title=review.sheet_title or usual_title(assessment.claims, session),
        date=date,
        by=by,
        outcome=_outcome(claims),
        summary=_summary(claims),
        session=(*session_facts(session, findings), *_claims_fact(assessment)),
        recorder=recorder_table(session, findings),
        alerts=_alerts(assessment),
        claims=claims,
        passages=_passages(assessment),
        pictures=tuple(rest),
        skews=skew_table(findings),
        health=health_table(findings),
        markers=marker_table(review, findings),
        marker_series=series_table(review, findings),
        levels=level_table(review, session, findings),
        pair_notes=pair_notes_table(review),
        left_out=left_out_table(review, findings),
        rejected=rejected_table(review, findings),
        notes=notes_table(review, findings),
        views=tuple(
            view_picture(view, session, findings, review, pictures.next_number(), watch) for view in review.sheet_views
        ),
        settings=settings_table(findings),
        methods=HOW_TO_READ,
        cautions=CAUTIONS,
        software=f"Pulsewright {version('pulsewright')}",
    )


def _claims_fact(assessment: Assessment) -> Facts:
    """Return where the claims came from; nothing where nothing was claimed."""
    claims = assessment.claims
    if claims is None:
        return ()
    edited = ", edited on the desk and not saved into it" if claims.edited else ""
    return (("Claims", f"{claims.path.name}{edited}"),)


def _alerts(assessment: Assessment) -> Passage | None:
    """Return what stands out and no claim is about."""
    told = [s for s in _unclaimed(assessment) if s.group == STANDS_OUT]
    title = "What else stands out" if assessment.verdicts else STANDS_OUT
    return Passage(title, tuple((f"{s.text}.", s.serious) for s in told)) if told else None


def _passages(assessment: Assessment) -> tuple[Passage, ...]:
    """Return the other findings in words, without what stands in a table."""
    return tuple(
        Passage(title, tuple((f"{s.text}.", s.serious) for s in members))
        for title, members in groupby(_unclaimed(assessment), key=lambda sentence: sentence.group)
        if title not in (*_IN_TABLES, STANDS_OUT)
    )


def _unclaimed(assessment: Assessment) -> list[Sentence]:
    """Return the findings in words, without the numbers that a claim is about."""
    claimed = [verdict.measured for verdict in assessment.verdicts if verdict.measured is not None]
    return [s for s in sentences(assessment.findings) if s.quantity is None or s.quantity not in claimed]


def _outcome(claims: tuple[ClaimPart, ...]) -> Decision | None:
    """Return the worst verdict, in the order of the exit codes; None where nothing was claimed."""
    decisions = {claim.verdict for claim in claims}
    order: tuple[Decision, ...] = ("fails", "undecided", "holds")
    return next((decision for decision in order if decision in decisions), None)


def _summary(claims: tuple[ClaimPart, ...]) -> str:
    if not claims:
        return "Nothing was claimed: the sheet shows what was measured."
    return with_full_stop(summary([claim.verdict for claim in claims]))
