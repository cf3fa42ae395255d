"""The records that pass through a spot of the Afterglow picture: a small list, and a way to step through just them."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLabel, QListWidget, QListWidgetItem, QPushButton, QVBoxLayout, QWidget

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.wording import count

_RECORD = int(Qt.ItemDataRole.UserRole)
_STEPPING = (Qt.Key.Key_PageUp, Qt.Key.Key_PageDown, Qt.Key.Key_Home, Qt.Key.Key_End)
_SHAPES = {1: "▲", -1: "▼", 0: " "}
"""As found pulses are drawn: a sign before a number would be taken for the number's."""
_WORDS = {1: ", positive", -1: ", negative", 0: ""}


class _Records(QListWidget):
    """Leaves the keys that step to the desk."""

    def keyPressEvent(self, event: object) -> None:
        """Move through the list; leave the keys that step."""
        if event.key() in _STEPPING:  # type: ignore[attr-defined]
            event.ignore()  # type: ignore[attr-defined]
        else:
            super().keyPressEvent(event)  # type: ignore[arg-type]


class PassingList(QWidget):
    """Lists passing records; a click goes to one, a button steps through just them, another goes back to all."""

    closed = Signal()

    def __init__(self, document: Document, viewing: Viewing, results: Results, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._document, self._viewing, self._results = document, viewing, results
        self._passing: list[int] = []
        self._label = ""
        self.heading = QLabel()
        self.heading.setAccessibleName("Passing records of the spot")
        self.heading.setWordWrap(True)
        self.heading.setTextFormat(Qt.TextFormat.PlainText)
        self.records = _Records()
        self.records.setAccessibleName("Passing records")
        self.records.setUniformItemSizes(True)
        self.walk_button = QPushButton("Step through these")
        self.walk_button.setAccessibleName("Step through the passing records only")
        self.walk_button.setToolTip("The rail, the keys and playing then go through these records only")
        self.back_button = QPushButton("Back to all records")
        self.back_button.setAccessibleName("Step through all records again")
        self.close_button = QPushButton("Close the list")
        self.close_button.setAccessibleName("Close the list of passing records")
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 0, 8, 4)
        column.setSpacing(6)
        for widget in (self.heading, self.records, self.walk_button, self.back_button, self.close_button):
            column.addWidget(widget)
        self._connect()
        self.hide()

    def _connect(self) -> None:
        self.records.itemClicked.connect(self._go)
        self.records.itemActivated.connect(self._go)
        self.walk_button.clicked.connect(self._walk)
        self.back_button.clicked.connect(lambda: self._viewing.walk_through(None))
        self.close_button.clicked.connect(self._close)
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
        self._passing, self._label = passing, f"passing records at {spot}"
        self.heading.setText(f"{count(len(passing), 'record')} within a pixel of {spot}")
        self.records.clear()
        for record in passing:
            item = QListWidgetItem(self._text(record))
            item.setData(_RECORD, record)
            item.setData(Qt.ItemDataRole.AccessibleTextRole, self._text(record, aloud=True))
            self.records.addItem(item)
        # as wide as its texts: the plot needs the room
        widest = max(self.fontMetrics().horizontalAdvance(b.text()) for b in (self.walk_button, self.back_button))
        self.setFixedWidth(widest + 5 * self.fontMetrics().averageCharWidth() + 14)
        self._follow(self._viewing.record)
        self._show_walk()
        self.show()

    def forget(self) -> None:
        """Empty the list and put it away, as another session comes."""
        self._passing = []
        self.records.clear()
        self.hide()

    def _text(self, record: int, aloud: bool = False) -> str:
        findings, channel = self._results.findings, self._viewing.channel
        text = str(record)
        if findings is not None and record < len(findings.polarity.sign):
            sign = int(findings.polarity.sign[record, channel])
            text = f"Record {record}{_WORDS[sign]}" if aloud else f"{_SHAPES[sign]} {record}"
        return f"{text}  flagged" if record in self._document.flags else text

    def _go(self, item: QListWidgetItem) -> None:
        self._viewing.go_to(int(item.data(_RECORD)))

    def _walk(self) -> None:
        viewing = self._viewing
        viewing.walk_through(self._passing, self._label)
        if viewing.record not in self._passing:
            viewing.first()

    def _close(self) -> None:
        self._viewing.walk_through(None)
        self.forget()
        self.closed.emit()

    def _follow(self, record: int) -> None:
        """Choose the current record in the list, if it stands there."""
        for row, passing in enumerate(self._passing):
            if passing == record:
                self.records.setCurrentRow(row)
                return
        self.records.clearSelection()

    def _show_walk(self) -> None:
        walked = self._viewing.passing is not None
        self.walk_button.setVisible(not walked or self._viewing.passing_label != self._label)
        self.back_button.setVisible(walked)
