"""The page on which recordings of other formats become a session: what is understood, a preview, and where it goes."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QScrollArea,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from pulsewright_app.desk.dropped_files import TakesFiles
from pulsewright_app.desk.form_page import FormPage, page_button
from pulsewright_app.desk.importing.assumption_form import AssumptionForm
from pulsewright_app.desk.importing.importing import Importing, Recording
from pulsewright_app.desk.importing.module_row import ModuleRow
from pulsewright_app.desk.importing.preview_plot import PreviewPlot
from pulsewright_app.desk.importing.previewing import Understood, suffixes
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import theme
from pulsewright_app.wording import capitalised, with_full_stop


class ImportPage(TakesFiles, FormPage):
    """Shows each file as it is understood, and turns what is typed into one call on `Importing` each."""

    def __init__(self, importing: Importing, viewing: Viewing, parent: QWidget | None = None) -> None:
        super().__init__("Import recordings", parent)
        self._importing, self._viewing = importing, viewing
        self.setAcceptDrops(True)
        self.list = QListWidget()
        self.list.setAccessibleName("Files, one for each module")
        self.modules = ModuleRow()
        self.form = AssumptionForm()
        self.preview = PreviewPlot()
        self.summary, self.odd, self.wrong, self.target_wrong = (_label(name) for name in (
            "What the file holds", "What is odd in the file", "What is wrong with the file",
            "What is wrong with the file to write",
        ))  # fmt: skip
        self.target = QLineEdit()
        self.target.setPlaceholderText("a new session file, NAME.h5")
        self.bar = self.add_bar("How far the import has come")
        self._said = ""
        self._lay_out()
        self._connect()
        self.resize(980, 640)
        self._redress()
        self._update()
        self.add_files_button.setFocus()

    # -- building -------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self.add_files_button = page_button("Add files …", "Choose files to import")
        self.remove_button = page_button("Leave out", "Leave the chosen file out")
        files = QHBoxLayout()
        files.addWidget(self.add_files_button)
        files.addWidget(self.remove_button)
        files.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidget(self.form)
        scroll.setWidgetResizable(True)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        left, right = QWidget(), QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.list)
        column.addLayout(files)
        column.addWidget(self.modules)
        column.addWidget(self.wrong)
        column.addWidget(scroll, 1)
        self.list.setMaximumHeight(4 * self.fontMetrics().height())
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        for widget, stretch in ((self.summary, 0), (self.preview, 1), (self.odd, 0)):
            column.addWidget(widget, stretch)
        sides = QSplitter(Qt.Orientation.Horizontal)
        sides.addWidget(left)
        sides.addWidget(right)
        sides.setSizes([430, 520])
        self.column.insertWidget(0, sides, 100)
        self.choose_button = page_button("Choose …", "Choose the session file to make")
        where = QHBoxLayout()
        where.addWidget(self.target, 1)
        where.addWidget(self.choose_button)
        self.target.setAccessibleName("Session file to make")
        self.add_field("Write to", where)
        self.fields.addRow("", self.target_wrong)
        self.import_button = self.add_button("Import", "Write the session file and open it")
        self.cancel_button = self.add_button("Cancel", "Leave off writing; no file is made")
        self.close_button = self.add_button("Close", "Close this page")

    def _connect(self) -> None:
        self.add_files_button.clicked.connect(self.choose_files)
        self.remove_button.clicked.connect(self._remove)
        self.list.currentRowChanged.connect(lambda _: self._show_chosen())
        self.form.given.connect(self._given)
        self.modules.named.connect(self._named)
        self.modules.matched.connect(self._importing.match_within)
        self.target.textEdited.connect(self._importing.set_target)
        self.choose_button.clicked.connect(self._choose_target)
        self.import_button.clicked.connect(self._importing.write)
        self.cancel_button.clicked.connect(self._importing.cancel)
        self.close_button.clicked.connect(self.close)
        self._importing.changed.connect(self._update)
        self._importing.progress.connect(self._progress)
        self._importing.imported.connect(lambda _: self.close())
        self._importing.failed.connect(self._say)
        self._viewing.dark_changed.connect(self._redress)

    def _redress(self) -> None:
        self.preview.set_theme(theme(self._viewing.dark))

    # -- showing --------------------------------------------------------------------------------------------

    @property
    def _chosen(self) -> Recording | None:
        row, recordings = self.list.currentRow(), self._importing.recordings
        return recordings[row] if 0 <= row < len(recordings) else None

    def _update(self) -> None:
        importing = self._importing
        chosen, several = max(self.list.currentRow(), 0), len(importing.recordings) > 1
        names = [f"{one.module}: {one.path.name}" if several else one.path.name for one in importing.recordings]
        if names != [self.list.item(row).text() for row in range(self.list.count())]:
            self.list.blockSignals(True)
            self.list.clear()
            self.list.addItems(names)
            self.list.setCurrentRow(min(chosen, len(names) - 1))
            self.list.blockSignals(False)
        if self.target.text().strip() != importing.target:
            self.target.setText(importing.target)
        _tell(self.target_wrong, f"! {importing.target_error}" if importing.target_error else "")
        self.import_button.setEnabled(not importing.refused)
        self.cancel_button.setEnabled(importing.writing)
        for widget in (self.add_files_button, self.modules, self.form, self.target, self.choose_button):
            widget.setEnabled(not importing.writing)
        self.remove_button.setEnabled(bool(names) and not importing.writing)
        busy = importing.writing or importing.joining or any(one.looking for one in importing.recordings)
        self.bar.setVisible(busy)
        if not busy:
            self.bar.setValue(0)
        self.told.setText(self._said or importing.refused or "Nothing stands in the way of importing it.")
        self._show_chosen()

    def _show_chosen(self) -> None:
        chosen, importing = self._chosen, self._importing
        several = len(importing.recordings) > 1
        self.modules.show_module(chosen.module if chosen and several else None, importing)
        understood = None if chosen is None else chosen.understood
        if chosen is None or understood is None:
            self.form.show_assumptions((), {}, {})
            self.preview.show_preview(None)
            for label in (self.summary, self.odd, self.wrong):
                _tell(label, "")
            return
        # where there are several files, the row above the form says which module each holds
        told = [one for one in understood.assumptions if not several or one.name != "module_names"]
        self.form.show_assumptions(told, chosen.given, understood.problems)
        beside = set(self.form.names)
        general = [sentence for option, sentence in understood.problems.items() if option not in beside]
        _tell(self.wrong, "\n".join(f"! {sentence}" for sentence in general))
        self.preview.show_preview(understood.preview)
        _tell(self.summary, _summary(understood))
        _tell(self.odd, "\n".join(f"! {with_full_stop(capitalised(clause))}" for clause in understood.odd))

    def _progress(self, share: float, doing: str) -> None:
        self.show_progress(self.bar, share, doing)

    def _say(self, sentence: str) -> None:
        self._said = sentence
        self._update()
        self._said = ""

    # -- gestures -------------------------------------------------------------------------------------------

    def choose_files(self) -> None:
        """Ask for files to import."""
        kinds = " ".join(f"*{suffix}" for suffix in suffixes())
        last = self._importing.recordings[-1].path.parent if self._importing.recordings else Path()
        names, _ = QFileDialog.getOpenFileNames(
            self, "Import recordings", str(last), f"Recordings ({kinds});;All files (*)"
        )
        if names:
            self._importing.add([Path(name) for name in names])
            self.list.setCurrentRow(self.list.count() - 1)

    def _remove(self) -> None:
        chosen = self._chosen
        if chosen is not None:
            self._importing.remove(chosen)

    def _named(self, name: str) -> None:
        chosen = self._chosen
        if chosen is not None:
            self._importing.name_module(chosen, name)

    def _given(self, name: str, text: str) -> None:
        chosen = self._chosen
        if chosen is not None:
            self._importing.give(chosen, name, text)

    def _choose_target(self) -> None:
        name, _ = QFileDialog.getSaveFileName(
            self, "The session file to make", self._importing.target, "Sessions (*.h5)"
        )
        if name:
            path = Path(name)
            self._importing.set_target(str(path if path.suffix else path.with_suffix(".h5")))

    def take_files(self, paths: list[Path]) -> None:
        """Import the files that were dropped too."""
        self._importing.add(paths)

    def reject(self) -> None:
        """Leave off writing, if it goes on, and leave the files out; closing the page and Escape come here."""
        self._importing.cancel()
        self._importing.begin(())
        super().reject()


def _summary(understood: Understood) -> str:
    preview = understood.preview
    return "" if preview is None else f"{capitalised(understood.format)}: {preview.told}"


def _label(name: str) -> QLabel:
    label = QLabel()
    label.setWordWrap(True)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    label.setAccessibleName(name)
    label.hide()
    return label


def _tell(label: QLabel, text: str) -> None:
    label.setText(text)
    label.setVisible(bool(text))
