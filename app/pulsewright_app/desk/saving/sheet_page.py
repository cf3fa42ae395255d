"""The page from which the evidence sheet is saved: who and when, how it goes, and the way to open it."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QDate, QLocale, QUrl
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QCheckBox, QFileDialog, QHBoxLayout, QLineEdit, QPushButton, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.saving.files import SHEET, Files
from pulsewright_app.desk.saving.places import meant
from pulsewright_app.evidence.titles import usual_title
from pulsewright_app.wording import count

FORMS = "PDF, to print and sign (*.pdf);;HTML, one file for any browser (*.html)"


class SheetPage(FormPage):
    """Asks what only a person knows, and saves the sheet as soon as the findings allow it."""

    def __init__(self, document: Document, results: Results, files: Files, parent: QWidget | None = None) -> None:
        super().__init__("Save the evidence sheet", parent)
        self._document, self._results, self._files = document, results, files
        self.title, self.by, self.date = QLineEdit(), QLineEdit(), QLineEdit()
        self.by.setPlaceholderText("left empty, a line to fill in by hand")
        self.date.setPlaceholderText("left empty, a line to fill in by hand")
        for field in (self.by, self.date):
            field.setToolTip(field.placeholderText())
        self.today = QPushButton("Today")
        self.today.setAccessibleName("Write today's date")
        self.today.setAutoDefault(False)
        self.today.clicked.connect(self._write_today)
        self.open_after = QCheckBox("Open it when it is saved")
        self.open_after.setChecked(True)
        self.bar = self.add_bar("How much of the sheet is made")
        self.measure_button = self.add_button("Measure", "Measure the session, so that the sheet can be saved")
        self.save_button = self.add_button("Save as …", "Choose a file, PDF or HTML, and save the sheet")
        self.stop_button = self.add_button("Stop", "Leave off making the sheet")
        self.close_button = self.add_button("Close", "Close this page")
        self._lay_out()
        self._connect()
        self._show_title()
        self._update()

    def _lay_out(self) -> None:
        when = QHBoxLayout()
        when.addWidget(self.date, 1)
        when.addWidget(self.today)
        self.date.setAccessibleName("Date on the sheet")
        self.add_field("Title", self.title, "Title of the sheet")
        self.add_field("Made by", self.by)
        self.add_field("Date", when)
        self.add_field("", self.open_after, "Open the sheet when it is saved")
        self.resize(460, 270)

    def _connect(self) -> None:
        self.title.editingFinished.connect(self._take_title)
        self._document.sheet_title_changed.connect(self._show_title)
        self._document.session_changed.connect(self._show_title)
        self._document.claims_changed.connect(self._show_usual)  # not over what is being typed
        self.measure_button.clicked.connect(self._results.ask_to_measure)
        self.save_button.clicked.connect(self.choose)
        self.stop_button.clicked.connect(lambda: self._files.cancel(SHEET))
        self.close_button.clicked.connect(self.close)
        for signal in (self._results.changed, self._results.verdicts_changed, self._document.session_changed):
            signal.connect(self._update)
        self._document.history_changed.connect(self._update)
        self._files.progress.connect(self._progress)
        self._files.saved.connect(self._saved)
        self._files.failed.connect(self._failed)

    def _show_title(self) -> None:
        """Show the title that was given to the sheet, and what it is called without one."""
        self.title.setEnabled(self._document.session is not None)
        self.title.setText(self._document.sheet_title)
        self._show_usual()

    def _show_usual(self) -> None:
        session = self._document.session
        usual = "" if session is None else usual_title(self._document.claims_file, session)
        self.title.setPlaceholderText(usual)
        self.title.setToolTip(f"Kept in the review; left empty: {usual}" if usual else "")

    def _take_title(self) -> None:
        if self._document.session is not None:
            self._document.set_sheet_title(self.title.text())

    def _write_today(self) -> None:
        self.date.setText(QLocale(QLocale.Language.English).toString(QDate.currentDate(), "d MMMM yyyy"))

    def _update(self) -> None:
        """Say whether the sheet can be saved now, and what will be on it."""
        writing, refused = self._files.writing(SHEET), self._files.sheet_refused()
        self.measure_button.setVisible(self._results.lacking and self._document.session is not None)
        self.save_button.setEnabled(not refused and not writing)
        self.stop_button.setVisible(writing)
        self.bar.setVisible(writing)
        if not writing:
            self.told.setText(refused or self._contents())

    def _contents(self) -> str:
        claims = self._document.claims_file
        number = 0 if claims is None else len(claims.claims)
        views = len(self._document.sheet_views)
        told = count(number, "claim") if number else "no claim: the sheet shows what was measured"
        added = f", {count(views, 'view')} that you added" if views else ""
        return f"On the sheet: {told}{added}."

    def choose(self) -> None:
        """Ask for the file, and write the sheet into it."""
        start = self._files.places.offered("sheet.pdf")
        name, chosen = QFileDialog.getSaveFileName(self, "Save the evidence sheet", start, FORMS)
        path = meant(name, ".html" if "html" in chosen else ".pdf", (".html", ".pdf")) if name else None
        if isinstance(path, Path):
            self.write(path)
        elif path:
            self.told.setText(path)

    def write(self, path: Path) -> None:
        """Write the sheet into a file."""
        self.bar.setValue(0)
        self._take_title()  # what was typed counts, also where the field was not left
        self._files.write_sheet(path, self.date.text().strip(), self.by.text().strip())
        self._update()

    def _progress(self, key: str, share: float, doing: str) -> None:
        if key == SHEET:
            self.show_progress(self.bar, share, doing)

    def _saved(self, key: str, path: object, sentence: str) -> None:
        if key != SHEET:
            return
        self._update()
        opened = not self.open_after.isChecked() or QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))
        more = "" if opened else " The system opened it in no program: open it from its folder."
        self.told.setText(f"Saved: {path}. {sentence}{more}")

    def _failed(self, key: str, sentence: str) -> None:
        if key == SHEET:
            self._update()
            self.told.setText(sentence)
