"""The records as a table for the desk, made once for all that ask: the filter, the panel."""

from __future__ import annotations

from pulsewright.session import Session
from pulsewright_analysis.record_table import RecordTable, record_table
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing


class MeasuredTable:
    """What was measured of each record, seen from the current channel; what a person said is left to the asker."""

    def __init__(self, document: Document, viewing: Viewing, results: Results) -> None:
        self._document, self._viewing, self._results = document, viewing, results
        self._made: tuple[Session, Findings | None, int, RecordTable] | None = None

    def now(self) -> RecordTable | None:
        """Return the table as it is now; None without a session."""
        session, findings, channel = self._document.session, self._results.findings, self._viewing.channel
        if session is None:
            self._made = None
            return None
        made = self._made
        if made is None or made[0] is not session or made[1] is not findings or made[2] != channel:
            made = self._made = (session, findings, channel, record_table(session, findings, channel))
        return made[3]
