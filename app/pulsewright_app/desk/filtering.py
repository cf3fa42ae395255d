"""Understands the filter of the desk, and keeps the records that match it up with what is measured and said."""

from __future__ import annotations

from PySide6.QtCore import QObject

from pulsewright.errors import FilterError
from pulsewright_analysis.filter_completion import Completion, completion
from pulsewright_analysis.record_filter import parse_filter
from pulsewright_analysis.record_table import RecordTable
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing


class Filtering(QObject):
    """Hands the records that match the filter to `Viewing`, anew whenever they may be others."""

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        measured: MeasuredTable | None = None,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._document, self._viewing = document, viewing
        self._measured = measured or MeasuredTable(document, viewing, results)
        self._results, self._matched_by = results, results.findings
        results.changed.connect(self._results_changed)
        for signal in (
            document.flags_changed, document.notes_changed, document.left_out_changed,
            viewing.channel_changed,
        ):  # fmt: skip
            signal.connect(self._match_again)

    @property
    def unit(self) -> str:
        """The unit of amplitudes on the current channel."""
        session = self._document.session
        return "V" if session is None else session.channels[self._viewing.channel].unit

    def table(self) -> RecordTable | None:
        """Return the record table seen from the current channel; None without a session."""
        table = self._measured.now()
        return None if table is None else table.saying(self._document.additions)

    def completion(self, text: str, cursor: int) -> Completion:
        """Return what may stand at the cursor of a filter that is being written."""
        return completion(text, cursor, self.unit)

    def apply(self, text: str) -> None:
        """Walk through the records that match a filter; an empty one lets all in again, passing records or not.

        Raises
        ------
        FilterError
            If it cannot be understood; the filter before it stays.
        """
        table = self.table()
        if table is None:
            return
        found = parse_filter(text, table.unit)
        self._viewing.walk_through(None)
        # in one step: very many records are listed anew by each
        self._viewing.set_filter(found.text, found.matching(table) if found.text else None, only=bool(found.text))

    def _results_changed(self) -> None:
        if self._results.findings is not self._matched_by:  # else only how fresh they are has changed
            self._match_again()

    def _match_again(self) -> None:
        self._matched_by = self._results.findings
        text = self._viewing.filter_text
        table = self.table() if text else None
        if table is None:
            return
        try:  # another channel may have another unit
            found = parse_filter(text, table.unit)
        except FilterError as error:
            self._viewing.set_filter("", None)
            self._viewing.tell(f"The filter is taken away: {error.sentence}")
            return
        self._viewing.set_filter(found.text, found.matching(table))
