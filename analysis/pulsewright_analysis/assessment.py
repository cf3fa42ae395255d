"""Findings and verdicts of one session together: window, command line and notebook take numbers from here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pulsewright.claims_file import ClaimsFile
from pulsewright.digest import sha256_of
from pulsewright.review import Review
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.findings_json import as_json, plain
from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Decision as Decision
from pulsewright_analysis.verdicts import Verdict as Verdict
from pulsewright_analysis.verdicts import exit_code_of


@dataclass(frozen=True)
class Assessment:
    """Everything known about one session: what was measured, and what its claims came to.

    Attributes
    ----------
    findings : Findings
    verdicts : tuple of Verdict
        One for each claim, in the order of the claims file.
    claims : ClaimsFile or None
        What was claimed; None where there is no claims file.
    """

    findings: Findings
    verdicts: tuple[Verdict, ...] = ()
    claims: ClaimsFile | None = None

    @property
    def exit_code(self) -> int:
        """0: every claim holds; 1: at least one fails; 3: none fails, but at least one is undecided."""
        return exit_code_of(self.verdicts)

    def as_json(self) -> dict[str, Any]:
        """Return the form that ``measure --json`` prints, as plain Python without NaN."""
        body = as_json(self.findings)
        body["claims"] = plain([verdict.as_json() for verdict in self.verdicts])
        return body


def assess(
    session: Session,
    settings: Settings,
    progress: Callable[[float, str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
    sha256: str | None = None,
    claims: ClaimsFile | None = None,
    review: Review | None = None,
) -> Assessment:
    """Measure a session, and judge what is claimed of it.

    Parameters
    ----------
    session : Session
        Open; it is read block by block and left open.
    settings : Settings
        How it is measured.
    progress : callable, optional
        Told how far the work has come, as `findings.measure` does.
    cancelled : callable, optional
        Asked now and then whether to stop.
    sha256 : str, optional
        Digest of the session's file, where it is known already.
    claims : ClaimsFile, optional
        What is claimed; its settings count only where `settings` have them.
    review : Review, optional
        What a person added: the marker pairs that a claim may be about.

    Raises
    ------
    SettingError, Cancelled
        As `findings.measure` does.
    """
    from pulsewright_analysis.findings import measure

    if sha256 is None:
        sha256 = "" if session.file is None else sha256_of(session.file, cancelled)
    findings = measure(session, settings, progress, cancelled, sha256)
    return assessed(findings, claims, review)


def assessed(findings: Findings, claims: ClaimsFile | None = None, review: Review | None = None) -> Assessment:
    """Return the assessment of what was measured already: claims may change without measuring anew.

    Parameters
    ----------
    findings : Findings
    claims : ClaimsFile, optional
        What is claimed; no verdicts if left out.
    review : Review, optional
        What a person added: the marker pairs that a claim may be about.
    """
    from pulsewright_analysis.claims import judge

    verdicts = () if claims is None else judge(findings, claims.claims, review)
    return Assessment(findings, verdicts, claims)
