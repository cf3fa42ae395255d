"""The line below the rail in which a filter is written, with what may stand at its cursor and what is wrong with it."""

from __future__ import annotations

from PySide6.QtCore import QStringListModel, Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QCheckBox, QCompleter, QHBoxLayout, QLabel, QLineEdit, QWidget

from pulsewright.errors import FilterError
from pulsewright_analysis.record_words import EXAMPLES
from pulsewright_app.desk.filtering import Filtering
from pulsewright_app.desk.keyboard import on_escape
from pulsewright_app.desk.plots.elided_label import NarrowLabel
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.wording import capitalised

_FEWEST_LETTERS = 12
"""A line that shows fewer is too short to write in."""


class FilterRow(QWidget):
    """Walk through all records, or only through those that match."""

    given_up = Signal()
    """The line was left by Escape."""

    def __init__(self, filtering: Filtering, viewing: Viewing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.filtering, self._viewing = filtering, viewing
        self._told = ""
        """The filter that was shown last."""
        self._wrong = False
        """Whether the bar at the top says what is wrong with what was written."""
        self.line = QLineEdit()
        self.line.setAccessibleName("Filter of the records")
        self.line.setPlaceholderText(EXAMPLES[0])
        examples = "\n".join(EXAMPLES)
        self.line.setToolTip(f"Which records to step through, in words; Return applies it. Examples:\n{examples}")
        self.line.setClearButtonEnabled(True)
        self.count = NarrowLabel()
        self.count.setAccessibleName("How many records match the filter")
        self.only = QCheckBox("Only those that match")
        self.only.setAccessibleName("Step only through the records that match the filter")
        self.only.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._offers = QStringListModel(self)
        completer = QCompleter(self._offers, self)
        completer.setCompletionMode(QCompleter.CompletionMode.UnfilteredPopupCompletion)
        self.line.setCompleter(completer)
        self._lay_out()
        self.line.textEdited.connect(self._offer)
        self.line.returnPressed.connect(self._apply)
        on_escape(self.line, self._give_up)
        self.line.textChanged.connect(self._emptied)
        self.only.clicked.connect(viewing.set_only_matching)
        viewing.filter_changed.connect(self._show)
        self._show()

    def _lay_out(self) -> None:
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 4, 0, 0)
        row.setSpacing(4)
        label = QLabel("Filter")
        label.setBuddy(self.line)
        row.addWidget(label)
        row.addWidget(self.line, 1)
        row.addWidget(self.count)
        row.addWidget(self.only)
        self._row, self._label = row, label

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave the count away where the line would be too short to write in."""
        super().resizeEvent(event)
        self._make_room()

    def _make_room(self) -> None:
        others = sum(widget.sizeHint().width() for widget in (self._label, self.count, self.only))
        others += 3 * self._row.spacing()
        self.count.setVisible(self.width() - others >= _FEWEST_LETTERS * self.fontMetrics().averageCharWidth())

    def _offer(self, text: str) -> None:
        """Offer the filter with each of the words that may stand at its end."""
        cursor = self.line.cursorPosition()
        found = self.filtering.completion(text, cursor)
        words = [offer for offer in found.offers if not offer.hint]
        whole = [found.taken(text, offer)[0] for offer in words] if cursor == len(text) else []
        self._offers.setStringList([line for line in whole if line.strip() != text.strip()])

    def _apply(self) -> None:
        text = self.line.text().strip()
        try:
            self.filtering.apply(text)
        except FilterError as error:
            self._wrong = True
            self._viewing.tell(capitalised(error.sentence))
            if error.stop > error.start:
                self.line.setSelection(error.start, error.stop - error.start)
            else:
                self.line.setCursorPosition(len(self.line.text()))
        else:
            self._wrong = False
            self._viewing.tell("")

    def _give_up(self) -> None:
        """Show the filter that counts again, whatever was typed."""
        self.line.setText(self._viewing.filter_text)
        self._viewing.tell("")
        self.given_up.emit()

    def _emptied(self, text: str) -> None:
        if not text and self._wrong:  # what was wrong stands there no more
            self._wrong = False
            self._viewing.tell("")
        if not text and self._viewing.filter_text:
            self.filtering.apply("")

    def _show(self) -> None:
        viewing = self._viewing
        another = viewing.filter_text != self._told  # what is being written stays, unless the filter became another
        self._told = viewing.filter_text
        if (another or not self.line.hasFocus()) and self.line.text().strip() != viewing.filter_text:
            self.line.setText(viewing.filter_text)
        matches = viewing.matches
        self.only.setEnabled(matches is not None)
        self.only.setChecked(viewing.only_matching and matches is not None)
        if viewing.passing is not None:
            self.count.setText(f"stepping through {len(viewing.passing)} passing records")
        elif matches is None:
            self.count.setText("all records")
        else:
            self.count.setText(f"{len(matches)} of {viewing.records} match")
        self.only.setToolTip(self.count.text())
        self._make_room()
