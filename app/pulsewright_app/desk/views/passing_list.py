"""The records that pass through a spot of the Afterglow picture: a small list, and a way to step through just them."""

from __future__ import annotations

from bisect import bisect_left
from typing import Any

from PySide6.QtCore import QAbstractListModel, QEvent, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QLabel, QListView, QPushButton, QVBoxLayout, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.wording import count

_STEPPING = (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown, Qt.Key.Key_Home, Qt.Key.Key_End)
_SHAPES = {1: "▲", -1: "▼", 0: " "}
"""As found pulses are drawn: a sign before a number would be taken for the number's."""
_WORDS = {1: ", positive", -1: ", negative", 0: ""}


_Role = Qt.ItemDataRole
_AnyIndex = QModelIndex | QPersistentModelIndex


class _Passing(QAbstractListModel):
    """The passing records: told as they are looked at, for there may be a hundred thousand."""

    def __init__(self, document: Document, results: Results) -> None:
        super().__init__()
        self._document, self._results = document, results
        self._channel = 0
        self.records: list[int] = []
        """Rising."""

    def show_records(self, records: list[int], channel: int) -> None:
        """List other records, seen from the channel of the spot."""
        self.beginResetModel()
        self.records, self._channel = records, channel
        self.endResetModel()

    def refresh(self) -> None:
        """Say that flags, or polarities, may be others now."""
        if self.records:
            self.dataChanged.emit(self.index(0), self.index(len(self.records) - 1))

    def row_of(self, record: int) -> int | None:
        """Return the row of a record; None where it does not pass."""
        row = bisect_left(self.records, record)
        return row if row < len(self.records) and self.records[row] == record else None

    def rowCount(self, parent: _AnyIndex = QModelIndex()) -> int:  # noqa: B008 - Qt's own signature
        """Return how many records there are."""
        return 0 if parent.isValid() else len(self.records)

    def data(self, index: _AnyIndex, role: int = 0) -> Any:
        """Return what a row reads, or what is said of it aloud."""
        if role not in (_Role.DisplayRole, _Role.AccessibleTextRole) or not 0 <= index.row() < len(self.records):
            return None
        return self._text(self.records[index.row()], aloud=role == _Role.AccessibleTextRole)

    def _text(self, record: int, aloud: bool) -> str:
        findings, channel = self._results.findings, self._channel
        text = str(record)
        if findings is not None and record < len(findings.polarity.sign):
            sign = int(findings.polarity.sign[record, channel])
            text = f"Record {record}{_WORDS[sign]}" if aloud else f"{_SHAPES[sign]} {record}"
        return f"{text}  flagged" if record in self._document.flags else text


class _Records(QListView):
    """Leaves the keys that step to the desk."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Move through the list; leave the keys that step."""
        if event.key() in _STEPPING:
            event.ignore()
        else:
            super().keyPressEvent(event)


class PassingList(QWidget):
    """Lists passing records; a click goes to one, a button steps through just them, another goes back to all."""

    def __init__(self, document: Document, viewing: Viewing, results: Results, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._viewing = viewing
        self._passing = _Passing(document, results)
        self._label = ""
        self.heading = QLabel()
        self.heading.setAccessibleName("Passing records of the spot")
        self.heading.setWordWrap(True)
        self.heading.setTextFormat(Qt.TextFormat.PlainText)
        self.records = _Records()
        self.records.setAccessibleName("Passing records")
        self.records.setUniformItemSizes(True)
        self.records.setModel(self._passing)
        self.walk_button = QPushButton("Step through these")
        self.walk_button.setAccessibleName("Step through the passing records only")
        self.walk_button.setToolTip("The rail, the keys and playing then go through these records only")
        self.back_button = QPushButton("Back to all records")
        self.back_button.setAccessibleName("Step through all records again")
        self.close_button = QPushButton("Close the list")
        self.close_button.setAccessibleName("Close the list of passing records")
        for button in (self.walk_button, self.back_button, self.close_button):
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 0, 8, 4)
        column.setSpacing(6)
        for widget in (self.heading, self.records, self.walk_button, self.back_button, self.close_button):
            column.addWidget(widget)
        for changed in (document.flags_changed, results.changed):
            changed.connect(self._passing.refresh)
        self._connect()
        self.hide()

    def _connect(self) -> None:
        self.records.clicked.connect(self._go)
        self.records.activated.connect(self._go)
        self.walk_button.clicked.connect(self._walk)
        self.back_button.clicked.connect(lambda: self._viewing.walk_through(None))
        self.close_button.clicked.connect(self.forget)
        self._viewing.record_changed.connect(self._follow)
        self._viewing.filter_changed.connect(self._show_walk)

    def show_records(self, passing: list[int], spot: str) -> None:
        """List the passing records of a spot.

        Parameters
        ----------
        passing : list of int
            Rising; not empty.
        spot : str
            Where it is, in words: ``"284.8 µs, 310 mV on H01"``.
        """
        self._passing.show_records(passing, self._viewing.channel)
        self._label = f"passing records at {spot}"
        self.heading.setText(f"{count(len(passing), 'record')} within a pixel of {spot}")
        self._fit_width()
        self._follow(self._viewing.record)
        self._show_walk()
        self.show()

    def _fit_width(self) -> None:
        """Be as wide as the texts: the plot needs the room."""
        widest = max(self.fontMetrics().horizontalAdvance(b.text()) for b in (self.walk_button, self.back_button))
        self.setFixedWidth(widest + 5 * self.fontMetrics().averageCharWidth() + 14)

    def changeEvent(self, event: QEvent) -> None:
        """Make room for larger letters."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.FontChange and not self.isHidden():
            self._fit_width()

    def forget(self) -> None:
        """Empty the list and put it away; nobody steps through records any more that stand nowhere."""
        self._viewing.walk_through(None)
        self._passing.show_records([], 0)
        self.hide()

    def _go(self, index: QModelIndex) -> None:
        self._viewing.go_to(self._passing.records[index.row()])

    def _walk(self) -> None:
        viewing = self._viewing
        viewing.walk_through(self._passing.records, self._label)
        if self._passing.row_of(viewing.record) is None:
            viewing.first()

    def _follow(self, record: int) -> None:
        """Choose the current record in the list, if it stands there."""
        row = self._passing.row_of(record)
        if row is None:
            self.records.clearSelection()
        else:
            self.records.setCurrentIndex(self._passing.index(row))

    def _show_walk(self) -> None:
        walked = self._viewing.passing is not None
        self.walk_button.setVisible(not walked or self._viewing.passing_label != self._label)
        self.back_button.setVisible(walked)
