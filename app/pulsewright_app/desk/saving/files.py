"""Writes sheets, pictures and tables in the background, from what is on the desk at that moment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QBuffer, QIODevice, QObject, Signal
from PySide6.QtGui import QImage

from pulsewright_analysis.assessment import Assessment
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.reviewing import Reviewing
from pulsewright_app.desk.saving.current_view import current_view
from pulsewright_app.desk.saving.places import SavePlaces
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.work import Background, Job
from pulsewright_app.wording import count

if TYPE_CHECKING:
    from pulsewright_analysis.findings import Watch
    from pulsewright_analysis.record_table import RecordTable
    from pulsewright_analysis.table_columns import Table
    from pulsewright_app.evidence.view_files import PictureSize

RECORDS = "Writing the records"
SERIES = "Writing the pair over all records"
SHEET, PICTURE, NUMBERS = "Writing the evidence sheet", "Writing the picture", "Writing the numbers"
_OR_THE_SCREEN = "or save the view as it is on the screen."
TABLES = (RECORDS, SERIES, NUMBERS)
"""What is written without a page of its own."""


class Files(QObject):
    """What can be written of the session on the desk; one file of a kind at a time.

    Every method that writes returns at once. What came of it is told by `saved` or `failed`.
    """

    saved = Signal(str, object, str)
    """What was written (`SHEET`, …), where (a Path), and a sentence about it."""
    failed = Signal(str, str)
    """What was not written, and why."""
    begun = Signal(str)
    """What is being written from now on."""
    progress = Signal(str, float, str)
    """What is being written, the share done, and what is being done."""

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        reviewing: Reviewing,
        background: Background,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._document, self._viewing, self._results = document, viewing, results
        self._reviewing, self._background = reviewing, background
        self._writing: set[str] = set()
        self.places = SavePlaces(document, self)
        document.session_changed.connect(self._session_changed)

    def _session_changed(self) -> None:
        for key in tuple(self._writing):
            self.cancel(key)

    # -- what can be written now ----------------------------------------------------------------------------

    def sheet_refused(self) -> str:
        """Return why no sheet can be made now, in a sentence; empty where one can."""
        results = self._results
        if self._document.session is None:
            return "There is no session on the desk: open one first."
        if results.busy:
            return "The session is being measured; the sheet can be saved when that is done."
        if results.findings is None or results.partial:
            return "The session is not measured: measure it first, or see in the bar at the top why it cannot be."
        if results.out_of_date:
            return "The findings are older than the settings: measure again first."
        lacking = [one.name or "one without a name" for one in self._document.written_claims.incomplete]
        if lacking:
            others = " and others" if lacking[1:] else ""
            return f"Not complete: the claim {lacking[0]}{others}; fill it in or remove it (Ctrl+K)."
        claims = self._document.claims_file
        if claims is not None and claims.claims and results.verdicts_out_of_date:
            return "The claims are not judged by these findings yet."
        if self._document.session.file is not None and not results.findings.session.sha256:
            return "The digest of the whole file is still being taken; the sheet can be saved when it is known."
        return ""

    def picture_refused(self) -> str:
        """Return why the view cannot be drawn as on the sheet now, in a sentence; empty where it can."""
        view, results = current_view(self._document, self._viewing), self._results
        if isinstance(view, str):
            return view
        if results.findings is None:
            return f"The session is not measured yet: wait until it is, {_OR_THE_SCREEN}"
        if results.partial:
            return f"Only {results.part} are measured so far: wait for the others, {_OR_THE_SCREEN}"
        if results.out_of_date:
            return f"The findings are older than the settings: measure again first, {_OR_THE_SCREEN}"
        return ""

    def assessment(self) -> Assessment | None:
        """Return what was measured and judged; None before anything was."""
        findings = self._results.findings
        if findings is None:
            return None
        return Assessment(findings, self._results.verdicts, self._document.claims_file)

    # -- writing --------------------------------------------------------------------------------------------

    def write_sheet(self, path: Path, date: str = "", by: str = "") -> None:
        """Write the evidence sheet as HTML or PDF, by the ending of the file's name."""
        session, assessment, refused = self._document.session, self.assessment(), self.sheet_refused()
        if refused or session is None or assessment is None:
            self.failed.emit(SHEET, refused)
            return
        review = self._reviewing.as_it_stands()

        def work(job: Job) -> str:
            from pulsewright_app.evidence.writing import write_sheet

            sheet = write_sheet(
                assessment, session, review(), path, date=date, by=by, progress=job.progress, cancelled=job.cancelled
            )
            return sheet.summary

        self._start(SHEET, path, work)

    def write_picture(self, path: Path, size: PictureSize) -> None:
        """Write the view that is looked at as PNG or SVG, by the ending of the file's name."""
        session, findings, refused = self._document.session, self._results.findings, self.picture_refused()
        view = current_view(self._document, self._viewing)
        if refused or isinstance(view, str) or session is None or findings is None:
            self.failed.emit(PICTURE, refused)
            return
        review = self._reviewing.as_it_stands()

        def work(job: Job) -> str:
            from pulsewright_app.evidence.view_files import write_view

            write_view(view, session, findings, review(), path, size, _watch(job))
            return ""

        self._start(PICTURE, path, work)

    def write_screen(self, path: Path, image: QImage) -> None:
        """Write what is seen on the screen as PNG, whatever was measured."""

        def work(job: Job) -> str:
            from pulsewright_app.evidence.view_files import write_picture

            write_picture(path, png_of(image), _watch(job))
            return ""

        self._start(PICTURE, path, work)

    def write_numbers(self, folder: Path) -> None:
        """Write every finding and every marker pair as CSV tables into a folder."""
        assessment, refused = self.assessment(), self.sheet_refused()
        if refused or assessment is None:
            self.failed.emit(NUMBERS, refused.replace("the sheet", "the tables"))
            return
        review = self._reviewing.as_it_stands()

        def work(job: Job) -> str:
            from pulsewright_app.csv_folder import write_csv

            return f"{len(write_csv(assessment, folder, review(), _watch(job)))} tables"

        self._start(NUMBERS, folder, work)

    def write_records(self, path: Path, table: RecordTable, records: Sequence[int]) -> None:
        """Write what is known of some records as one CSV table, in their order."""

        def work(job: Job) -> str:
            from pulsewright_app.csv_folder import write_rows
            from pulsewright_app.records_command import row_of

            rows = (row_of(table, record).values() for record in records)
            write_rows(path, list(row_of(table, 0)), rows, len(records), _watch(job))
            return count(len(records), "record")

        self._start(RECORDS, path, work)

    def write_series(self, path: Path, make_table: Callable[[], Table]) -> None:
        """Write a marker pair over all records as one CSV table."""

        def work(job: Job) -> str:
            from pulsewright_app.csv_folder import write_table

            table = make_table()
            write_table(table, path, _watch(job))
            return count(len(table.rows), "record")

        self._start(SERIES, path, work)

    def _start(self, key: str, path: Path, work: Callable[[Job], str]) -> None:
        def done(sentence: str) -> None:
            self._writing.discard(key)
            self.places.keep(path)
            self.saved.emit(key, path, sentence)

        def failed(sentence: str) -> None:
            self._writing.discard(key)
            self.failed.emit(key, sentence)

        self._writing.add(key)
        self.begun.emit(key)
        self._background.start(key, work, done, failed, lambda share, doing: self.progress.emit(key, share, doing))

    def cancel(self, key: str) -> None:
        """Leave off writing; what was there before stays."""
        if key in self._writing:
            self._writing.discard(key)
            self._background.cancel(key)
            self.failed.emit(key, f"{key} was called off.")

    def cancel_tables(self) -> bool:
        """Leave off writing tables; return whether one was being written."""
        under_way = [key for key in TABLES if key in self._writing]
        for key in under_way:
            self.cancel(key)
        return bool(under_way)

    @property
    def writing_tables(self) -> bool:
        """Whether a table is being written."""
        return any(key in self._writing for key in TABLES)

    @property
    def under_way(self) -> str:
        """What is being written, the first of it; empty if nothing is."""
        return min(self._writing, default="")

    def writing(self, key: str) -> bool:
        """Return whether something of that kind is being written."""
        return key in self._writing


def _watch(job: Job) -> Watch:
    from pulsewright_analysis.findings import Watch

    return Watch(job.progress, job.cancelled)


def png_of(image: QImage) -> bytes:
    """Return a picture as a PNG file."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    image.save(buffer, "PNG")  # type: ignore[call-overload]  # declared for bytes, and PySide takes text
    return bytes(buffer.data().data())
