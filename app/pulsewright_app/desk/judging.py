"""Judges what is claimed of the session on the desk, anew whenever the findings or the markers are others."""

from __future__ import annotations

from PySide6.QtCore import QObject, QTimer

from pulsewright.session import Session
from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.desk.additions import Additions
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.work import Background

_KEY = "Judging the claims"
_SETTLE_MS = 250
"""A marker that is dragged is judged once."""


class Judging(QObject):
    """Keeps the verdicts on the desk up with the findings, and with the markers that a claim may be about."""

    def __init__(
        self, document: Document, results: Results, background: Background, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._document, self._results, self._background = document, results, background
        self._judged_for = 0
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self._start)
        results.changed.connect(self._findings_changed)
        document.pairs_changed.connect(self._settle.start)
        document.session_changed.connect(self._forget)

    def _forget(self) -> None:
        self._settle.stop()
        self._background.cancel(_KEY)
        self._judged_for = 0

    def _findings_changed(self) -> None:
        results = self._results
        if results.findings is not None and self._judged_for != results.findings_generation:
            self._start()

    def _start(self) -> None:
        session, findings, generation = (
            self._document.session, self._results.findings, self._results.findings_generation,
        )  # fmt: skip
        if session is None or findings is None:
            return
        self._judged_for = generation
        additions = self._document.additions
        self._background.start(
            _KEY,
            lambda _: _judge(session, findings, additions),
            lambda verdicts: self._results.judge(generation, verdicts),
            self._failed,
        )

    def _failed(self, sentence: str) -> None:
        """Without a claims file that can be read nothing is claimed; opening has said why."""
        self._results.judge(self._results.findings_generation, ())


def _judge(session: Session, findings: Findings, additions: Additions) -> tuple[Verdict, ...]:
    """Return the verdicts by the claims file beside the session, none where there is no such file.

    Raises
    ------
    PulsewrightError
        If it cannot be read.
    """
    from pulsewright.claims_file import claims_path_for, read_claims
    from pulsewright_analysis.assessment import assessed
    from pulsewright_app.desk.review_file import Kept, review_of

    if session.file is None:
        return ()
    path = claims_path_for(session.file)
    if not path.exists():
        return ()
    review = review_of(additions, frozenset(), Kept(), session, findings.session.sha256)
    return assessed(findings, read_claims(path), review).verdicts
