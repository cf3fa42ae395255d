"""Preferences, recent sessions and several windows: by real gestures."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QMimeData, QPoint, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QApplication, QLabel, QPushButton

from pulsewright_app.desk.habits import windows
from pulsewright_app.desk.habits.preferences import Preferences
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

from .gestures import LEFT, Settle, colours_of, message, press
from .shown_pages import called, page_of

Make = Callable[..., DeskWindow]


def test_preferences_hold_at_once_and_the_next_day(habitual: Make, qtbot: Any, settle: Settle) -> None:
    desk = habitual()
    press(desk, qtbot, "Ctrl+,")
    preferences = page_of("Preferences")
    box = called(preferences, "A session begins in")
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_End)  # Map
    colours = called(preferences, "Colours")
    colours.setFocus()
    qtbot.keyClick(colours, Qt.Key.Key_End)  # Dark
    letters = called(preferences, "Size of letters")
    before = desk.markers_panel.add_button.fontMetrics().height()
    letters.setFocus()
    letters.selectAll()
    qtbot.keyClicks(letters, "200")
    qtbot.keyClick(letters, Qt.Key.Key_Return)
    settle(desk)
    assert (desk.viewing.view, desk.viewing.dark) == ("map", True)
    assert desk.markers_panel.add_button.fontMetrics().height() > 1.6 * before
    desk.close()
    again = habitual()
    assert again.viewing.view == "map"
    assert again.markers_panel.add_button.fontMetrics().height() > 1.6 * before
    assert again.manners.habits.preferences == Preferences(theme="dark", view="map", font_percent=200)
    press(again, qtbot, "Ctrl+,")
    qtbot.mouseClick(called(page_of("Preferences"), "Let everything here be as it was at first"), LEFT)
    assert again.viewing.view == "single"
    assert again.manners.habits.preferences == Preferences()


def test_every_other_preference_holds_at_once_and_in_the_next_window(
    habitual: Make, qtbot: Any, settle: Settle
) -> None:
    desk = habitual()
    press(desk, qtbot, "Ctrl+,")
    preferences = page_of("Preferences")
    for name in ("Afterglow in", "Play at", "Markers go to"):
        box = called(preferences, name)
        box.setFocus()
        qtbot.keyClick(box, Qt.Key.Key_End)
    for name in ("Ink by the logarithm of the count", "A lane for each channel in Single"):
        tick = called(preferences, name)
        qtbot.mouseClick(tick, LEFT, pos=QPoint(8, tick.height() // 2))
    neighbours = called(preferences, "Records in Stacked")
    neighbours.setFocus()
    neighbours.selectAll()
    qtbot.keyClicks(neighbours, "7")
    qtbot.keyClick(neighbours, Qt.Key.Key_Return)
    preferences.close()
    for open_window in (lambda: desk, habitual):
        window = open_window()
        window.open_sample()
        settle(window)
        window.activateWindow()
        qtbot.waitUntil(window.isActiveWindow)
        press(window, qtbot, "Alt+3")
        assert called(window, "Ink of the Afterglow view").currentText() == "Inks by polarity"
        assert not called(window, "Ink follows the logarithm of the count").isChecked()
        assert called(window, "Pace of playing, records a second").currentText() == "50 / s"
        assert window.actions_by_name["snap_nothing"].isChecked()
        assert not window.actions_by_name["lanes"].isChecked()
        press(window, qtbot, "Alt+2")
        settle(window)
        assert "records 0 to 6, record 0 strong" in called(window, "What the Stacked view shows").text()


def test_titles_and_headings_follow_the_size_of_the_letters_at_once(habitual: Make, qtbot: Any, settle: Settle) -> None:
    """By the pixels: how many rows of them have letters, before and after."""
    from pulsewright_app.desk.habits.manners import set_font_percent

    desk = habitual()
    titles = list(desk.docks.values())
    heading = next(w for w in desk.findChildren(QLabel) if "Which recorded session" in w.text())

    def rows(of: Any, high: int) -> int:
        """Rows of the widget's upper left part in which anything is darker than the page."""
        seen = colours_of(of.grab().toImage())[:high, : of.width() // 2]
        return int((seen.max(axis=2) < 150).any(axis=1).sum())

    def heights() -> list[int]:
        desk.close_session()
        settle(desk)
        first = rows(heading, heading.fontMetrics().height() * 2)
        desk.open_sample()
        settle(desk)
        return [first, *(rows(title, title.titleBarWidget().height()) for title in titles)]

    before = heights()
    set_font_percent(200)
    settle(desk)
    assert min(before) > 5
    assert all(after > 1.6 * one for one, after in zip(before, heights(), strict=True))


def test_tick_boxes_grow_with_the_letters(habitual: Make, settle: Settle) -> None:
    """By the pixels of their edges; and what stands beside a box in a table has its room."""
    from pulsewright_app.desk.habits.manners import set_font_percent

    desk = habitual()
    desk.open_sample()
    settle(desk)
    table, alone = desk.channels_panel.table, desk.middle.rail_row.filter_row.only
    model = table.model()
    row = next(row for row in range(model.rowCount()) if model.index(row, 0).data() == "H01")

    def width(image: Any, reach: int) -> int:
        """How far the longest level edge goes in the left part of a picture."""
        seen = colours_of(image)[:, :reach]
        edge = np.pad(np.abs(seen - np.median(seen, axis=(0, 1))).sum(axis=2) > 60, ((0, 0), (1, 1)))
        changes = np.argwhere(edge[:, 1:] != edge[:, :-1])[:, 1]  # where runs begin and end, by turns
        return int((changes[1::2] - changes[::2]).max())

    def widths() -> list[int]:
        box, cell = alone.grab().toImage(), table.visualRect(model.index(row + 1, 0))
        reach = table.fontMetrics().height() * 5 // 3
        return [width(box, reach), width(table.viewport().grab(cell).toImage(), reach)]

    def room() -> int:
        """Pixels that a cell asks for beside the letters of a channel's name: box, colour and air."""
        index = model.index(row, 0)
        return table.sizeHintForIndex(index).width() - table.fontMetrics().horizontalAdvance("H01")

    before, usual = widths(), room()
    assert min(before) > 8 and usual > 0
    set_font_percent(200)
    settle(desk)
    assert all(after > 1.6 * one for one, after in zip(before, widths(), strict=True))
    assert room() >= usual + widths()[1] - before[1]
    set_font_percent(100)
    settle(desk)
    assert widths() == before


def test_a_session_is_opened_again_from_the_first_screen_and_the_menu(
    habitual: Make, qtbot: Any, settle: Settle, faults: Path, tmp_path: Path
) -> None:
    other = tmp_path / "gone.h5"
    shutil.copy(sample("tank_walk.h5"), other)
    desk = habitual(other)
    desk.open_path(faults)
    settle(desk)
    desk.close()
    other.unlink()
    again = habitual()

    def listed() -> list[QPushButton]:
        buttons = again.first_screen.findChildren(QPushButton)
        return [b for b in buttons if b.isVisible() and b.accessibleName().startswith("Open tank")]

    def offered() -> list[tuple[str, bool]]:
        return [(action.text(), action.isEnabled()) for action in again.recent_menu.actions() if action.text()]

    qtbot.waitUntil(lambda: bool(listed()), timeout=60_000)
    assert [b.accessibleName() for b in listed()] == ["Open tank_faults.h5 again"]
    qtbot.mouseClick(listed()[0], LEFT)
    settle(again)
    assert again.document.session is not None
    assert again.document.session.file == faults
    press(again, qtbot, "Ctrl+W")
    qtbot.keyClick(again, Qt.Key.Key_S, Qt.KeyboardModifier.AltModifier)
    session = QApplication.activePopupWidget()
    while session.activeAction() is not again.recent_menu.menuAction():
        qtbot.keyClick(session, Qt.Key.Key_Down)
    qtbot.keyClick(session, Qt.Key.Key_Right)
    assert QApplication.activePopupWidget() is again.recent_menu
    qtbot.waitUntil(lambda: offered()[1][0].endswith("(gone)"), timeout=60_000)
    texts = offered()
    assert texts[0][0].startswith("&1  tank_faults.h5") and texts[0][1]
    assert not texts[1][1]
    qtbot.keyClick(again.recent_menu, Qt.Key.Key_1)
    settle(again)
    assert again.document.session is not None
    assert again.document.session.file == faults
    again.recent_menu.actions()[-1].trigger()  # Forget these
    assert again.manners.habits.recent == ()


def test_panels_are_where_they_were_left_and_can_be_put_back(
    habitual: Make, qtbot: Any, settle: Settle, faults: Path
) -> None:
    desk = habitual(faults)
    press(desk, qtbot, "Alt+R")
    assert desk.docks["records_panel"].isHidden()
    desk.close()
    again = habitual(faults)
    assert again.docks["records_panel"].isHidden()
    assert not again.docks["findings_panel"].isHidden()
    press(again, qtbot, "Alt+0")
    assert not again.docks["records_panel"].isHidden()


def test_panels_put_back_have_the_sizes_that_they_had_at_first(
    habitual: Make, qtbot: Any, settle: Settle, faults: Path
) -> None:
    desk = habitual(faults)
    desk.resize(1366, 768)
    settle(desk)
    markers, findings = desk.docks["markers_panel"], desk.docks["findings_panel"]
    assert markers.height() < findings.height()
    desk.resizeDocks([markers, findings], [600, 100], Qt.Orientation.Vertical)
    settle(desk)
    assert markers.height() > findings.height()
    for keys in ("Alt+C", "Alt+R", "Alt+M", "Alt+F", "Alt+0"):
        press(desk, qtbot, keys)
        settle(desk)
    assert markers.height() < findings.height()


@pytest.mark.parametrize("between", [(), ("Ctrl+W",)])
def test_panels_stay_as_they_are_when_another_session_comes(
    habitual: Make, qtbot: Any, settle: Settle, faults: Path, between: tuple[str, ...]
) -> None:
    """Opened over the one before, or after that was closed."""
    desk = habitual(faults)
    press(desk, qtbot, "Alt+R")
    desk.docks["markers_panel"].setFloating(True)
    for keys in between:
        press(desk, qtbot, keys)
        settle(desk)
        assert all(dock.isHidden() for dock in desk.docks.values())
    desk.open_sample()
    settle(desk)
    shown = {name for name, dock in desk.docks.items() if not dock.isHidden()}
    assert shown == {"channels_panel", "markers_panel", "findings_panel"}
    assert desk.docks["markers_panel"].isFloating()
    press(desk, qtbot, "Ctrl+W")
    desk.close()
    again = habitual(faults)
    assert again.docks["records_panel"].isHidden() and not again.docks["findings_panel"].isHidden()


def test_the_size_of_a_window_left_at_its_first_screen_is_remembered_and_the_panels_too(
    habitual: Make, qtbot: Any, settle: Settle, faults: Path
) -> None:
    desk = habitual(faults)
    press(desk, qtbot, "Alt+R")
    desk.close()
    again = habitual()
    again.resize(760, 610)  # the screen of the tests is 800 pixels wide
    settle(again)
    again.close()
    last = habitual()
    assert (last.width(), last.height()) == (760, 610)
    last.open_path(faults)
    settle(last)
    assert last.docks["records_panel"].isHidden()
    assert not last.docks["findings_panel"].isHidden()


def test_two_sessions_in_two_windows_wear_one_theme(habitual: Make, qtbot: Any, settle: Settle, faults: Path) -> None:
    desk = habitual(faults)
    press(desk, qtbot, "Ctrl+N")
    (other,) = [w for w in windows.open_windows() if w is not desk and w.manners.habits is desk.manners.habits]
    other.open_sample()
    settle(other)
    other.viewing.go_to(7)
    assert desk.viewing.record == 0
    other.activateWindow()
    press(other, qtbot, "Ctrl+D")
    assert desk.viewing.dark and other.viewing.dark
    other.close()
    assert desk.document.session is not None  # the first one goes on
    desk.activateWindow()
    settle(desk)
    press(desk, qtbot, "PgDown")
    assert desk.viewing.record == 1


def test_the_same_session_in_a_second_window_is_told(habitual: Make, qtbot: Any, settle: Settle, faults: Path) -> None:
    desk = habitual(faults)
    other = windows.open_another(desk, faults)
    settle(other)
    assert "in another window" in message(other)
    assert message(desk) == ""


def test_several_files_dropped_come_onto_a_window_each(
    habitual: Make, settle: Settle, faults: Path, tmp_path: Path
) -> None:
    second = tmp_path / "second.h5"
    shutil.copy(sample("tank_walk.h5"), second)
    desk = habitual()
    before = set(windows.open_windows())
    files = QMimeData()
    files.setUrls([QUrl.fromLocalFile(str(path)) for path in (faults, second)])
    spot, copy, held = QPoint(50, 50), Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton
    none = Qt.KeyboardModifier.NoModifier
    QApplication.sendEvent(desk, QDragEnterEvent(spot, copy, files, held, none))
    QApplication.sendEvent(desk, QDropEvent(spot, copy, files, held, none))
    settle(desk)  # which of the files are sessions is found out in the background
    (other,) = set(windows.open_windows()) - before
    settle(other)
    for window, path in ((desk, faults), (other, second)):
        assert window.document.session is not None
        assert window.document.session.file == path


def test_one_preference_chosen_leaves_alone_what_is_looked_at(habitual: Make, qtbot: Any, settle: Settle) -> None:
    desk = habitual()
    desk.open_sample()
    settle(desk)
    press(desk, qtbot, "Alt+3")
    press(desk, qtbot, "L")
    assert (desk.viewing.view, desk.viewing.lanes) == ("afterglow", False)
    press(desk, qtbot, "Ctrl+,")
    loop = called(page_of("Preferences"), "Start again after the last record")
    qtbot.mouseClick(loop, LEFT, pos=QPoint(8, loop.height() // 2))
    assert desk.viewing.loop
    assert (desk.viewing.view, desk.viewing.lanes) == ("afterglow", False)


def test_a_choice_on_an_open_page_keeps_what_was_chosen_elsewhere_meanwhile(habitual: Make, qtbot: Any) -> None:
    desk = habitual()
    press(desk, qtbot, "Ctrl+,")
    preferences = page_of("Preferences")
    colours = called(preferences, "Colours")
    assert colours.currentText() == "As the system"
    desk.activateWindow()
    press(desk, qtbot, "Ctrl+D")
    assert desk.viewing.dark
    assert colours.currentText() == "Dark"
    qtbot.keyClick(called(preferences, "Start again after the last record"), Qt.Key.Key_Space)
    assert desk.viewing.dark
    assert desk.manners.habits.preferences == Preferences(theme="dark", loop=True)


def test_an_ampersand_in_a_name_is_a_letter_and_no_key(
    habitual: Make, qtbot: Any, settle: Settle, faults: Path, tmp_path: Path
) -> None:
    odd = tmp_path / "plate & tank.h5"
    shutil.copy(faults, odd)
    desk = habitual(odd)
    desk.recent_menu.aboutToShow.emit()
    assert "plate && tank.h5" in desk.recent_menu.actions()[0].text()
    buttons = desk.first_screen.findChildren
    qtbot.waitUntil(lambda: any("plate && tank.h5" in b.text() for b in buttons(QPushButton)), timeout=60_000)
    pair = desk.document.add_pair(10e-6, 20e-6, 1e-9, 1e-9, 0, 0)
    desk.document.rename_pair(pair.id, "ping & echo")
    desk.document.remove_pair(pair.id)
    assert desk.actions_by_name["undo"].text() == "Undo: Remove ping && echo"
