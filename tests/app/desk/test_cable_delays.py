"""Cable delays: written in the channels panel, shown with where they came from, undone, measured by and drawn by."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtWidgets import QApplication, QLineEdit

from pulsewright.session import Session
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import Settle, button, canvas_of, inked, message, picture, press

DELAY = 3
SAMPLE = 1e-7  # of the walking session


def shown(desk: DeskWindow, row: int = 3, role: int = int(Qt.ItemDataRole.DisplayRole)) -> Any:
    """The delay's cell of a row: 1 is H01, 3 is H03."""
    return desk.channels_panel.table.model().index(row, DELAY).data(role)


def write(desk: DeskWindow, qtbot: Any, text: str) -> None:
    """Write into the delay of the current channel, by keys alone."""
    press(desk, qtbot, "Alt+D")
    editor = next(line for line in desk.channels_panel.table.findChildren(QLineEdit) if line.hasFocus())
    editor.selectAll()
    qtbot.keyClick(editor, Qt.Key.Key_Delete)
    qtbot.keyClicks(editor, text)
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    QCoreApplication.processEvents()  # the table takes what was written when it is idle


def top_of_the_trace(desk: DeskWindow) -> int:
    """The pixel at which the trace of H03 is highest."""
    return min((y, x) for x, y in inked(desk, LIGHT.channel(2)))[1]


def measured(desk: DeskWindow) -> tuple[list[float], float]:
    """The times of the pulses of H03, and its skew."""
    findings = desk.results.findings
    assert findings is not None
    skew = findings.alignment.channels[2].skew
    assert skew is not None
    return findings.pulses.time[findings.pulses.channel == 2].tolist(), skew.value


def test_a_delay_moves_the_trace_and_the_skew_and_is_undone(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """Expected: algebra, a channel with so much more cable is earlier by so much once the cable is taken off."""
    desk.viewing.zoom_time((35e-6, 45e-6))
    settle(desk)
    place, (times, skew) = top_of_the_trace(desk), measured(desk)
    desk.viewing.set_channel(2)
    write(desk, qtbot, "2 us")
    assert shown(desk) == "2 µs (review)"
    assert desk.results.out_of_date
    settle(desk)
    assert not desk.results.out_of_date
    assert measured(desk)[0] == pytest.approx([time - 2e-6 for time in times], abs=1e-14)
    assert measured(desk)[1] == pytest.approx(skew - 2e-6, abs=1e-14)
    desk.viewing.set_channel(0)  # the lane of the current channel is tinted
    settle(desk)
    canvas = canvas_of(desk)
    moved = canvas.x_of(2e-6) - canvas.x_of(0.0)
    assert top_of_the_trace(desk) == pytest.approx(place - moved, abs=2)
    assert canvas.windows()[0] == pytest.approx((35e-6, 45e-6))  # the window stays
    assert desk.actions_by_name["undo"].text() == "Undo: Set the cable delay of H03"
    press(desk, qtbot, "Ctrl+Z")
    assert shown(desk) == "0 s"
    settle(desk)
    assert top_of_the_trace(desk) == pytest.approx(place, abs=1)
    assert measured(desk) == (times, skew)


def test_what_is_no_delay_is_told_and_emptying_gives_the_files_back(desk: DeskWindow, qtbot: Any) -> None:
    desk.viewing.set_channel(2)
    write(desk, qtbot, "12 ns")
    for wrong, words in (("12", "is a second or more"), ("12 V", "is in V"), ("soon", "not a number")):
        write(desk, qtbot, wrong)
        assert words in message(desk) and "Nothing was changed." in message(desk)
        assert message(desk).startswith("Cable delay of H03: ") and "H03=" not in message(desk)
        assert shown(desk) == "12 ns (review)"
    write(desk, qtbot, "12.5 ns")
    assert message(desk) == "", "what was wrong is mended"
    write(desk, qtbot, "12 ns")
    assert "the session's file says 0 s" in shown(desk, role=int(Qt.ItemDataRole.ToolTipRole))
    write(desk, qtbot, "")
    assert shown(desk) == "0 s"
    assert desk.document.settings == {}


def test_the_layers_are_told_apart(desk: DeskWindow, qtbot: Any) -> None:
    desk.document.open(
        desk.document.session,
        option={"delays": {"H01": "1 ns"}},
        claims={"delays": {"H01": "9 ns", "H02": "2 ns"}},
    )
    assert [shown(desk, row) for row in (1, 2, 3)] == ["1 ns (option)", "2 ns (claims file)", "0 s"]
    write(desk, qtbot, "5 ns")  # H01
    assert "--delay" in message(desk)
    assert shown(desk, 1) == "1 ns (option)"
    desk.viewing.set_channel(1)
    write(desk, qtbot, "3 ns")
    assert shown(desk, 2) == "3 ns (review)"
    write(desk, qtbot, "")
    assert shown(desk, 2) == "2 ns (claims file)"


@pytest.mark.parametrize("view", ["stacked", "afterglow", "map"])
def test_every_view_is_drawn_anew_by_another_delay(desk: DeskWindow, qtbot: Any, settle: Settle, view: str) -> None:
    desk.viewing.set_view(view)
    desk.viewing.set_channel(2)
    settle(desk)
    before = picture(desk)
    write(desk, qtbot, "5 us")
    settle(desk)
    canvas_of(desk).setFocus()
    assert picture(desk) != before
    press(desk, qtbot, "Ctrl+Z")
    settle(desk)
    assert picture(desk) == before


def test_the_sheet_and_the_findings_say_it(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_channel(2)
    write(desk, qtbot, "12.5 ns")
    settle(desk)
    qtbot.mouseClick(button(desk, "Copy all"), Qt.MouseButton.LeftButton)
    assert "Cable delays given: H03 12.5 ns (review)" in QApplication.clipboard().text()


def test_a_delay_is_kept_with_the_session(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], faults: Any, qtbot: Any,
    settle: Settle,
) -> None:  # fmt: skip
    desk = make_window(faults)
    write(desk, qtbot, "12 ns")
    assert desk.reviewing.let_go(lambda: None)
    assert desk.reviewing.as_it_stands()().settings == {"delays": {"H01": "12 ns"}}
    again = make_window(faults)
    settle(again)
    assert shown(again, 1) == "12 ns (review)"
