"""Findings and verdicts of one session together: window, command line and notebook take numbers from here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from pulsewright.digest import sha256_of
from pulsewright.quantity import Quantity
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.findings_json import as_json, plain
from pulsewright_analysis.results import Findings

Decision = Literal["holds", "fails", "undecided"]


@dataclass(frozen=True)
class Verdict:
    """What one claim came to.

    Attributes
    ----------
    name, kind : str
        As in the claims file.
    measured : Quantity or None
        The quantity that the claim is about; None: not measured.
    limit : str
        The limit in words.
    verdict : str
        ``holds``, ``fails`` or ``undecided``.
    records : tuple of int
        The records behind it.
    """

    name: str
    kind: str
    measured: Quantity | None
    limit: str
    verdict: Decision
    records: tuple[int, ...] = ()


@dataclass(frozen=True)
class Assessment:
    """Everything known about one session: what was measured, and what its claims came to."""

    findings: Findings
    verdicts: tuple[Verdict, ...] = ()

    @property
    def exit_code(self) -> int:
        """0: every claim holds; 1: at least one fails; 3: none fails, but at least one is undecided."""
        decisions = {verdict.verdict for verdict in self.verdicts}
        if "fails" in decisions:
            return 1
        return 3 if "undecided" in decisions else 0

    def as_json(self) -> dict[str, Any]:
        """Return the form that ``measure --json`` prints, as plain Python without NaN."""
        body = as_json(self.findings)
        body["claims"] = plain([_verdict(verdict) for verdict in self.verdicts])
        return body


def _verdict(verdict: Verdict) -> dict[str, Any]:
    return {
        "name": verdict.name,
        "kind": verdict.kind,
        "measured": None if verdict.measured is None else verdict.measured.as_json(),
        "limit": verdict.limit,
        "verdict": verdict.verdict,
        "records": verdict.records,
    }


def assess(
    session: Session,
    settings: Settings,
    progress: Callable[[float, str], None] | None = None,
    cancelled: Callable[[], bool] | None = None,
    sha256: str | None = None,
) -> Assessment:
    """Measure a session.

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

    Raises
    ------
    SettingError, Cancelled
        As `findings.measure` does.
    """
    from pulsewright_analysis.findings import measure

    if sha256 is None:
        sha256 = "" if session.file is None else sha256_of(session.file, cancelled)
    return Assessment(measure(session, settings, progress, cancelled, sha256))
