"""Every control of the desk and of its pages has a name and can be reached by Tab; every action has its keys."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QFileDialog,
    QSpinBox,
    QTableView,
    QTableWidget,
    QWidget,
)

from pulsewright_app.desk.rail import Rail
from pulsewright_app.desk.window import DeskWindow

from .controls import answers_for, controls_of, described, spoken, tab_stops
from .gestures import VIEWS, Settle, press, shown_windows

BLOCKING = {"quit", "close"}
"""Actions after which there would be no desk to look at."""
BY_KEYS_OF_ACTIONS = {Rail: ("first", "back", "forward", "last", "play")}
"""Controls that take no keyboard themselves, because keys that work everywhere do the same."""


@pytest.fixture
def no_file_dialogs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every question for a file be answered by nothing, and let no page hold the test up."""
    for ask in ("getOpenFileName", "getSaveFileName"):
        monkeypatch.setattr(QFileDialog, ask, lambda *_, **__: ("", ""))
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_, **__: "")
    monkeypatch.setattr(QDialog, "exec", lambda page: page.show())


def pages_of(desk: DeskWindow) -> Iterator[tuple[str, QWidget]]:
    """Every window that an action of the desk opens, with the action's name."""
    for name, action in desk.actions_by_name.items():
        if name in BLOCKING or action.isCheckable() or not action.isEnabled():
            continue
        before = set(shown_pages(desk))
        action.trigger()
        QApplication.processEvents()
        for page in set(shown_pages(desk)) - before:
            yield name, page
            page.close()


def shown_pages(desk: DeskWindow) -> list[QWidget]:
    return [w for w in shown_windows() if isinstance(w, QDialog) and w is not desk]


def reached_by_an_action(desk: DeskWindow, control: QWidget) -> bool:
    """Whether keys that work everywhere do what the control does."""
    wanted = BY_KEYS_OF_ACTIONS.get(type(control), ())
    return bool(wanted) and all(desk.actions_by_name[name].shortcut().toString() for name in wanted)


def unreached(desk: DeskWindow, window: QWidget, qtbot: Any) -> list[str]:
    stops = tab_stops(window, qtbot)
    return [
        described(control)
        for control in controls_of(window)
        if control.isEnabled()
        and control is not window
        and not answers_for(control, stops)
        and not reached_by_an_action(desk, control)
    ]


def nameless(window: QWidget) -> list[str]:
    return [described(control) for control in controls_of(window) if not spoken(control)]


@pytest.mark.parametrize("view", VIEWS)
def test_tab_goes_to_every_control_of_the_desk_and_each_has_a_name(
    desk: DeskWindow, qtbot: Any, settle: Settle, view: str
) -> None:
    desk.middle.view.hand.add_at_pointer()  # so that the table of the markers has its controls
    desk.viewing.set_view(view)
    desk.viewing.tell("A sentence, so that the bar at the top is there")
    settle(desk)
    desk.middle.view.canvas.setFocus()
    assert len(controls_of(desk)) > 45
    assert nameless(desk) == []
    assert unreached(desk, desk, qtbot) == []


def test_shift_and_tab_go_the_same_way_back(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.middle.view.hand.add_at_pointer()
    settle(desk)
    desk.middle.view.canvas.setFocus()
    there = tab_stops(desk, qtbot)
    back = []
    for _ in there:
        qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_Backtab, Qt.KeyboardModifier.ShiftModifier)
        back.append(QApplication.focusWidget())
    assert set(back) == set(there)


def test_tab_goes_to_every_control_of_the_first_screen(make_window: Callable[..., DeskWindow], qtbot: Any) -> None:
    desk = make_window()
    desk.viewing.tell("A sentence, so that the bar at the top is there")
    assert len(controls_of(desk)) >= 3
    assert nameless(desk) == []
    assert unreached(desk, desk, qtbot) == []


def test_tab_goes_to_every_control_of_every_page(
    desk: DeskWindow, qtbot: Any, settle: Settle, no_file_dialogs: None
) -> None:
    seen, faults = set(), []
    for name, page in pages_of(desk):
        settle(desk)
        page.activateWindow()
        qtbot.keyClick(page, Qt.Key.Key_Tab)
        seen.add(name)
        faults += [f"{name}: no name: {fault}" for fault in nameless(page)]
        faults += [f"{name}: not reached: {fault}" for fault in unreached(desk, page, qtbot)]
    assert {"shortcuts", "figure", "save_sheet", "sheet_views", "save_picture"} <= seen
    assert faults == []


def test_what_cannot_be_used_now_could_be_reached_when_it_can(desk: DeskWindow) -> None:
    disabled = [c for c in controls_of(desk) if not c.isEnabled()]
    assert disabled
    assert [described(c) for c in disabled if not c.focusPolicy() & Qt.FocusPolicy.TabFocus] == []


