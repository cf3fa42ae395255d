"""The filter line below the rail, and the actions about single records and pulses, by real keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QLineEdit

from pulsewright_app.desk.window import DeskWindow

Settle = Callable[[DeskWindow], None]


def line_of(desk: DeskWindow) -> QLineEdit:
    return next(line for line in desk.findChildren(QLineEdit) if line.accessibleName() == "Filter of the records")


def count_of(desk: DeskWindow) -> str:
    labels = desk.findChildren(QLabel)
    return next(label.text() for label in labels if label.accessibleName() == "How many records match the filter")


def write(desk: DeskWindow, qtbot: Any, text: str) -> None:
    line = line_of(desk)
    line.setFocus()
    line.selectAll()
    qtbot.keyClicks(line, text)
    line.completer().popup().hide()
    qtbot.keyClick(line, Qt.Key.Key_Return)


def press(desk: DeskWindow, qtbot: Any, key: Qt.Key, modifier: Qt.KeyboardModifier) -> None:
    desk.middle.view.canvas.setFocus()
    qtbot.keyClick(desk.middle.view.canvas, key, modifier)


_Modifier = Qt.KeyboardModifier
NONE, CONTROL, SHIFT = _Modifier.NoModifier, _Modifier.ControlModifier, _Modifier.ShiftModifier


def test_a_filter_is_stepped_through_until_it_is_emptied(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    settle(desk)
    write(desk, qtbot, "record 2 .. 3 or record 8")
    assert count_of(desk) == "3 of 12 match"
    seen = []
    for _ in range(3):
        press(desk, qtbot, Qt.Key.Key_PageDown, NONE)
        seen.append(desk.viewing.record)
    assert seen == [2, 3, 8]
    line_of(desk).clear()
    assert count_of(desk) == "all records"
    press(desk, qtbot, Qt.Key.Key_PageDown, NONE)
    assert desk.viewing.record == 9


def test_a_wrong_filter_is_told_with_its_place_marked_and_the_one_before_stays(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    settle(desk)
    write(desk, qtbot, "record 2 .. 3")
    write(desk, qtbot, "flagged or flaged")
    assert line_of(desk).selectedText() == "flaged"
    assert 'the nearest is "flagged"' in desk.message_bar.findChild(QLabel).text()
    assert count_of(desk) == "2 of 12 match"


def test_words_are_offered_while_a_filter_is_written(desk: DeskWindow, qtbot: Any) -> None:
    line = line_of(desk)
    line.setFocus()
    qtbot.keyClicks(line, "not lef")
    model = line.completer().completionModel()
    assert [model.index(row, 0).data() for row in range(model.rowCount())] == ["not left out "]
    line.completer().popup().hide()


def test_the_matching_records_follow_what_a_person_flags(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    settle(desk)
    write(desk, qtbot, "flagged")
    assert count_of(desk) == "0 of 12 match"
    desk.viewing.set_only_matching(False)
    press(desk, qtbot, Qt.Key.Key_G, NONE)
    assert count_of(desk) == "1 of 12 match"
    assert (desk.document.flags, desk.viewing.record) == ({0}, 1)
    desk.document.undo()
    assert count_of(desk) == "0 of 12 match"


def test_only_those_that_match_is_a_key_and_ctrl_r_goes_to_the_line(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    settle(desk)
    write(desk, qtbot, "record 5")
    press(desk, qtbot, Qt.Key.Key_R, CONTROL | SHIFT)
    assert desk.viewing.matching is None
    press(desk, qtbot, Qt.Key.Key_R, CONTROL)
    assert line_of(desk).hasFocus()


def test_a_pulse_is_rejected_measured_without_and_taken_back(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    settle(desk)
    before = desk.results.findings
    assert before is not None and len(before.pulses.where(0, 0))
    press(desk, qtbot, Qt.Key.Key_X, NONE)
    settle(desk)
    after = desk.results.findings
    assert after is not None
    assert len(after.pulses.where(0, 0)) == len(before.pulses.where(0, 0)) - 1
    assert after.rejected_pulses == 1
    press(desk, qtbot, Qt.Key.Key_X, SHIFT)
    settle(desk)
    assert desk.results.findings is not None and desk.results.findings.rejected_pulses == 0
    desk.document.undo()
    assert len(desk.document.rejected) == 1


def test_many_records_are_flagged_in_one_step_of_undo(desk: DeskWindow) -> None:
    desk.document.flag_many([2, 3, 5])
    desk.document.leave_out_many([2, 3], "a crane passed")
    desk.document.undo()
    assert (desk.document.flags, dict(desk.document.left_out)) == ({2, 3, 5}, {})
    desk.document.undo()
    assert not desk.document.flags
