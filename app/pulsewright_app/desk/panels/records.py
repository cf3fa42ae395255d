"""The panel of the records: sort them, go to one, flag it, write a note, leave it out."""

from __future__ import annotations

from PySide6.QtCore import QModelIndex, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QLineEdit, QPushButton, QTableView, QVBoxLayout, QWidget

from pulsewright_analysis.results import Findings
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.panels.panel import Panel
from pulsewright_app.desk.panels.record_table import NUMBER, RecordTableModel
from pulsewright_app.desk.panels.tables import CopyingTable
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing


class _RecordsView(CopyingTable):
    """The table; F flags the chosen records, O sorts by the next column, Shift and O the other way round."""

    def __init__(self, panel: RecordsPanel) -> None:
        super().__init__("Records", panel)
        self._panel = panel
        self.setSelectionMode(QTableView.SelectionMode.ExtendedSelection)
        triggers = QTableView.EditTrigger
        self.setEditTriggers(triggers.DoubleClicked | triggers.EditKeyPressed)
        self.setSortingEnabled(True)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Flag by F, sort by O; everything else as in every table."""
        held, modifier = event.modifiers(), Qt.KeyboardModifier
        if event.key() == Qt.Key.Key_F and held == modifier.NoModifier:
            self._panel.toggle_flags()
        elif event.key() == Qt.Key.Key_O and held in (modifier.NoModifier, modifier.ShiftModifier):
            self._sort_on(round_again=held == modifier.ShiftModifier)
        else:
            super().keyPressEvent(event)

    def _sort_on(self, round_again: bool) -> None:
        """Sort by the next column, or by the same one the other way round."""
        header, order = self.horizontalHeader(), Qt.SortOrder
        column = header.sortIndicatorSection()
        if round_again:
            rising = header.sortIndicatorOrder() is order.AscendingOrder
            self.sortByColumn(column, order.DescendingOrder if rising else order.AscendingOrder)
        else:
            column = (column + 1) % header.count()
            self.sortByColumn(column, order.AscendingOrder)
            self.scrollTo(self.model().index(max(self.currentIndex().row(), 0), column))


class RecordsPanel(Panel):
    """A row for each record; choosing one goes to it, and stepping is followed."""

    save_wanted = Signal(object)
    """The records to save as CSV, in their order."""

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        parent: QWidget | None = None,
        measured: MeasuredTable | None = None,
    ) -> None:
        super().__init__(document, viewing, results, parent)
        measured = measured or MeasuredTable(document, viewing, results)
        self._model = RecordTableModel(document, viewing, results, measured)
        self.summary = QLabel()
        self.summary.setWordWrap(True)
        self.summary.setTextFormat(Qt.TextFormat.PlainText)
        self.summary.setAccessibleName("Summary of the records")
        self.table = _RecordsView(self)
        self.table.setModel(self._model)
        self.table.sortByColumn(NUMBER, Qt.SortOrder.AscendingOrder)
        self.save_button = QPushButton("CSV …")
        self.save_button.setAccessibleName("Save the records that are shown as CSV")
        self.save_button.setToolTip("Save the records that are shown, in this order, with all that is known of them")
        self.save_button.clicked.connect(lambda: self.save_wanted.emit([int(r) for r in self._model.shown]))
        above = QHBoxLayout()
        above.addWidget(self.summary, 1)
        above.addWidget(self.save_button)
        self.column.addLayout(above)
        self.column.addWidget(self.table, 1)
        self.column.addLayout(self._below())
        self._connect()
        self.restyle()
        self._rebuild()

    def _below(self) -> QVBoxLayout:
        below, row = QVBoxLayout(), QHBoxLayout()
        self.flag_button = QPushButton("Flag")
        self.flag_button.setAccessibleName("Flag the chosen records")
        self.flag_button.setToolTip("F")
        self.flag_button.clicked.connect(self.toggle_flags)
        self.reason = QLineEdit()
        self.reason.setAccessibleName("Note on the chosen records, or reason for leaving them out")
        self.reason.setPlaceholderText("Note, or reason to leave out")
        self.reason.setToolTip("Note, or reason to leave out the chosen records")
        self.reason.setClearButtonEnabled(True)
        self.reason.returnPressed.connect(self._write_note)
        self.reason.textChanged.connect(self._update_buttons)
        self.note_button = QPushButton("Note")
        self.note_button.setAccessibleName("Write the note on the chosen records")
        self.note_button.setToolTip("Return; an empty note takes theirs away")
        self.note_button.clicked.connect(self._write_note)
        self.leave_out_button = QPushButton("Leave out")
        self.leave_out_button.clicked.connect(self._leave_out)
        below.addWidget(self.reason)  # above its buttons: what is written needs the panel's width
        for button in (self.flag_button, self.note_button, self.leave_out_button):
            row.addWidget(button)
        row.addStretch(1)
        below.addLayout(row)
        return below

    def _connect(self) -> None:
        self.table.selectionModel().currentChanged.connect(self._chosen)
        self.table.selectionModel().selectionChanged.connect(self._update_buttons)
        self.document.session_changed.connect(self._rebuild)
        self.results.changed.connect(self._results_changed)
        self.viewing.channel_changed.connect(self._rebuild)
        self.viewing.record_changed.connect(self._follow)
        self.viewing.filter_changed.connect(self._rebuild)
        for signal in (self.document.flags_changed, self.document.notes_changed, self.document.left_out_changed):
            signal.connect(self._added)

    # -- showing --------------------------------------------------------------------------------------------

    def _results_changed(self) -> None:
        if self.results.findings is self._told:
            self._added()  # only how fresh they are has changed
        else:
            self._rebuild()

    def _rebuild(self) -> None:
        self._told = self.results.findings
        before = self._model.rowCount()
        self._model.rebuild()
        if self._model.rowCount() != before or not self._fitted:
            self.table.fit_columns(self._model.telling_rows())
            self._fitted = self.results.findings is not None
        self._added()
        self._follow()

    _told: Findings | None = None
    _fitted = False
    """Whether the columns were made wide enough for measured numbers."""

    def _added(self) -> None:
        self._model.refresh()
        self._update_buttons()
        session = self.document.session
        if session is None:
            self.summary.setText("No session is open.")
            return
        shown = self._model.rowCount()
        told = [f"{session.records} records"]
        if shown < session.records:
            told = [f"{shown} of {session.records} records, those that match"]
        if self.document.flags:
            told.append(f"{len(self.document.flags)} flagged")
        if self.document.left_out:
            told.append(f"{len(self.document.left_out)} left out")
        name = session.channels[self.viewing.channel].name
        told.append(f"polarity and first pulse on {name}")
        if self.results.out_of_date:
            told.append("measured columns are out of date")
        elif self.results.partial:
            told.append(f"measured columns are of {self.results.part} only so far")
        self.summary.setText(", ".join(told))

    def _update_buttons(self) -> None:
        chosen = self.chosen_records()
        self.flag_button.setEnabled(bool(chosen))
        self.flag_button.setText("Unflag" if chosen and self.document.flags.issuperset(chosen) else "Flag")
        back = bool(chosen) and all(record in self.document.left_out for record in chosen)
        self.leave_out_button.setText("Take back in" if back else "Leave out")
        what = "Take the chosen records back in" if back else "Leave the chosen records out"
        self.leave_out_button.setAccessibleName(what)
        self.reason.setEnabled(bool(chosen))
        noted = any(record in self.document.notes for record in chosen)
        self.note_button.setEnabled(bool(chosen) and (noted or bool(self.reason.text().strip())))
        self.save_button.setEnabled(self.document.session is not None)
        self.leave_out_button.setEnabled(bool(chosen) and (back or bool(self.reason.text().strip())))

    def restyle(self) -> None:
        """Take the theme's colours."""
        super().restyle()
        self._model.refresh()

    # -- choosing -------------------------------------------------------------------------------------------

    def chosen_records(self) -> list[int]:
        """Return the numbers of the chosen records, in order."""
        rows = self.table.selectionModel().selectedRows()
        return sorted(self._model.record_at(index.row()) for index in rows)

    def _chosen(self, current: QModelIndex) -> None:
        if current.isValid():
            self.viewing.go_to(self._model.record_at(current.row()))

    def _follow(self) -> None:
        row = self._model.row_of(self.viewing.record)
        if row is not None and self.table.currentIndex().row() != row:
            self.table.show_row(row)

    # -- adding ---------------------------------------------------------------------------------------------

    def toggle_flags(self) -> None:
        """Flag the chosen records, or take the flags away where all have one."""
        chosen = self.chosen_records()
        on = not self.document.flags.issuperset(chosen)
        self.document.flag_many(chosen, on)

    def _write_note(self) -> None:
        chosen = self.chosen_records()
        text = self.reason.text().strip()
        if chosen and (text or any(record in self.document.notes for record in chosen)):
            self.document.note_many(chosen, text)
            self.reason.clear()

    def _leave_out(self) -> None:
        chosen = self.chosen_records()
        back = all(record in self.document.left_out for record in chosen)
        reason = self.reason.text().strip()
        if not back and not reason:
            return
        self.document.leave_out_many(chosen, None if back else reason)
        self.reason.clear()
