"""The form of one claim: a field for each piece that its kind takes, and what is wrong beside the field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QFormLayout, QLabel, QLineEdit, QSizePolicy, QVBoxLayout, QWidget

from pulsewright.claim import ClaimError
from pulsewright.claim_kinds import KINDS
from pulsewright_app.desk.claims.claim_fields import EXAMPLES, LABELS, beside_field, limit_hint, typed_of
from pulsewright_app.wording import capitalised

TYPED = ("name", "limit", "channels", "modules", "intervals", "pair", "withheld")


class ClaimForm(QWidget):
    """Shows a claim and says what a person types; it changes nothing by itself."""

    typed = Signal(str, str)
    """Which piece of the claim, and what stands in its field now."""
    finished = Signal()
    """A field was left: what is typed next is another step."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.kind = QComboBox()
        for word, kind in KINDS.items():
            self.kind.addItem(word, word)
            self.kind.setItemData(self.kind.count() - 1, capitalised(kind.meaning), Qt.ItemDataRole.ToolTipRole)
        self.kind.setAccessibleName("Kind of the claim")
        self.kind.activated.connect(lambda: self.typed.emit("kind", self.kind.currentData()))
        self.meaning = QLabel()
        self.meaning.setWordWrap(True)
        self.meaning.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.meaning.setAccessibleName("What is claimed")
        self.fields = {key: QLineEdit() for key in TYPED}
        self.errors: dict[str, QLabel] = {}
        self._rows: dict[str, QWidget] = {}
        self._form = QFormLayout(self)
        self._form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        self._form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self._lay_out()

    def _lay_out(self) -> None:
        for key, field in self.fields.items():
            field.setAccessibleName(f"{LABELS[key]} of the claim")
            field.setPlaceholderText(EXAMPLES.get(key, ""))
            field.textEdited.connect(lambda text, key=key: self.typed.emit(key, text))
            field.editingFinished.connect(self.finished)
            self._add(key, field)
            if key == "name":
                self._add("kind", self.kind)
                self._form.addRow("", self.meaning)

    def _add(self, key: str, field: QWidget) -> None:
        error = QLabel()
        error.setWordWrap(True)
        error.setTextFormat(Qt.TextFormat.PlainText)
        error.setAccessibleName(f"What is wrong with the {LABELS[key].lower()}")
        error.hide()
        row = QWidget()
        column = QVBoxLayout(row)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addWidget(field)
        column.addWidget(error)
        self.errors[key], self._rows[key] = error, row
        self._form.addRow(LABELS[key], row)

    def show_claim(self, raw: Mapping[str, Any] | None, error: ClaimError | None) -> None:
        """Show a claim, with the first thing that it lacks; None shows an empty form that takes nothing."""
        self.setEnabled(raw is not None)
        typed = typed_of(raw or {})
        kind = KINDS.get(typed.get("kind", ""))
        self.kind.setCurrentIndex(-1 if kind is None else self.kind.findData(kind.word))
        self.meaning.setText("" if kind is None else f"{capitalised(kind.meaning)}.")
        for key, field in self.fields.items():
            taken = key == "name" or (kind is not None and (kind.has_limit if key == "limit" else key in kind.takes))
            self._form.setRowVisible(self._rows[key], taken or key in typed)
            if field.text() != typed.get(key, "") and not self._says_the_same(key, field.text(), typed):
                field.setText(typed.get(key, ""))
                field.setCursorPosition(0)  # what is longer than the field is read from its beginning
        if kind is not None:
            self.fields["limit"].setPlaceholderText(limit_hint(kind))
            self.fields["limit"].setToolTip(limit_hint(kind))
        self._tell(error)

    def _says_the_same(self, key: str, shown: str, typed: Mapping[str, str]) -> bool:
        """Return whether a field that is being typed in differs only in what is not written, such as a last comma."""
        return self.fields[key].hasFocus() and _bare(shown) == _bare(typed.get(key, ""))

    def _tell(self, error: ClaimError | None) -> None:
        key = "" if error is None else error.key if error.key in self.errors else "name"
        for name, label in self.errors.items():
            label.setText(f"! {beside_field(error.sentence)}" if error is not None and name == key else "")
            label.setVisible(bool(label.text()))

    def begin(self) -> None:
        """Let the name be typed."""
        self.fields["name"].setFocus()
        self.fields["name"].selectAll()


def _bare(text: str) -> str:
    return text.replace(" ", "").strip(",")
