"""The channels panel, by clicks and keys."""

from __future__ import annotations

from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QLineEdit

from pulsewright.session import Channel
from pulsewright_app.desk.panels.channel_table import range_text
from pulsewright_app.desk.panels.channels import ChannelsPanel
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK, LIGHT

from .gestures import press

TICK = 12  # pixels from a cell's left edge, inside its tick box


def texts(panel: ChannelsPanel, column: int = 0) -> list[str]:
    model = panel.table.model()
    return [model.index(row, column).data() for row in range(model.rowCount())]


def test_channels_stand_under_their_modules(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    assert texts(panel)[:6] == ["Module M1", "H01", "H02", "H03", "H04", "Module M2"]
    assert texts(panel, 2)[1] == "±1 V"
    assert texts(panel, 3)[1:5] == ["0 s", "0 s", "0 s", "10 ns"]


def test_a_click_makes_a_channel_the_current_one(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    bench.click(panel.table, 8, 2)
    assert bench.viewing.channel == 6
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Up)
    assert bench.viewing.channel == 5


def test_a_module_row_cannot_be_chosen(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    bench.viewing.set_channel(3)
    bench.click(panel.table, 5)
    assert bench.viewing.channel == 3


def test_the_table_follows_the_current_channel(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    bench.viewing.set_channel(8)
    assert panel.table.selectionModel().selectedRows()[0].data() == "H09"


def test_the_tick_box_hides_and_shows_a_channel_by_mouse_and_by_space(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    bench.click(panel.table, 3, 0, from_left=TICK)
    assert 2 not in bench.viewing.visible_channels
    box = panel.table.model().index(3, 0).data(Qt.ItemDataRole.CheckStateRole)
    assert Qt.CheckState(box) is Qt.CheckState.Unchecked
    assert bench.viewing.channel == 0  # ticking chooses nothing
    for _ in range(2):
        bench.qtbot.keyClick(panel.table, Qt.Key.Key_Down)
    assert bench.viewing.visible_channels == tuple(range(12))  # the current channel is always shown
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Space)
    assert 2 not in bench.viewing.visible_channels
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Space)
    assert 2 in bench.viewing.visible_channels


def test_only_this_one_and_show_all(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    bench.click(panel.table, 4, 2)
    bench.press(panel.only_button)
    assert bench.viewing.visible_channels == (3,)
    bench.press(panel.all_button)
    assert len(bench.viewing.visible_channels) == 12


def test_a_module_is_shown_and_hidden_by_its_tick(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)

    def tick() -> Any:
        return Qt.CheckState(panel.table.model().index(5, 0).data(Qt.ItemDataRole.CheckStateRole))

    bench.click(panel.table, 5, 0, from_left=TICK)
    assert bench.viewing.visible_channels == (0, 1, 2, 3, 8, 9, 10, 11)
    assert tick() is Qt.CheckState.Unchecked
    bench.viewing.show_channel(4)
    assert tick() is Qt.CheckState.PartiallyChecked
    bench.click(panel.table, 5, 0, from_left=TICK)
    assert len(bench.viewing.visible_channels) == 12
    bench.click(panel.table, 4, 2)  # by keys: down from the last channel of M1 to the row of M2
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Down)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Left)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Left)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Space)
    assert bench.viewing.visible_channels == (0, 1, 2, 3, 8, 9, 10, 11)


