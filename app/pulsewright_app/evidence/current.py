"""Refuses to make a sheet of findings that are not those of the session and the review as they are now."""

from __future__ import annotations

from collections.abc import Mapping

from pulsewright.digest import DigestCancelled, sha256_of
from pulsewright.errors import EvidenceError
from pulsewright.review import Review
from pulsewright.session import Session
from pulsewright.settings import Settings, parse_setting
from pulsewright_analysis.assessment import Assessment, assessed
from pulsewright_analysis.findings import Cancelled, Watch
from pulsewright_analysis.results import Findings

_REMEDY = "measure the session anew, then make the sheet"


def require_current(assessment: Assessment, session: Session, review: Review, watch: Watch) -> None:
    """Check that findings were measured in this session by the settings of this review, and judged with its markers.

    Raises
    ------
    Cancelled
        If it was called off.
    EvidenceError
        If the session's file is another one by now, or the review has settings, records left out or markers that the
        findings and verdicts do not rest on.
    """
    findings = assessment.findings
    _require_same_file(findings, session, watch)
    settings, wanted = findings.settings, review.measuring_settings()
    _require_delays(settings, dict(parse_setting("delays", wanted.pop("delays", {}))))
    for name, raw in wanted.items():
        origin = settings.origin(name)
        if origin != "option" and (origin != "review" or getattr(settings, name) != parse_setting(name, raw)):
            raise EvidenceError(f"the findings are older than the review's {name}", _REMEDY)
    for name, origin in settings.origins.items():
        if origin == "review" and name not in (*wanted, "delays"):
            raise EvidenceError(f"the findings rest on a {name} that the review no longer holds", _REMEDY)
    if review.session_sha256 and findings.session.sha256 and review.session_sha256 != findings.session.sha256:
        raise EvidenceError("the review belongs to another session, by its SHA-256", "give the session its own review")
    if assessment.claims is not None and assessed(findings, assessment.claims, review).verdicts != assessment.verdicts:
        # a claim may be about a marker pair, which moves without anything being measured
        raise EvidenceError("the verdicts are older than the claims or the review's markers", _REMEDY)


def _require_delays(settings: Settings, wanted: Mapping[str, float]) -> None:
    """Check that the review's cable delays are those that were taken off, and that no other one of it was."""
    measured, origins = dict(settings.delays), settings.delay_origins
    for channel, delay in wanted.items():
        origin = settings.delay_origin(channel)
        if origin != "option" and (origin != "review" or measured[channel] != delay):
            raise EvidenceError(f"the findings are older than the review's cable delay of {channel}", _REMEDY)
    for channel, origin in origins.items():
        if origin == "review" and channel not in wanted:
            raise EvidenceError(
                f"the findings rest on a cable delay of {channel} that the review no longer holds", _REMEDY
            )


def _require_same_file(findings: Findings, session: Session, watch: Watch) -> None:
    about = findings.session
    if (about.records, about.record_length, len(about.channels)) != (
        session.records, session.record_length, len(session.channels),
    ):  # fmt: skip
        raise EvidenceError("the findings are those of another session", _REMEDY)
    if session.file is None:
        return
    try:
        now = sha256_of(session.file, watch.cancelled)
    except DigestCancelled as cancel:
        raise Cancelled from cancel
    if now != about.sha256:
        # the figures are drawn from the file: they must show the samples that were measured
        raise EvidenceError(f"{session.file.name}: the file has changed since it was measured", _REMEDY)
