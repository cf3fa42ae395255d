"""The two spans as rows: their values to read and to type, where each came from, and a way to take each back."""

from __future__ import annotations

from PySide6.QtWidgets import QGridLayout, QLabel, QLineEdit, QToolButton, QWidget

from pulsewright.errors import PulsewrightError
from pulsewright.quantity import parse_span
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.keyboard import on_escape
from pulsewright_app.desk.plots.elided_label import NarrowLabel
from pulsewright_app.desk.spans import HEADINGS, ORIGINS, SPANS, SpanName, span_of
from pulsewright_app.desk.viewing import Viewing

_MEANINGS: dict[SpanName, str] = {
    "span": "Where pulses are looked for",
    "alignment_span": "Where alignment is measured",
}


class SpanRows(QWidget):
    """A row for each span."""

    def __init__(self, document: Document, viewing: Viewing, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._document, self._viewing = document, viewing
        self.fields: dict[SpanName, QLineEdit] = {}
        self.origins: dict[SpanName, QLabel] = {}
        self.clear_buttons: dict[SpanName, QToolButton] = {}
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setColumnStretch(1, 1)
        for row, name in enumerate(SPANS):
            self._add_row(grid, 2 * row, name)
        for signal in (document.settings_changed, document.claims_changed):
            signal.connect(self._show)
        document.session_changed.connect(self._show_all)
        self._show_all()

    def _add_row(self, grid: QGridLayout, row: int, name: SpanName) -> None:
        field, origin, clear = QLineEdit(), NarrowLabel(), QToolButton()
        field.setPlaceholderText("the whole record")
        field.setAccessibleName(_MEANINGS[name])
        field.setToolTip(
            f"{_MEANINGS[name]}: write it like 100 µs .. 300 µs, from the trigger; left empty: the whole record"
        )
        field.editingFinished.connect(lambda: self._take(name))
        on_escape(field, lambda: self._give_up(name))
        origin.setAccessibleName(f"{_MEANINGS[name]}: where the setting came from")
        clear.setText("Clear")
        clear.setAccessibleName(f"{_MEANINGS[name]}: take back what was set on the desk")
        clear.clicked.connect(lambda: self._clear(name))
        heading = QLabel(HEADINGS[name])
        heading.setBuddy(field)
        grid.addWidget(heading, row, 0)
        grid.addWidget(origin, row, 1, 1, 2)
        grid.addWidget(field, row + 1, 0, 1, 2)
        grid.addWidget(clear, row + 1, 2)
        self.fields[name], self.origins[name], self.clear_buttons[name] = field, origin, clear

    def _show_all(self) -> None:
        """Show what counts in every field, also where somebody still writes: it is another session."""
        for field in self.fields.values():
            field.setModified(False)
        self._show()

    def _show(self) -> None:
        """Show what counts; a field in which somebody writes keeps what is written."""
        there = self._document.session is not None
        for name in SPANS:
            told, field = span_of(self._document, name), self.fields[name]
            if not (field.hasFocus() and field.isModified()):
                field.setText(told.text)
            field.setEnabled(there)
            self.origins[name].setText(ORIGINS[told.origin])
            self.clear_buttons[name].setEnabled(there and name in self._document.settings)

    def _take(self, name: SpanName) -> None:
        """Set what was typed; an empty field gives the span back, and what cannot be read stays to be mended."""
        field = self.fields[name]
        text = field.text().strip()
        if text == span_of(self._document, name).text:
            if field.isModified():
                self._give_up(name)
            return
        try:
            refused = self._viewing.spans.set(name, *parse_span(text, "s", HEADINGS[name])) if text else ""
            if not text:
                refused = self._viewing.spans.clear(name)
        except PulsewrightError as error:
            refused = error.sentence
        self._viewing.tell(refused)
        if not refused:
            field.setModified(False)
        self._show()

    def _clear(self, name: SpanName) -> None:
        self.fields[name].setModified(False)
        self._viewing.tell(self._viewing.spans.clear(name))
        self._show()

    def _give_up(self, name: SpanName) -> None:
        """Show what counts again, whatever was typed and told of it."""
        self.fields[name].setModified(False)
        self._viewing.tell("")
        self._show()
