"""Many records at once, the table of those that match, and ways to go: by real gestures."""

from __future__ import annotations

import csv
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QItemSelectionModel, Qt
from PySide6.QtWidgets import QApplication, QFileDialog, QLineEdit, QPushButton, QToolButton

from pulsewright_app.desk import filtering
from pulsewright_app.desk.panels import record_text, rows_text
from pulsewright_app.desk.panels.tables import tab_separated
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, colours_of, labelled, message, press


def part(desk: DeskWindow, kind: Any, name: str) -> Any:
    return next(w for w in desk.findChildren(kind) if w.accessibleName() == name)


def choose(desk: DeskWindow, rows: list[int]) -> None:
    table = desk.records_panel.table
    table.clearSelection()
    how = QItemSelectionModel.SelectionFlag
    for row in rows:
        table.selectionModel().select(table.model().index(row, 0), how.Select | how.Rows)


def offered() -> list[str]:
    """What the menu that hangs open offers."""
    return [action.text() for action in QApplication.activePopupWidget().actions()]


def pick(desk: DeskWindow, qtbot: Any, place: int) -> None:
    """Take an entry of the menu that hangs open, by keys; the first one is chosen as it opens."""
    menu = QApplication.activePopupWidget()
    for _ in range(place):
        qtbot.keyClick(menu, Qt.Key.Key_Down)
    qtbot.keyClick(menu, Qt.Key.Key_Return)
    desk.activateWindow()  # the platform of the tests does not, once a menu is gone
    qtbot.waitUntil(desk.isActiveWindow)


def saved(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


NOTE = "Note on the chosen records, or reason for leaving them out"


def test_a_note_is_written_on_many_and_taken_back_in_one_step(desk: DeskWindow, qtbot: Any) -> None:
    choose(desk, [2, 3, 5])
    qtbot.keyClicks(part(desk, QLineEdit, NOTE), "the pump ran")
    qtbot.mouseClick(part(desk, QPushButton, "Write the note on the chosen records"), LEFT)
    assert desk.document.notes == {2: "the pump ran", 3: "the pump ran", 5: "the pump ran"}
    qtbot.mouseClick(part(desk, QPushButton, "Write the note on the chosen records"), LEFT)  # empty: takes them away
    assert desk.document.notes == {}
    press(desk, qtbot, "Ctrl+Z")
    press(desk, qtbot, "Ctrl+Z")
    assert desk.document.notes == {}
    press(desk, qtbot, "Ctrl+Shift+Z")
    assert set(desk.document.notes) == {2, 3, 5}


def test_the_summary_beside_a_filter_counts_what_is_listed(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    for record in (3, 4, 5):
        desk.document.flag(record)
    desk.document.leave_out(7, "A bubble")
    settle(desk)
    assert "3 flagged, 1 left out" in labelled(desk, "Summary of the records")
    line = part(desk, QLineEdit, "Filter of the records")
    qtbot.keyClicks(line, "polarity positive")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    settle(desk)
    # records of this session are positive where their number is even, by construction
    assert labelled(desk, "Summary of the records").startswith("6 of 12 records, those that match, 1 flagged, polarity")


def test_only_those_that_match_are_listed_and_saved(
    desk: DeskWindow, qtbot: Any, settle: Settle, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.document.note(4, "=1+1")
    line = part(desk, QLineEdit, "Filter of the records")
    qtbot.keyClicks(line, "polarity positive")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    settle(desk)
    model = desk.records_panel.table.model()
    # records of this session are positive where their number is even, by construction
    assert [model.index(row, 0).data() for row in range(model.rowCount())] == ["0", "2", "4", "6", "8", "10"]
    assert labelled(desk, "Summary of the records").startswith("6 of 12 records, those that match")
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(tmp_path / "even"), ""))
    qtbot.mouseClick(part(desk, QPushButton, "Save records as CSV"), LEFT)
    assert offered() == ["All 12 records …", "Only the 6 records that match …"]
    pick(desk, qtbot, 1)
    settle(desk)
    assert labelled(desk, "Answer to the last click") == f"6 records in {tmp_path / 'even.csv'}"
    rows = saved(tmp_path / "even.csv")
    assert [row["record"] for row in rows] == ["0", "2", "4", "6", "8", "10"]
    assert rows[2]["note"] == "'=1+1"  # no spreadsheet runs it
    # the ending typed too: a dialog asks before it gives the name of a file that is there
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(tmp_path / "even.csv"), ""))
    press(desk, qtbot, "Ctrl+Alt+R")
    pick(desk, qtbot, 0)
    settle(desk)
    assert [int(row["record"]) for row in saved(tmp_path / "even.csv")] == list(range(12))
    press(desk, qtbot, "Ctrl+Shift+R")  # all records again
    settle(desk)
    assert model.rowCount() == 12