def test_only_its_module_shows_the_module_of_the_row(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    bench.click(panel.table, 7, 2)
    bench.press(panel.module_button)
    assert bench.viewing.visible_channels == (4, 5, 6, 7)
    assert bench.viewing.channel == 5
    bench.click(panel.table, 10, 0)  # the row of M3 itself
    bench.press(panel.module_button)
    assert bench.viewing.visible_channels == (8, 9, 10, 11)
    assert bench.viewing.channel == 8


def test_how_a_channel_is_drawn_is_written_in_its_row(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    told: list[str] = []
    bench.viewing.told.connect(lambda sentence: told.append(sentence) if sentence else None)

    def write(column: int, text: str) -> None:
        panel.table.setCurrentIndex(panel.table.model().index(2, column))
        bench.qtbot.keyClick(panel.table, Qt.Key.Key_F2)
        editor = next(line for line in panel.table.findChildren(QLineEdit) if line.hasFocus())
        editor.selectAll()
        bench.qtbot.keyClicks(editor, text)
        bench.qtbot.keyClick(editor, Qt.Key.Key_Return)
        QCoreApplication.processEvents()  # the table takes what was written when it is idle

    write(4, "2.5")
    write(5, "-250 mV")
    assert (bench.viewing.trims.of(1).scale, bench.viewing.trims.of(1).place) == (2.5, -0.25)
    assert [panel.table.model().index(2, column).data() for column in (4, 5)] == ["×2.5", "−250 mV"]
    write(4, "0")
    write(5, "3 s")
    assert ["scale" in told[0], "place" in told[1]] == [True, True]
    assert bench.viewing.trims.of(1).scale == 2.5
    bench.press(panel.reset_button)
    assert [panel.table.model().index(2, column).data() for column in (4, 5)] == ["×1", "0"]


def test_the_keys_of_the_channels(desk: DeskWindow, qtbot: Any) -> None:
    canvas, told = desk.middle.view.canvas, []
    for keys in ("Ctrl+Down", "C", "Alt+Shift+C", "Ctrl+Up", "Alt+Down", "Ctrl+Up"):
        canvas.setFocus()
        press(desk, qtbot, keys)
        told.append((desk.viewing.channel, desk.viewing.visible_channels, desk.viewing.trims.of(0).place < 0))
    every = (0, 1, 2)
    assert told == [
        (1, every, False), (1, (1,), False), (1, every, False), (0, every, False), (0, every, True), (0, every, True),
    ]  # fmt: skip


def test_lanes_or_one_axis_by_key(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    assert panel.lanes_box.currentText() == "Lanes"
    panel.lanes_box.setFocus()
    bench.qtbot.keyClick(panel.lanes_box, Qt.Key.Key_Down)
    assert not bench.viewing.lanes
    bench.viewing.set_lanes(True)
    assert panel.lanes_box.currentText() == "Lanes"


def test_swatches_have_the_theme_s_colours_light_and_dark(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    for dark, colours in ((False, LIGHT), (True, DARK)):
        bench.viewing.set_dark(dark)
        image = panel.table.viewport().grab(panel.table.visualRect(panel.table.model().index(2, 0))).toImage()
        seen = {image.pixelColor(x, image.height() // 2).name() for x in range(image.width())}
        assert colours.channel(1) in seen
        assert colours.surface in seen


def test_copying_gives_the_channels_with_their_modules_and_exact_delays(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    panel.table.clearSelection()
    panel.table.setFocus()
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    lines = QGuiApplication.clipboard().text().splitlines()
    assert lines[0] == "Channel\tModule\tRange\tCable delay / s\tDrawn\tHigher by"
    assert lines[4] == "H04\tM1\t±1 V\t1e-08\t×1\t0"
    assert len(lines) == 13


def test_ranges_are_told_as_the_end_codes_give_them() -> None:
    assert range_text(Channel("H01", "M1", scale=1e-3, offset=1.0, lowest_code=0, highest_code=4095), True) == (
        "1 V to 5.095 V"
    )
    assert range_text(Channel("H01", "M1"), False) == "not limited"


def test_without_a_session_the_panel_is_empty(bench: Any) -> None:
    bench.document.open(None)
    panel = bench.show(ChannelsPanel)
    assert texts(panel) == []
    assert not panel.only_button.isEnabled()


def test_every_control_has_an_accessible_name(bench: Any) -> None:
    panel = bench.show(ChannelsPanel)
    for widget in (panel.table, panel.only_button, panel.all_button, panel.lanes_box):
        assert widget.accessibleName()
        assert widget.focusPolicy() & Qt.FocusPolicy.TabFocus