def all_actions(desk: DeskWindow, qtbot: Any) -> set[QAction]:
    """What stands in the menus, submenus too."""
    found, menus = set(), [action.menu() for action in desk.menuBar().actions()]
    while menus:
        for action in menus.pop().actions():
            if action.menu() is not None:
                menus.append(action.menu())
            elif not action.isSeparator():
                found.add(action)
    return found


def test_every_entry_of_every_menu_is_an_action_with_keys_that_no_other_has(desk: DeskWindow, qtbot: Any) -> None:
    entries = all_actions(desk, qtbot)
    own = set(desk.actions_by_name.values())
    assert own <= entries
    keyed = [action for action in entries if action in own]
    keys = [action.shortcut().toString(QKeySequence.SequenceFormat.PortableText) for action in keyed]
    assert all(keys)
    assert len(set(keys)) == len(keys)
    # entries that are made while the desk runs, as files opened before are, take the letter that is underlined
    assert [a.text() for a in entries - own if "&" not in a.text() and a.isEnabled()] == []


def test_no_keys_begin_like_the_keys_of_another_action(desk: DeskWindow) -> None:
    """Qt answers neither of two shortcuts of which one begins like the other (its documentation of QShortcut)."""
    sequences = [action.shortcut() for action in desk.actions_by_name.values()]
    for one in sequences:
        for other in sequences:
            if one is not other:
                assert one.matches(other) is QKeySequence.SequenceMatch.NoMatch, (one.toString(), other.toString())


def test_no_two_menus_open_by_the_same_letter(desk: DeskWindow) -> None:
    titles = [action.text() for action in desk.menuBar().actions()]
    letters = [title[title.index("&") + 1].lower() for title in titles if "&" in title]
    assert len(letters) == len(titles)
    assert len(set(letters)) == len(letters)
    taken = {f"Alt+{letter}".lower() for letter in letters}
    assert taken.isdisjoint({a.shortcut().toString().lower() for a in desk.actions_by_name.values()})


def test_help_lists_the_keys_beside_what_they_do(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "F1")
    page = next(w for w in shown_pages(desk) if w.findChild(QTableWidget) is not None)
    table = page.findChild(QTableWidget)
    listed = {(table.item(row, 0).text(), table.item(row, 1).text()) for row in range(table.rowCount())}
    wanted = {(a.shortcut().toString(), a.statusTip()) for a in desk.actions_by_name.values()}
    assert wanted - listed == set()


def test_help_marks_the_row_that_the_keyboard_is_in_and_draws_no_cell_like_a_button(
    desk: DeskWindow, qtbot: Any
) -> None:
    press(desk, qtbot, "F1")
    table = next(w for w in shown_pages(desk) if w.findChild(QTableWidget) is not None).findChild(QTableWidget)
    table.setFocus()
    qtbot.keyClick(table, Qt.Key.Key_Down)
    image = table.viewport().grab().toImage()

    def paper(row: int, column: int) -> set[str]:
        """The colours down the right edge of a cell, where no letter is; the grid's lines are left out."""
        cell = table.visualItemRect(table.item(row, column))
        return {image.pixelColor(cell.right() - 3, y).name() for y in range(cell.top() + 1, cell.bottom())}

    assert len(paper(1, 0)) == 1  # neither a frame nor a gradient
    assert paper(1, 0) == paper(1, 1)
    assert paper(1, 0) != paper(2, 0)


def test_records_are_sorted_from_the_keyboard(desk: DeskWindow, qtbot: Any) -> None:
    table = next(t for t in desk.findChildren(QTableView) if t.accessibleName() == "Records")
    header = table.horizontalHeader()
    table.setFocus()
    before = [table.model().index(row, 0).data() for row in range(table.model().rowCount())]
    qtbot.keyClick(table, Qt.Key.Key_O, Qt.KeyboardModifier.ShiftModifier)
    assert [table.model().index(row, 0).data() for row in range(table.model().rowCount())] == before[::-1]
    qtbot.keyClick(table, Qt.Key.Key_O)
    assert header.sortIndicatorSection() == 1
    assert header.sortIndicatorOrder() is Qt.SortOrder.AscendingOrder


def test_tab_leaves_the_number_of_intervals(desk: DeskWindow, qtbot: Any) -> None:
    desk.middle.view.hand.add_at_pointer()
    box = next(b for b in desk.findChildren(QSpinBox) if b.accessibleName().startswith("Intervals of"))
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Tab)
    assert QApplication.focusWidget() is desk.docks["markers_panel"].widget().add_button
    assert box.isVisible()