def test_without_a_filter_all_records_are_saved_as_they_are_sorted(
    desk: DeskWindow, qtbot: Any, settle: Settle, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(tmp_path / "all.csv"), ""))
    table = desk.records_panel.table
    qtbot.keyClick(table, Qt.Key.Key_O, Qt.KeyboardModifier.ShiftModifier)  # the last record first
    qtbot.mouseClick(part(desk, QPushButton, "Save records as CSV"), LEFT)
    settle(desk)
    assert [int(row["record"]) for row in saved(tmp_path / "all.csv")] == list(range(11, -1, -1))


def test_very_many_records_are_copied_while_the_desk_goes_on(
    desk: DeskWindow, qtbot: Any, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[bool] = []
    cells = record_text.RecordText.cells

    def watched(given: record_text.RecordText) -> Any:
        made.append(threading.current_thread() is threading.main_thread())
        return cells(given)

    monkeypatch.setattr(rows_text, "MOST_AT_ONCE", 5)
    monkeypatch.setattr(record_text.RecordText, "cells", watched)
    table = desk.records_panel.table
    table.setFocus()
    for key in (Qt.Key.Key_A, Qt.Key.Key_C):
        qtbot.keyClick(table, key, Qt.KeyboardModifier.ControlModifier)
    settle(desk)
    assert labelled(desk, "Answer to the last click") == "12 records in the clipboard."
    assert QApplication.clipboard().text() == tab_separated(table.model(), range(12))
    assert made == [False]


def test_no_table_is_made_anew_where_only_the_freshness_of_the_numbers_changes(desk: DeskWindow) -> None:
    arranged: list[None] = []
    model = desk.records_panel.table.model()
    for signal in (model.layoutChanged, model.modelReset):
        signal.connect(lambda *_: arranged.append(None))
    desk.results.mark_out_of_date()
    assert labelled(desk, "Summary of the records").endswith("measured columns are out of date")
    assert not arranged


def test_a_filter_is_not_applied_anew_where_only_the_freshness_of_the_numbers_changes(
    desk: DeskWindow, qtbot: Any, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = part(desk, QLineEdit, "Filter of the records")
    qtbot.keyClicks(line, "polarity positive")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    applied: list[str] = []
    parse = filtering.parse_filter

    def watched(text: str, unit: str) -> Any:
        applied.append(text)
        return parse(text, unit)

    monkeypatch.setattr(filtering, "parse_filter", watched)
    desk.results.mark_out_of_date()
    assert not applied
    desk.document.set_setting("threshold", "2 V")  # above every pulse
    settle(desk)
    assert applied == ["polarity positive"]
    assert labelled(desk, "How many records match the filter") == "0 of 12 match"


def test_a_record_left_out_is_said_to_be_though_nothing_was_measured(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    desk.results.clear()  # as where the measuring was stopped before it came to anything
    qtbot.keyClicks(part(desk, QLineEdit, NOTE), "bubbles")
    qtbot.mouseClick(part(desk, QPushButton, "Leave the chosen records out"), LEFT)
    settle(desk)
    assert "left out: bubbles" in labelled(desk, "What the Single view shows")
    press(desk, qtbot, "Ctrl+Z")
    settle(desk)
    assert "left out" not in labelled(desk, "What the Single view shows")


def test_f_and_x_in_the_table_are_about_the_chosen_records(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """As a person types: the desk has the same keys for the current record alone."""
    desk.viewing.set_channel(1)
    settle(desk)
    table = desk.records_panel.table
    table.setFocus()
    choose(desk, [2, 3, 5])
    pulse = part(desk, QPushButton, "Reject the first pulse of each chosen record on the current channel")
    qtbot.keyClick(table, Qt.Key.Key_F)
    assert desk.document.flags == {2, 3, 5}
    qtbot.keyClick(table, Qt.Key.Key_X)
    assert [place[:2] for place in desk.document.rejected] == [(2, 1), (3, 1), (5, 1)]
    assert desk.document.undo_label == "Reject 3 pulses"
    settle(desk)
    model = table.model()
    first = [model.index(row, 5).data() for row in (1, 2, 3)]
    assert bool(first[0]) and not any(first[1:])
    assert pulse.text() == "Take pulse back" and pulse.isEnabled()
    qtbot.mouseClick(pulse, LEFT)
    assert not desk.document.rejected
    settle(desk)
    assert all(model.index(row, 5).data() for row in (1, 2, 3))


def test_a_row_without_a_pulse_has_none_to_reject(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.document.set_setting("span", "120 us .. 160 us")  # the pulse walks from 40 µs to 61 µs
    settle(desk)
    pulse = part(desk, QPushButton, "Reject the first pulse of each chosen record on the current channel")
    assert not pulse.isEnabled()
    desk.records_panel.table.setFocus()
    qtbot.keyClick(desk.records_panel.table, Qt.Key.Key_X)
    assert message(desk) == "The chosen records have no pulse on the current channel."


def test_the_chosen_record_stays_right_while_only_matching_are_listed(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    line = part(desk, QLineEdit, "Filter of the records")
    qtbot.keyClicks(line, "polarity negative")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    settle(desk)
    table = desk.records_panel.table
    index = table.model().index(2, 0)
    qtbot.mouseClick(table.viewport(), LEFT, pos=table.visualRect(index).center())
    assert desk.viewing.record == 5
    qtbot.keyClick(table, Qt.Key.Key_F)
    assert desk.document.flags == {5}


def test_go_to_a_time(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "Ctrl+G")
    field = QApplication.focusWidget()
    qtbot.keyClicks(field, "7 ms")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert desk.viewing.record == 7
    qtbot.keyClicks(field, "9 s")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert message(desk).startswith("No record was taken at 9 s")
    assert desk.viewing.record == 7
    assert field.text() == "9 s"  # left to be mended
    desk.viewing.go_to(8)  # as playing does
    assert field.text() == "9 s"
    qtbot.keyClicks(field, "#3")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert desk.viewing.record == 3
    assert (field.text(), message(desk)) == ("3", "")
    qtbot.keyClicks(field, "soon")
    desk.middle.view.canvas.setFocus()
    assert field.text() == "3"


def test_flags_are_visited_both_ways(desk: DeskWindow, qtbot: Any) -> None:
    for record in (2, 6, 9):
        desk.document.flag(record)
    visited = []
    for keys in ("Shift+F", "Shift+F", "Alt+Shift+F", "Alt+Shift+F", "Alt+Shift+F"):
        press(desk, qtbot, keys)
        visited.append(desk.viewing.record)
    assert visited == [2, 6, 2, 9, 6]


def test_buttons_beside_the_rail_visit_flags_both_ways_on_a_small_screen(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    desk.resize(1366, 768)
    settle(desk)
    visited = []
    desk.document.flag_many([2, 6, 9])
    for start in ("Go to the next flagged", "Go to the next flagged", "Go to the flagged record before"):
        button = next(b for b in desk.findChildren(QToolButton) if b.accessibleName().startswith(start))
        assert button.isVisible()
        qtbot.mouseClick(button, LEFT)
        visited.append(desk.viewing.record)
    assert visited == [2, 6, 2]
    names = [b.accessibleName() for b in desk.findChildren(QToolButton) if b.isVisible()]
    assert any(name.startswith("Go to the next record that speaks against") for name in names)
    assert any(name.startswith("Go to the record before that speaks against one") for name in names)


def test_the_rail_shows_what_speaks_against_a_claim(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path
) -> None:
    desk = make_window(faults)
    rail = desk.middle.rail_row.rail
    against = sorted(desk.results.against)
    assert 14 in against  # the clipped record, of which the sample's claims fail
    assert "speaks against a claim" in rail.text_at(rail.x_of(14))
    press(desk, qtbot, "Shift+V")
    first = desk.viewing.record
    press(desk, qtbot, "Alt+Shift+V")
    assert (first, desk.viewing.record) == (against[0], against[-1])
    desk.viewing.go_to(0)
    image = colours_of(rail.grab().toImage())
    x = round(rail.x_of(14))
    from PySide6.QtGui import QColor

    wanted = QColor(LIGHT.fails).getRgb()[:3]
    assert (abs(image[:, x - 3 : x + 4] - wanted).max(axis=2) < 10).any()
