"""Every assumption by which a file is understood, each in a field of its own, and what is wrong beside the field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QPalette, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QComboBox, QFormLayout, QLabel, QLineEdit, QSizePolicy, QVBoxLayout, QWidget

from pulsewright.formats.option_words import OPTIONS
from pulsewright.formats.understanding import Assumption
from pulsewright_app.desk.importing.typed_fields import show_text

_ORIGINS = {
    "file": "said by the file",
    "option": "given by you; empty the field to leave it to the file",
    "guessed": "guessed",
    "missing": "not known",
}


class AssumptionForm(QWidget):
    """Shows how a file is understood and says what a person gives instead; it changes nothing by itself."""

    given = Signal(str, str)
    """Name of an option, and its text; empty: leave it to the file."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._rows: dict[str, _Row] = {}
        self._form = QFormLayout(self)
        self._form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        self._form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self._order: list[tuple[str, bool]] = []

    def show_assumptions(
        self, assumptions: Sequence[Assumption], given: Mapping[str, str], problems: Mapping[str, str]
    ) -> None:
        """Show a row for each assumption, and one for each further option that was given or would mend a problem.

        Parameters
        ----------
        assumptions : sequence of Assumption
            As the file was understood last.
        given : mapping of str to str
            What a person gave, by option.
        problems : mapping of str to str
            Option to sentence.
        """
        by_name = {assumption.name: assumption for assumption in assumptions}
        names = [*by_name, *(name for name in (*given, *problems) if name in OPTIONS and name not in by_name)]
        order = [(name, bool(by_name[name].choices) if name in by_name else False) for name in dict.fromkeys(names)]
        if order != self._order:
            self._rebuild(order)
        for name, row in self._rows.items():
            row.show_assumption(by_name.get(name), given.get(name), problems.get(name, ""))

    def _rebuild(self, order: list[tuple[str, bool]]) -> None:
        """Make the rows anew; the field that has the keyboard keeps it."""
        held = next((name for name, row in self._rows.items() if row.line.hasFocus()), None)
        while self._form.rowCount():
            self._form.removeRow(0)
        self._rows, self._order = {}, order
        for name, has_choices in order:
            row = _Row(name, has_choices)
            row.given.connect(self.given)
            self._rows[name] = row
            self._form.addRow(OPTIONS[name].label, row)
        if held in self._rows:
            self._rows[held].line.setFocus()

    def field(self, name: str) -> QLineEdit:
        """Return the field of an option that is shown."""
        return self._rows[name].line

    def error(self, name: str) -> str:
        """Return what is wrong beside the field of an option; empty where nothing is, or the field is not shown."""
        return self._rows[name].error.text() if name in self._rows else ""

    @property
    def names(self) -> tuple[str, ...]:
        """The options that are shown, in order."""
        return tuple(self._rows)


class _Choice(QComboBox):
    """A box of choices that the wheel passes over: it turns the page, and must not change what is understood."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()


class _Row(QWidget):
    """One field with where its value came from, and what is wrong with it."""

    given = Signal(str, str)

    def __init__(self, name: str, has_choices: bool) -> None:
        super().__init__()
        self._name, word = name, OPTIONS[name]
        self._shown = ""
        self.choice = _Choice() if has_choices else None
        if self.choice is not None:
            self.choice.setEditable(True)
            self.choice.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
            self.choice.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
            self.choice.setAccessibleName(f"{word.label}, to choose")
            self.choice.activated.connect(self._finished)
            edit = self.choice.lineEdit()
            assert edit is not None
            self.line = edit
        else:
            self.line = QLineEdit()
        self.line.setAccessibleName(word.label)
        self.line.setToolTip(f"{word.help} For example: {word.example}")
        self.line.editingFinished.connect(self._finished)
        self.origin, self.error = (QLabel() for _ in range(2))
        for label, what in ((self.origin, "Where it comes from"), (self.error, "What is wrong")):
            label.setWordWrap(True)
            label.setTextFormat(Qt.TextFormat.PlainText)
            label.setAccessibleName(f"{what}: {word.label}")
        self.origin.setForegroundRole(QPalette.ColorRole.PlaceholderText)
        # as wide as there is room: a form asks a wrapped text for its height at the width that it gets
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 4)
        column.setSpacing(1)
        for widget in (self.choice or self.line, self.error, self.origin):
            column.addWidget(widget)

    def show_assumption(self, assumption: Assumption | None, given: str | None, problem: str) -> None:
        """Show the value that counts, where it comes from, and what is wrong with it."""
        if assumption is not None and self.choice is not None:
            choices = [self.choice.itemText(place) for place in range(self.choice.count())]
            if choices != list(assumption.choices):
                self.choice.clear()
                self.choice.addItems(assumption.choices)
        text = given if given is not None else "" if assumption is None else assumption.value
        before, self._shown = self._shown, text
        show_text(self.line, text, before)
        self.error.setText(f"! {problem}" if problem else "")
        self.error.setVisible(bool(problem))
        origin = "option" if given is not None else "missing" if assumption is None else assumption.origin
        why = assumption.why if assumption is not None and given is None else ""
        self.origin.setText(f"{_ORIGINS[origin]}: {why}" if why else _ORIGINS[origin])
        self.origin.setVisible(not problem)

        self._fit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Be as high as the texts are at this width."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        """Ask for the height of the texts as they are wrapped: a form gives some rows less, and others more."""
        self.setMinimumHeight(self.heightForWidth(self.width()))

    def _finished(self) -> None:
        text = self.line.text().strip()
        if text != self._shown:
            self._shown = text
            self.given.emit(self._name, text)
