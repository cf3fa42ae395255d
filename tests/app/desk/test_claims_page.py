"""Claims written on the desk by real gestures: errors beside their field, verdicts that follow, saving with care."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QComboBox, QFileDialog, QLabel, QLineEdit, QListWidget, QPushButton

from pulsewright.claims_file import read_claims
from pulsewright.claims_text import look_at
from pulsewright_app.desk.claims.settings_table import VALUE, SettingsTable
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, colours_of, press, shown_windows

NAME, LIMIT = "Name of the claim", "Limit of the claim"


class Page:
    """The page, by what a screen reader calls its parts."""

    def __init__(self, desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
        self.desk, self.qtbot, self.settle = desk, qtbot, settle
        press(desk, qtbot, "Ctrl+K")
        self.widget = next(w for w in shown_windows() if w.accessibleName() == "Claims")

    def called(self, kind: Any, name: str) -> Any:
        return next(w for w in self.widget.findChildren(kind) if w.accessibleName() == name)

    def click(self, name: str) -> None:
        self.qtbot.mouseClick(self.called(QPushButton, name), LEFT)

    def write(self, name: str, text: str) -> None:
        field = self.called(QLineEdit, name)
        field.setFocus()
        field.selectAll()
        if text:
            self.qtbot.keyClicks(field, text)
        else:
            self.qtbot.keyClick(field, Qt.Key.Key_Delete)
        self.settle(self.desk)

    def choose(self, row: int) -> None:
        claims = self.list
        self.qtbot.mouseClick(claims.viewport(), LEFT, pos=claims.visualItemRect(claims.item(row)).center())

    def choose_kind(self, word: str) -> None:
        kinds = self.called(QComboBox, "Kind of the claim")
        kinds.setFocus()
        self.qtbot.keyClick(kinds, Qt.Key.Key_Home)
        while kinds.currentData() != word:
            self.qtbot.keyClick(kinds, Qt.Key.Key_Down)
        self.settle(self.desk)

    @property
    def list(self) -> QListWidget:
        return self.called(QListWidget, "Claims")

    @property
    def rows(self) -> list[str]:
        return [self.list.item(row).text() for row in range(self.list.count())]

    @property
    def answer(self) -> str:
        return self.called(QLabel, "How it goes: Claims").text()

    @property
    def verdict(self) -> str:
        return self.called(QLabel, "What the claim comes to").text()

    def wrong(self, piece: str) -> str:
        label = self.called(QLabel, f"What is wrong with the {piece}")
        return label.text() if label.isVisible() else ""


@pytest.fixture
def page(make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path) -> Page:
    return Page(make_window(faults), qtbot, settle)


def test_a_verdict_changes_as_its_limit_is_written(page: Page) -> None:
    page.choose(0)
    assert page.rows[0] == "● The plate moves 7.5 mm a ping"
    page.write(LIMIT, "12 us ± 1 ns")
    assert page.rows[0] == "▲ The plate moves 7.5 mm a ping"
    assert page.verdict.startswith("Fails. Claimed: the pulse's step")
    assert "12\u00a0µs\u00a0±\u00a01\u00a0ns" in page.verdict  # no line of it ends between a number and its unit
    assert page.desk.results.verdicts[0].verdict == "fails"
    page.write(LIMIT, "12 us")
    assert "is not a value ± what it may be off" in page.wrong("limit")
    assert page.rows[0] == "… The plate moves 7.5 mm a ping · not complete"
    assert "1 claim is not complete" in page.answer
    assert len(page.desk.results.verdicts) == 14  # the others are judged all the same


def test_a_chosen_claim_keeps_the_colour_of_its_verdict(page: Page) -> None:
    page.choose(next(row for row, text in enumerate(page.rows) if text.startswith("▲")))
    page.settle(page.desk)
    chosen = page.list.visualItemRect(page.list.currentItem())
    image = colours_of(page.list.viewport().grab(chosen).toImage())
    red, green, _ = QColor(LIGHT.fails).getRgb()[:3]
    assert ((image[:, :, 0] - image[:, :, 1]) > (red - green) / 2).any(), "its letters have lost their red"


def test_of_an_undecided_claim_it_says_why_and_what_would_decide_it(page: Page) -> None:
    page.choose(next(row for row, text in enumerate(page.rows) if text.startswith("◇ Channels of a module")))
    said = page.verdict
    assert said.startswith("Undecided. Claimed: ")
    assert " Why: the interval reaches across the limit. What would decide it: " in said


def test_what_a_field_asks_for_can_be_typed_as_it_says(page: Page) -> None:
    """Whoever follows an example to the letter must not be told the same again: no key, no quotes of the file."""
    page.choose(0)
    for field, piece, typed in ((LIMIT, "limit", "10"), (NAME, "name", "")):
        page.write(field, typed)
        said = page.wrong(piece)
        assert said and '"' not in said and "=" not in said
        example = re.search(r"as in (.*)\.$", said)
        assert example is not None
        page.write(field, example[1])
        assert page.wrong(piece) == ""


def test_typing_a_limit_is_one_step_to_take_back(page: Page) -> None:
    before = page.desk.document.claims_text
    page.choose(0)
    page.write(LIMIT, "12 us ± 1 ns")
    page.qtbot.keyClick(page.list, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    page.settle(page.desk)
    assert page.desk.document.claims_text == before
    assert page.rows[0].startswith("●")
    assert page.called(QLineEdit, LIMIT).text() == "10.12 us ± 10 ns"


def test_a_claim_is_added_named_moved_duplicated_and_removed(page: Page) -> None:
    page.click("Add a claim")
    assert page.rows[-1] == "… New claim · not complete"
    page.choose_kind("noise")
    page.write(NAME, "Quiet enough")
    page.write(LIMIT, "40 mV")
    assert page.rows[-1] == "● Quiet enough"
    page.click("Move the chosen claim before the one above it")
    page.settle(page.desk)
    assert page.rows[-2] == "● Quiet enough"
    page.click("Add the same claim under another name")
    page.settle(page.desk)
    assert page.rows[-1] == "● Quiet enough 2"
    page.click("Take the chosen claim out")
    page.settle(page.desk)
    assert "Quiet enough 2" not in " ".join(page.rows)
    names = [verdict.name for verdict in page.desk.results.verdicts]
    assert names[-2:] == ["Quiet enough", "All channels are quiet"]


def test_each_kind_shows_the_fields_that_it_takes(page: Page) -> None:
    page.click("Add a claim")
    for kind, shown in (("no_missed_trigger", "Withheld"), ("extent", "Intervals"), ("marker_pair", "Marker pair")):
        page.choose_kind(kind)
        fields = [w.accessibleName() for w in page.widget.findChildren(QLineEdit) if w.isVisible()]
        assert f"{shown} of the claim" in fields
        assert (LIMIT in fields) == (kind != "no_missed_trigger")
    page.choose_kind("no_missed_trigger")
    page.write("Withheld of the claim", "9, soon")
    assert "'soon' is not a whole number" in page.wrong("withheld")
    page.write("Withheld of the claim", "9, 23")
    assert page.desk.document.written_claims.claims[-1].claim.withheld == (9, 23)


def test_saving_keeps_remarks_and_refuses_a_file_that_changed(page: Page, faults: Path) -> None:
    path = faults.with_suffix("").with_suffix(".claims.toml")
    path.write_text("# by hand\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    page.choose(0)
    page.write(LIMIT, "12 us ± 1 ns")
    page.click("Save the claims into their file")
    page.settle(page.desk)
    assert "changed by somebody else" in page.answer
    assert "12 us ± 1 ns" not in path.read_text(encoding="utf-8")

    page.qtbot.keyClick(page.list, Qt.Key.Key_F5, Qt.KeyboardModifier.ShiftModifier)
    page.settle(page.desk)
    assert not page.desk.document.claims_edited
    page.write(LIMIT, "12 us ± 1 ns")
    page.click("Save the claims into their file")
    page.settle(page.desk)
    assert page.answer == f"Saved: {path}."
    assert path.read_text(encoding="utf-8").startswith("# by hand\n")
    assert read_claims(path).claims[0].written == "12 us ± 1 ns"
    assert not page.desk.document.claims_edited


def test_what_was_not_saved_is_there_again_and_said(
    page: Page, make_window: Callable[..., DeskWindow], faults: Path
) -> None:
    page.choose(0)
    page.write(LIMIT, "12 us ± 1 ns")
    page.desk.close()
    again = make_window(faults)
    assert again.document.claims_edited
    assert "edited on the desk" in again.message_bar.label.text()
    assert again.results.verdicts[0].verdict == "fails"


@pytest.mark.usefixtures("undrawn")
def test_the_sheet_waits_for_every_claim_and_says_what_was_edited(page: Page, tmp_path: Path) -> None:
    page.choose(0)
    page.write(LIMIT, "")
    assert "Not complete: the claim The plate moves 7.5 mm a ping" in page.desk.saving.files.sheet_refused()
    page.write(LIMIT, "12 us ± 1 ns")
    page.desk.saving.files.write_sheet(tmp_path / "sheet.html")
    page.settle(page.desk)
    text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "edited on the desk and not saved into it" in text
    assert "12 µs ± 1 ns" in text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_draft_is_made_of_what_the_session_shows(page: Page) -> None:
    page.click("Put a draft from what the session shows in the claims' place")
    page.settle(page.desk)
    assert any("not complete" in row for row in page.rows)
    assert page.rows[0].startswith("… ")
    page.qtbot.keyClick(page.list, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert page.rows[0].endswith("The plate moves 7.5 mm a ping")


def test_claims_of_a_session_without_a_file_go_where_a_person_says(
    desk: DeskWindow, qtbot: Any, settle: Settle, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = Page(desk, qtbot, settle)
    assert page.rows == []
    page.click("Add a claim")
    page.write(LIMIT, "1 us")
    assert page.rows == ["● New claim"]
    page.click("Save the claims into their file")
    assert "name of your own" in page.answer
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(tmp_path / "mine"), ""))
    page.click("Save the claims under another name")
    settle(desk)
    assert [claim.name for claim in read_claims(tmp_path / "mine.claims.toml").claims] == ["New claim"]


def test_a_setting_is_written_and_measured_by(page: Page) -> None:
    from PySide6.QtWidgets import QTabBar

    tabs = page.widget.findChild(QTabBar)
    page.qtbot.mouseClick(tabs, LEFT, pos=tabs.tabRect(1).center())
    table = page.widget.settings
    row = table._names.index("re_arm")
    table.setCurrentCell(row, 1)
    table.editItem(table.item(row, 1))
    editor = table.findChild(QLineEdit)
    page.qtbot.keyClicks(editor, "3 us")
    page.qtbot.keyClick(editor, Qt.Key.Key_Return)
    page.settle(page.desk)
    settings = page.desk.results.findings.settings
    assert (settings.re_arm, settings.origin("re_arm")) == (pytest.approx(3e-6), "claims")


@pytest.mark.parametrize(
    ("name", "typed", "kept"),
    [
        ("channel", "12", "12"), ("reference", "1e3", "1e3"), ("cycle", "12", 12), ("clock_ppm", "2.5", 2.5),
        ("re_arm", "3 us", "3 us"), ("re_arm", " ", None), ("cycle", "-3", -3),
    ],
)  # fmt: skip
def test_a_channel_called_by_a_number_stays_a_name(
    name: str, typed: str, kept: object, make_window: Callable[..., DeskWindow]
) -> None:
    table = SettingsTable()
    written: list[object] = []
    table.written.connect(lambda _, value: written.append(value))
    table.show_settings(look_at(""))
    table.item(table._names.index(name), VALUE).setText("before")
    table.item(table._names.index(name), VALUE).setText(typed)
    assert written[-1] == kept
    assert type(written[-1]) is type(kept)
    table.deleteLater()
