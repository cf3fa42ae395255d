"""The page on which claims are written, with the verdict of each as it comes out now."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from pulsewright.claims_text import WrittenClaim, with_claim, with_moved_claim, with_setting, with_title, without_claim
from pulsewright.errors import PulsewrightError
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.desk.claims.claim_fields import copy_of, new_claim, raw_with
from pulsewright_app.desk.claims.claim_form import ClaimForm
from pulsewright_app.desk.claims.claims_work import ClaimsWork
from pulsewright_app.desk.claims.own_colours import OwnColours
from pulsewright_app.desk.claims.settings_table import SettingsTable
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.form_page import FormPage
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.saving.places import meant
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.theme import VERDICT_SHAPES, theme
from pulsewright_app.wording import capitalised, count, unbroken, with_full_stop

NOT_COMPLETE = "not complete"
FORMS = "Claims (*.claims.toml *.toml)"


class ClaimsPage(FormPage):
    """Turns what is typed into one change of the claims' text each; the document keeps it, and undo takes it back."""

    def __init__(
        self, document: Document, viewing: Viewing, results: Results, work: ClaimsWork, parent: QWidget | None = None
    ) -> None:
        super().__init__("Claims", parent)
        self._document, self._viewing, self._results, self._work = document, viewing, results, work
        self.title = QLineEdit()
        self.title.setPlaceholderText("what the claims are about; it heads the evidence sheet")
        self.add_field("Title", self.title, "Title of the claims")
        self.list = QListWidget()
        self.list.setAccessibleName("Claims")
        self.list.setItemDelegate(OwnColours(self.list))
        self.form = ClaimForm()
        self.verdict = QLabel()
        self.verdict.setWordWrap(True)
        self.verdict.setTextFormat(Qt.TextFormat.PlainText)
        self.verdict.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.verdict.setAccessibleName("What the claim comes to")
        self.settings = SettingsTable()
        self._lay_out()
        self._connect()
        self.resize(860, 560)
        self._rebuild()

    # -- building -------------------------------------------------------------------------------------------

    def _lay_out(self) -> None:
        self._list_buttons = {
            "add": ("Add", "Add a claim"),
            "copy": ("Duplicate", "Add the same claim under another name"),
            "remove": ("Remove", "Take the chosen claim out"),
            "up": ("Up", "Move the chosen claim before the one above it"),
            "down": ("Down", "Move the chosen claim behind the one below it"),
        }
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.list, 1)
        row = QHBoxLayout()
        self.of_list: dict[str, QPushButton] = {}
        for key, (text, accessible) in self._list_buttons.items():
            button = QPushButton(text)
            button.setAccessibleName(accessible)
            button.setToolTip(accessible)
            button.setAutoDefault(False)
            row.addWidget(button)
            self.of_list[key] = button
        column.addLayout(row)
        right = QWidget()
        below = QVBoxLayout(right)
        below.addWidget(self.form)
        below.addWidget(self.verdict)
        below.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidget(right)
        scroll.setWidgetResizable(True)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        sides = QSplitter(Qt.Orientation.Horizontal)
        sides.addWidget(left)
        sides.addWidget(scroll)
        sides.setSizes([400, 440])
        self.tabs = QTabWidget()
        self.tabs.setAccessibleName("Claims, or the settings of their file")
        self.tabs.addTab(sides, "Claims")
        self.tabs.addTab(self.settings, "Settings")
        self.column.insertWidget(1, self.tabs, 100)
        self.draft_button = self.add_button("Draft", "Put a draft from what the session shows in the claims' place")
        self.save_button = self.add_button("Save", "Save the claims into their file")
        self.save_as_button = self.add_button("Save as …", "Save the claims under another name")
        self.close_button = self.add_button("Close", "Close this page")

    def _connect(self) -> None:
        self.title.textEdited.connect(self._title_typed)
        self.title.editingFinished.connect(self._document.end_gesture)
        self.list.currentRowChanged.connect(lambda _: self._show_chosen())
        self.form.typed.connect(self._typed)
        self.form.finished.connect(self._document.end_gesture)
        self.settings.written.connect(self._setting_written)
        self.of_list["add"].clicked.connect(self._add)
        self.of_list["copy"].clicked.connect(self._copy)
        self.of_list["remove"].clicked.connect(self._remove)
        self.of_list["up"].clicked.connect(lambda: self._move(-1))
        self.of_list["down"].clicked.connect(lambda: self._move(1))
        self.draft_button.clicked.connect(self._work.draft)
        self.save_button.clicked.connect(self._work.save)
        self.save_as_button.clicked.connect(self._save_as)
        self.close_button.clicked.connect(self.close)
        self._work.told.connect(self._answer)
        self._document.claims_changed.connect(self._rebuild)
        self._document.session_changed.connect(self._rebuild)
        self._results.verdicts_changed.connect(self._verdicts_changed)
        self._results.changed.connect(self._verdicts_changed)
        self._viewing.dark_changed.connect(self._verdicts_changed)

    # -- showing --------------------------------------------------------------------------------------------

    @property
    def _claims(self) -> tuple[WrittenClaim, ...]:
        return self._document.written_claims.claims

    @property
    def _chosen(self) -> int:
        return self.list.currentRow()

    def _rebuild(self) -> None:
        """Show the claims as they are written now; what is chosen stays chosen."""
        written, chosen = self._document.written_claims, max(self._chosen, 0)
        if self.title.text() != written.title:
            self.title.setText(written.title)
        self.list.blockSignals(True)
        while self.list.count() > len(written.claims):
            self.list.takeItem(self.list.count() - 1)
        while self.list.count() < len(written.claims):
            self.list.addItem(QListWidgetItem())
        if written.claims:
            self.list.setCurrentRow(min(chosen, len(written.claims) - 1))
        self.list.blockSignals(False)
        self.settings.show_settings(written)
        self._verdicts_changed()
        self._show_chosen()
        self._tell_state()

    def _verdicts_changed(self) -> None:
        colours = theme(self._viewing.dark)
        for row, one in enumerate(self._claims[: self.list.count()]):
            verdict, item = self._verdict_of(one), self.list.item(row)
            name = one.name or "(no name)"
            if one.claim is None:
                text, colour = f"… {name} · {NOT_COMPLETE}", colours.muted
            elif verdict is None:
                text, colour = f"   {name}", colours.ink
            else:
                text, colour = f"{VERDICT_SHAPES[verdict.verdict]} {name}", colours.verdict(verdict.verdict)
            item.setText(text)
            item.setForeground(QColor(colour))
            item.setToolTip(name if verdict is None else f"{name}: {verdict.verdict}")
        self._show_verdict()

    def _verdict_of(self, one: WrittenClaim) -> Verdict | None:
        """Return what a claim came to, None while it is not judged as it is written now."""
        claim = one.claim
        if claim is None or self._results.verdicts_out_of_date:
            return None
        same = (v for v in self._results.verdicts if (v.name, v.kind) == (claim.name, claim.kind))
        return next((v for v in same if v.limit == claim.limit.words), None)

    def _show_chosen(self) -> None:
        row, number = self._chosen, len(self._claims)
        one = self._claims[row] if 0 <= row < number else None
        self.form.show_claim(None if one is None else one.raw, None if one is None else one.error)
        there = self._document.session is not None
        self.of_list["add"].setEnabled(there)
        for key, on in (("copy", True), ("remove", True), ("up", row > 0), ("down", row < number - 1)):
            self.of_list[key].setEnabled(one is not None and on)
        for button in (self.draft_button, self.save_button, self.save_as_button, self.title, self.settings):
            button.setEnabled(there)
        self._show_verdict()

    def _show_verdict(self) -> None:
        row = self._chosen
        one = self._claims[row] if 0 <= row < len(self._claims) else None
        verdict = None if one is None else self._verdict_of(one)
        if verdict is not None:
            parts = [f"{verdict.verdict.capitalize()}. {verdict.sentence}"]
            parts += [f"Why: {verdict.why}"] if verdict.why else []
            parts += [f"What would decide it: {verdict.needed}"] if verdict.needed else []
            self.verdict.setText(unbroken(" ".join(map(with_full_stop, parts))))
        elif one is not None and one.claim is not None:
            self.verdict.setText("It is judged as soon as the session is measured.")
        else:
            self.verdict.setText("")

    def _tell_state(self) -> None:
        document = self._document
        lacking = len(document.written_claims.incomplete)
        parts = [f"{count(lacking, 'claim')} {'is' if lacking == 1 else 'are'} {NOT_COMPLETE} and not judged"]
        parts = parts if lacking else []
        if document.claims_edited:
            parts.append(f"edited here, not saved into {document.claims_path.name}")
        elif document.claims_text:
            parts.append(f"as in {document.claims_path.name}")
        self.told.setText(with_full_stop(capitalised("; ".join(parts))))

    # -- gestures -------------------------------------------------------------------------------------------

    def _typed(self, key: str, text: str) -> None:
        row = self._chosen
        if 0 <= row < len(self._claims):
            raw = raw_with(self._claims[row].raw, key, text)
            self._set(with_claim(self._document.claims_text, row, raw), "Edit a claim", (row, key))

    def _title_typed(self, text: str) -> None:
        self._set(with_title(self._document.claims_text, text), "Write the claims' title", ("title",))

    def _setting_written(self, name: str, value: object) -> None:
        self._set(with_setting(self._document.claims_text, name, value), f"Set {name.replace('_', ' ')}")

    @property
    def _names(self) -> set[str]:
        return {one.name for one in self._claims}

    def _add(self) -> None:
        self._append(new_claim(self._names), "Add a claim")

    def _copy(self) -> None:
        self._append(copy_of(self._claims[self._chosen].raw, self._names), "Duplicate a claim")

    def _append(self, raw: dict[str, object], label: str) -> None:
        self._set(with_claim(self._document.claims_text, None, raw), label)
        self.list.setCurrentRow(self.list.count() - 1)
        self.form.begin()

    def _remove(self) -> None:
        self._set(without_claim(self._document.claims_text, self._chosen), "Remove a claim")

    def _move(self, by: int) -> None:
        row = self._chosen
        self._set(with_moved_claim(self._document.claims_text, row, by), "Move a claim")
        self.list.setCurrentRow(row + by)

    def _set(self, text: str, label: str, field: tuple[object, ...] | None = None) -> None:
        try:
            self._document.set_claims_text(text, label, None if field is None else ("claims", *field))
        except PulsewrightError as error:
            self._answer(error.sentence)

    def _save_as(self) -> None:
        name, _ = QFileDialog.getSaveFileName(self, "Save the claims", str(self._document.claims_path), FORMS)
        path = meant(name, ".claims.toml", (".toml",)) if name else None
        if isinstance(path, Path):
            self._work.save_as(path)
        elif path:
            self._answer(path)

    def _answer(self, sentence: str) -> None:
        self.told.setText(sentence)
