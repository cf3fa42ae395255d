"""The panel of the records: sort them, go to one, flag it, write a note, leave it out, reject its pulse."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QEvent, QModelIndex, Qt, Signal
from PySide6.QtGui import QGuiApplication, QKeyEvent
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QMenu,
    QPushButton,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from pulsewright_analysis.results import Findings
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.panels import rows_text
from pulsewright_app.desk.panels.panel import Panel
from pulsewright_app.desk.panels.record_table import NUMBER, RecordTableModel
from pulsewright_app.desk.panels.record_text import RecordText
from pulsewright_app.desk.panels.row_pulses import RowPulses
from pulsewright_app.desk.panels.tables import CopyingTable
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.wording import count

_NO_MATCH = 'No record matches the filter. Empty it, or untick "Only those that match", to see all records.'
_LEAST_HEIGHT = 56
"""Pixels of the table where large letters leave little room: the texts around it must not be cut before it."""


class _RecordsView(CopyingTable):
    """The table; F flags the chosen records, X rejects their pulses, O sorts by the next column, Shift and O back."""

    def __init__(self, panel: RecordsPanel) -> None:
        super().__init__("Records", panel)
        self._panel = panel
        self.setSelectionMode(QTableView.SelectionMode.ExtendedSelection)
        triggers = QTableView.EditTrigger
        self.setEditTriggers(triggers.DoubleClicked | triggers.EditKeyPressed)
        self.setSortingEnabled(True)

    def copy(self) -> None:
        """Put the chosen rows on the clipboard; very many are left to somebody who does not hold the desk up."""
        copied = self._panel.copied()
        if copied is not None and len(copied.records) > rows_text.MOST_AT_ONCE:
            self._panel.copy_wanted.emit(copied)
        elif copied is not None:
            QGuiApplication.clipboard().setText(rows_text.text_of(copied))

    def event(self, event: QEvent) -> bool:
        """Keep F and X from the desk: here they are about the chosen records, there about the current one."""
        if event.type() is QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            bare = event.modifiers() == Qt.KeyboardModifier.NoModifier
            if bare and event.key() in (Qt.Key.Key_F, Qt.Key.Key_X):
                event.accept()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Flag by F, reject by X, sort by O; everything else as in every table."""
        held, modifier = event.modifiers(), Qt.KeyboardModifier
        if event.key() == Qt.Key.Key_F and held == modifier.NoModifier:
            self._panel.toggle_flags()
        elif event.key() == Qt.Key.Key_X and held == modifier.NoModifier:
            self._panel.toggle_pulses()
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

    copy_wanted = Signal(object)
    """The `RecordText` of very many records, for the clipboard."""
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
        self.table.setMinimumHeight(_LEAST_HEIGHT)
        self.table.sortByColumn(NUMBER, Qt.SortOrder.AscendingOrder)
        self.save_button = QPushButton("CSV …")
        self.save_button.setAccessibleName("Save records as CSV")
        self.save_button.setToolTip("Save the records, in this order, with all that is known of them")
        self.save_button.clicked.connect(self.save)
        self.save_menu = QMenu(self.save_button)
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
        below, grid = QVBoxLayout(), QGridLayout()
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
        self.pulse_button = QPushButton("Reject pulse")
        self.pulse_button.clicked.connect(self.toggle_pulses)
        buttons = (self.flag_button, self.note_button, self.leave_out_button, self.pulse_button)
        for place, button in enumerate(buttons):
            grid.addWidget(button, place // 2, place % 2)
        below.addLayout(grid)
        return below

    def _connect(self) -> None:
        self.table.selectionModel().currentChanged.connect(self._chosen)
        self.table.selectionModel().selectionChanged.connect(self._update_buttons)
        self.document.session_changed.connect(self._session_changed)
        self.results.changed.connect(self._results_changed)
        self.viewing.channel_changed.connect(self._rebuild)
        self.viewing.record_changed.connect(self._follow)
        self.viewing.filter_changed.connect(self._rebuild)
        document = self.document
        for signal in (document.flags_changed, document.notes_changed, document.left_out_changed):
            signal.connect(self._added)
        document.rejected_changed.connect(self._update_buttons)

    # -- showing --------------------------------------------------------------------------------------------

    def _session_changed(self) -> None:
        self.reason.clear()  # it was written about records of the session before
        self._fitted = False
        self._rebuild()

    def _results_changed(self) -> None:
        if self.results.findings is self._told:
            self._added()  # only how fresh they are has changed
        else:
            self._rebuild()

    def _rebuild(self) -> None:
        self._told = self.results.findings
        self._pulses = RowPulses(self._told, self.viewing.channel)
        before = self._model.rowCount()
        self._model.rebuild()
        if self._model.rowCount() != before or not self._fitted:
            self.table.fit_columns(self._model.telling_rows())
            self._fitted = self.results.findings is not None
        self._added()
        self._follow()

    _told: Findings | None = None
    _pulses = RowPulses(None, 0)
    _fitted = False
    """Whether the columns were made wide enough for measured numbers."""

    def _added(self) -> None:
        self._model.refresh()
        self._update_buttons()
        session = self.document.session
        self.table.say_why_empty("" if session is None else _NO_MATCH)
        if session is None:
            self.summary.setText("No session is open.")
            return
        shown = self._model.rowCount()
        told = [f"{session.records} records"]
        if shown < session.records:
            told = [f"{shown} of {session.records} records, those that match"]
        for records, what in ((self.document.flags, "flagged"), (self.document.left_out, "left out")):
            listed = self._model.listed(records)
            if listed:
                told.append(f"{listed} {what}")
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
        back = bool(chosen) and self._all_left_out(chosen)
        self.leave_out_button.setText("Take back in" if back else "Leave out")
        what = "Take the chosen records back in" if back else "Leave the chosen records out"
        self.leave_out_button.setAccessibleName(what)
        self.reason.setEnabled(bool(chosen))
        noted = not self.document.notes.keys().isdisjoint(chosen)
        self.note_button.setEnabled(bool(chosen) and (noted or bool(self.reason.text().strip())))
        self._update_pulse_button(chosen)
        self.save_button.setEnabled(self.document.session is not None)
        self.leave_out_button.setEnabled(bool(chosen) and (back or bool(self.reason.text().strip())))

    def _update_pulse_button(self, chosen: list[int]) -> None:
        to_reject, back = self._pulses.offered(self.document, chosen)
        self.pulse_button.setText("Take pulse back" if back else "Reject pulse")
        what = "Reject the first pulse of each chosen record on the current channel"
        if back:
            what = "Let the rejected pulses of the chosen records count again"
        self.pulse_button.setAccessibleName(what)
        self.pulse_button.setToolTip(f"{what} (X)")
        self.pulse_button.setEnabled(to_reject or back)

    def restyle(self) -> None:
        """Take the theme's colours."""
        super().restyle()
        self._model.refresh()

    # -- choosing -------------------------------------------------------------------------------------------

    def chosen_records(self) -> list[int]:
        """Return the numbers of the chosen records, in order."""
        return self._model.records_at(self.table.chosen_rows())

    def copied(self) -> RecordText | None:
        """Return the chosen rows as they are now, all of them where none is chosen; None without a session."""
        return self._model.copied(self.table.chosen_rows())

    def _chosen(self, current: QModelIndex) -> None:
        if current.isValid():
            self.viewing.go_to(self._model.record_at(current.row()))

    def _follow(self) -> None:
        row = self._model.row_of(self.viewing.record)
        if row is None:  # not among those that match: what the buttons below do is not meant for another record
            self.table.selectionModel().clear()
        elif self.table.currentIndex().row() != row:
            self.table.show_row(row)

    # -- adding ---------------------------------------------------------------------------------------------

    def toggle_flags(self) -> None:
        """Flag the chosen records, or take the flags away where all have one."""
        chosen = self.chosen_records()
        on = not self.document.flags.issuperset(chosen)
        self.document.flag_many(chosen, on)

    def _all_left_out(self, records: list[int]) -> bool:
        return all(map(self.document.left_out.__contains__, records))

    def _write_note(self) -> None:
        self._keyboard_from(self.note_button)
        chosen = self.chosen_records()
        text = self.reason.text().strip()
        if chosen and (text or not self.document.notes.keys().isdisjoint(chosen)):
            self.document.note_many(chosen, text)
            self.reason.clear()

    def _keyboard_from(self, button: QPushButton) -> None:
        """Give the keyboard to the table before a button that has it is switched off: else it goes anywhere."""
        if button.hasFocus():
            self.table.setFocus()

    def _leave_out(self) -> None:
        self._keyboard_from(self.leave_out_button)
        chosen = self.chosen_records()
        back = self._all_left_out(chosen)
        reason = self.reason.text().strip()
        if not back and not reason:
            return
        self.document.leave_out_many(chosen, None if back else reason)
        self.reason.clear()

    def toggle_pulses(self) -> None:
        """Reject the first pulse of each chosen record on the current channel; where none is left, take them back."""
        chosen = self.chosen_records()
        if reject := self._pulses.to_reject(self.document, chosen):
            self.document.reject_pulses(reject, self.reason.text().strip() or "rejected on the desk")
            self.reason.clear()
        elif back := self._pulses.rejected(self.document, chosen):
            self.document.take_pulses_back(back)
        else:
            self.viewing.tell("The chosen records have no pulse on the current channel.")

    # -- saving ---------------------------------------------------------------------------------------------

    def save(self) -> None:
        """Save every record; where a filter is on, ask whether all or only those that match."""
        matches = self.viewing.matches
        if matches is None:
            self.save_wanted.emit(self._model.arranged())
            return
        self.save_menu.clear()
        for text, records in (
            (f"All {count(self.viewing.records, 'record')}", None),
            (f"Only the {count(len(matches), 'record')} that match", matches),
        ):
            action = self.save_menu.addAction(f"{text} …")
            action.triggered.connect(partial(self._save_these, records))
        self.save_menu.popup(self.save_button.mapToGlobal(self.save_button.rect().bottomLeft()))
        self.save_menu.setActiveAction(self.save_menu.actions()[0])

    def _save_these(self, records: NDArray[np.int64] | None, _: bool = False) -> None:
        self.save_wanted.emit(self._model.arranged(records))
