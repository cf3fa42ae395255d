"""Judges the claims on the desk in the background: anew with new findings, other claims, or moved markers."""

from __future__ import annotations

from PySide6.QtCore import QObject, QTimer, Signal

from pulsewright.review import Review
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.review_file import markers_of
from pulsewright_app.desk.work import Background

_KEY = "Judging"
_SETTLE_MS = 100
"""A marker that is dragged is judged once it rests."""


class Judging(QObject):
    """Keeps the verdicts on the desk up with findings, claims and markers."""

    told = Signal(str)
    """A sentence for the bar at the top."""

    def __init__(
        self, document: Document, results: Results, background: Background, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._document, self._results, self._background = document, results, background
        self._judged: object = None
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(self.start)
        results.changed.connect(self._results_changed)
        document.claims_changed.connect(self.start)
        document.pairs_changed.connect(self._pairs_changed)

    def _pairs_changed(self) -> None:
        claims = self._document.claims_file
        if claims is not None and any(claim.pair for claim in claims.claims):
            self._results.mark_verdicts_out_of_date()
            self._settle.start()

    def _results_changed(self) -> None:
        if self._results.findings is not self._judged and not self._results.partial:
            self.start()

    def start(self) -> None:
        """Judge what is claimed by the findings that are there."""
        self._settle.stop()
        if self._results.partial:
            return  # what is claimed of a session is not judged by some of its records
        findings, claims = self._results.findings, self._document.claims_file
        self._judged = findings
        self._background.cancel(_KEY)
        if findings is None or claims is None or not claims.claims:
            self._results.judge(())
            return
        self._results.mark_verdicts_out_of_date()  # those that are there are of other claims, markers or numbers
        written, review = claims.claims, self._review()

        def judged() -> tuple[Verdict, ...]:
            from pulsewright_analysis.claims import judge

            return judge(findings, written, review)

        self._background.start(_KEY, lambda _: judged(), self._results.judge, self._failed)

    def _failed(self, sentence: str) -> None:
        self._results.fail_to_judge()
        self.told.emit(f"The claims are not judged: {sentence}")

    def _review(self) -> Review:
        """Return the markers on the desk, as a claim takes them."""
        session = self._document.session
        names = [] if session is None else [channel.name for channel in session.channels]
        return Review(markers=markers_of(self._document.pairs, names))
