"""Stacked: which records stand above each other, how far apart, and what is written beside them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QSlider

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.stacked_run import CLOSEST, run_around

from .gestures import Settle, canvas_of, labelled, press

CAPTION = "What the Stacked view shows"


def slider(desk: DeskWindow, name: str) -> QSlider:
    return next(s for s in desk.findChildren(QSlider) if s.accessibleName() == name and s.isVisible())


def heights(desk: DeskWindow) -> float:
    """Over how much height of the plot the middles of all rows are spread, as a share."""
    _, (low, high) = canvas_of(desk).windows()
    return (len(desk.middle.view._rows) - 1) / (high - low)


@pytest.mark.parametrize(
    ("record", "shown", "wanted"),
    [(6, 5, [4, 5, 6, 7, 8]), (0, 3, [0, 1, 2]), (9, 4, [6, 7, 8, 9]), (5, 99, list(range(10)))],
)
def test_a_run_lies_around_the_record_as_far_as_there_are_any(record: int, shown: int, wanted: list[int]) -> None:
    assert run_around(record, shown, np.arange(10)).tolist() == wanted


def test_only_records_that_match_stand_above_each_other(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    press(desk, qtbot, "Alt+2")
    line = desk.middle.rail_row.filter_row.line
    line.setFocus()
    qtbot.keyClicks(line, "record > 3 and record < 8")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    desk.viewing.go_to(5)
    settle(desk)
    assert "records 4 to 7, record 5 strong" in labelled(desk, CAPTION)
    desk.viewing.go_to(9)
    settle(desk)
    assert "records 4 to 7; record 9 is none of them" in labelled(desk, CAPTION)
    press(desk, qtbot, "Ctrl+Shift+R")  # all of them again
    settle(desk)
    assert "records 0 to 11, record 9 strong" in labelled(desk, CAPTION)


def test_records_left_out_are_said(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    press(desk, qtbot, "Alt+2")
    desk.document.leave_out(3, "A bubble on the plate")
    settle(desk)
    assert labelled(desk, CAPTION).split("  ·  ")[2] == "record 3 left out"
    desk.document.leave_out(4, "Another one")
    desk.document.leave_out(9, "And one more")
    settle(desk)
    assert "records 3, 4, 9 left out" in labelled(desk, CAPTION)
    desk.viewing.set_neighbours(3)
    desk.viewing.go_to(6)
    settle(desk)
    assert "left out" not in labelled(desk, CAPTION)


def test_spacing_is_changed_by_keys_and_by_its_slider(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    press(desk, qtbot, "Alt+2")
    settle(desk)
    control, usual = slider(desk, "Spacing of the records"), heights(desk)
    place = control.value()
    for _ in range(4):
        press(desk, qtbot, "Ctrl+Shift+Down")
    settle(desk)
    assert desk.viewing.spacing == pytest.approx(1 / 3)  # by four quarters of a doubling, from 2/3
    assert control.value() == place - 8
    assert heights(desk) < usual  # higher traces need more room above and below
    press(desk, qtbot, "Ctrl+Shift+Up")
    assert desk.viewing.spacing == pytest.approx(2**0.25 / 3)
    qtbot.mouseClick(control, Qt.MouseButton.LeftButton, pos=QPoint(2, control.height() // 2))
    assert desk.viewing.spacing < 2**0.25 / 3
    desk.viewing.set_spacing(0.0)
    assert desk.viewing.spacing == CLOSEST
    assert control.value() == control.minimum()


def test_where_rows_are_close_only_some_carry_numbers_and_marks(
    make_window: Any, walking_session: Any, qtbot: Any, settle: Settle
) -> None:
    desk = make_window(walking_session(records=90))
    desk.viewing.set_neighbours(90)
    desk.viewing.go_to(31)
    press(desk, qtbot, "Alt+2")
    settle(desk)
    view = desk.middle.view
    labels = view._labels()
    rows = sorted(canvas_of(desk).y_of(height) for height, *_ in labels)
    assert 1 < len(labels) < 90
    assert min(np.diff(rows)) >= 0.9 * view.fontMetrics().height(), "the numbers run together"
    assert [text for _, text, _, strong in labels if strong] == ["31"]
    assert "pulses marked on record 31 alone" in labelled(desk, CAPTION)
    press(desk, qtbot, "PgUp")
    settle(desk)
    assert "pulses marked on record 30 alone" in labelled(desk, CAPTION)
    desk.viewing.set_neighbours(5)
    settle(desk)
    assert len(view._labels()) == 5
    assert "alone" not in labelled(desk, CAPTION)
