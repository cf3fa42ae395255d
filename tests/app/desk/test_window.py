"""The whole desk: opening, the first screen, the message bar, measuring, undo, keys, and what a screen reader hears."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QMimeData, QPoint, Qt, QUrl
from PySide6.QtGui import QColor, QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QFileDialog,
    QHeaderView,
    QLabel,
    QLineEdit,
    QMenu,
    QProgressBar,
    QSlider,
    QTableView,
    QWidget,
)

from pulsewright.session import Channel, Session
from pulsewright_app.desk.actions import ACTIONS, ShortcutsPage
from pulsewright_app.desk.rail import Rail
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK, LIGHT

from .gestures import LEFT, Settle, all_findings, button, message, press

# -- opening ------------------------------------------------------------------------------------------------------


def test_the_first_screen_opens_the_sample(make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle) -> None:
    desk = make_window()
    qtbot.mouseClick(button(desk, "Try the sample with faults"), LEFT)
    settle(desk)
    assert desk.windowTitle() == "tank_faults.h5 — Pulsewright"
    shown = desk.middle.view.caption.text()
    assert shown.startswith("Record 0 of 0 … 35")


def test_the_findings_of_the_sample_are_shown(make_window: Callable[..., DeskWindow], qtbot: Any, faults: Path) -> None:
    desk = make_window(faults)
    text = all_findings(desk, qtbot)
    assert "2 triggers missing" in text
    assert "H10 (M3) has the opposite sign" in text


def test_the_claims_file_settings_are_used(make_window: Callable[..., DeskWindow], faults: Path) -> None:
    desk = make_window(faults)
    findings = desk.results.findings
    assert findings is not None
    assert (findings.settings.span, findings.settings.origin("span")) == ((190e-6, 330e-6), "claims")


def test_a_session_is_chosen_in_the_systems_dialog(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = [str(faults), "", str(faults)]
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_, **__: (answers.pop(), ""))
    desk = make_window()
    qtbot.mouseClick(button(desk, "Open a session …"), LEFT)
    settle(desk)
    assert desk.windowTitle() == "tank_faults.h5 — Pulsewright"
    press(desk, qtbot, "Ctrl+O")  # and thought better of it
    settle(desk)
    assert desk.windowTitle() == "tank_faults.h5 — Pulsewright"
    press(desk, qtbot, "Ctrl+W")
    press(desk, qtbot, "Ctrl+O")
    settle(desk)
    assert desk.windowTitle() == "tank_faults.h5 — Pulsewright"


def test_every_menu_is_opened_and_used_from_the_keyboard(desk: DeskWindow, qtbot: Any) -> None:
    for letter, title in (("S", "Session"), ("K", "Markers"), ("H", "Hand over"), ("O", "Go")):
        qtbot.keyClick(desk.focusWidget(), getattr(Qt.Key, f"Key_{letter}"), Qt.KeyboardModifier.AltModifier)
        menu = QApplication.activePopupWidget()
        assert isinstance(menu, QMenu) and menu.title().replace("&", "") == title
        if title != "Go":
            qtbot.keyClick(menu, Qt.Key.Key_Escape)
            desk.activateWindow()  # the platform of the tests does not, once a menu is gone
            desk.middle.view.canvas.setFocus()
    while menu.activeAction() is None or menu.activeAction().text() != "Last":
        qtbot.keyClick(menu, Qt.Key.Key_Down)
    qtbot.keyClick(menu, Qt.Key.Key_Return)
    assert desk.viewing.record == 11


@pytest.mark.parametrize("content", [None, b"", b"not HDF5 at all"])
def test_a_file_that_cannot_be_opened_is_told_in_the_bar(
    make_window: Callable[..., DeskWindow], qtbot: Any, tmp_path: Path, content: bytes | None
) -> None:
    path = tmp_path / "broken.h5"
    if content is not None:
        path.write_bytes(content)
    desk = make_window(path)
    assert message(desk).startswith("broken.h5: ")
    assert button(desk, "Open a session …").isVisible()
    qtbot.mouseClick(button(desk, "Dismiss"), LEFT)
    assert message(desk) == ""


def test_a_claims_file_with_a_typo_is_told_in_the_bar(make_window: Callable[..., DeskWindow], faults: Path) -> None:
    faults.with_suffix(".claims.toml").write_text('[settings]\nspam = "1 us .. 2 us"\n')
    desk = make_window(faults)
    assert "tank_faults.claims.toml, line 2" in message(desk)
    assert "span" in message(desk)


def test_a_failed_opening_leaves_the_session_on_the_desk(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path, tmp_path: Path
) -> None:
    desk = make_window(faults)
    desk.open_path(tmp_path / "missing.h5")
    settle(desk)
    assert message(desk)
    assert desk.windowTitle() == "tank_faults.h5 — Pulsewright"


def test_a_file_that_becomes_shorter_is_told_and_the_desk_goes_on(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path
) -> None:
    desk = make_window(faults)
    with faults.open("r+b") as stream:
        stream.truncate(faults.stat().st_size // 2)
    desk.viewing.last()
    settle(desk)
    assert "record" in message(desk)
    assert "shorter" in message(desk)
    desk.viewing.first()
    settle(desk)
    assert desk.middle.view.caption.text().startswith("Record 0 ")


def test_a_compressed_file_is_read_in_the_background(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path
) -> None:
    import h5py

    with h5py.File(faults, "r+") as file:
        samples = file["samples"][:]
        del file["samples"]
        file.create_dataset("samples", data=samples, chunks=(1, *samples.shape[1:]), compression="gzip")
    desk = make_window(faults)
    for record in (3, 20):
        desk.viewing.go_to(record)
        settle(desk)
        assert desk.middle.view.caption.text().startswith(f"Record {record} ")
        assert "being read" not in desk.middle.view.caption.text()
    assert message(desk) == ""


@pytest.mark.parametrize("kind", ["int16", "uint8", "float32"])
@pytest.mark.parametrize("shape", [(1, 1, 1), (1, 1, 400), (2, 3, 5)])
def test_odd_sessions_are_shown_in_every_view(
    make_window: Callable[..., DeskWindow], settle: Settle, kind: str, shape: tuple[int, int, int]
) -> None:
    channels = [Channel(f"H{c + 1:02d}", "M1", lowest_code=-1, highest_code=300) for c in range(shape[1])]
    desk = make_window(Session.from_samples(np.zeros(shape, kind), channels, 1e6))
    for name in ("Stacked", "Afterglow", "Map", "Single"):
        button(desk, name).click()
        desk.viewing.step()
        settle(desk)
    assert desk.middle.view.caption.text().startswith("Record ")


def test_a_dropped_file_opens(make_window: Callable[..., DeskWindow], settle: Settle, faults: Path) -> None:
    desk = make_window()
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(faults))])
    copy, none, held = Qt.DropAction.CopyAction, Qt.KeyboardModifier.NoModifier, Qt.MouseButton.LeftButton
    entering = QDragEnterEvent(QPoint(50, 50), copy, data, held, none)
    QApplication.sendEvent(desk, entering)
    assert entering.isAccepted()
    QApplication.sendEvent(desk, QDropEvent(QPoint(50, 50), copy, data, held, none))
    settle(desk)
    assert desk.windowTitle() == "tank_faults.h5 — Pulsewright"


def test_dropped_text_is_refused(make_window: Callable[..., DeskWindow]) -> None:
    data = QMimeData()
    data.setText("tank_faults.h5")
    event = QDragEnterEvent(
        QPoint(50, 50), Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    )
    event.ignore()
    QApplication.sendEvent(make_window(), event)
    assert not event.isAccepted()


def test_closing_the_session_goes_back_to_the_first_screen(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "Ctrl+W")
    assert button(desk, "Open a session …").isVisible()
    assert not any(dock.isVisible() for dock in desk.docks.values())


def test_a_recording_is_never_changed(make_window: Callable[..., DeskWindow], qtbot: Any, faults: Path) -> None:
    before = {path: path.read_bytes() for path in faults.parent.iterdir()}
    desk = make_window(faults)
    press(desk, qtbot, "F")
    press(desk, qtbot, "M")
    desk.close()
    assert {path: path.read_bytes() for path in before} == before


# -- measuring ----------------------------------------------------------------------------------------------------


def test_a_changed_setting_is_measured_by(desk: DeskWindow, settle: Settle, qtbot: Any) -> None:
    desk.document.leave_out(3, "bubble in front of H02")
    assert "Out of date" in all_findings(desk, qtbot)
    qtbot.waitUntil(lambda: not desk.results.out_of_date, timeout=60_000)
    text = all_findings(desk, qtbot)
    assert "Out of date" not in text
    assert "Records left out: 1, namely 3" in text


def test_a_setting_that_cannot_be_measured_by_is_told(desk: DeskWindow, settle: Settle, qtbot: Any) -> None:
    desk.document.set_setting("channel", "H99")
    qtbot.waitUntil(lambda: bool(message(desk)), timeout=60_000)
    assert "H99" in message(desk)


def test_measuring_can_be_stopped(desk: DeskWindow, settle: Settle, qtbot: Any) -> None:
    before = desk.results.findings
    press(desk, qtbot, "F5")
    press(desk, qtbot, "Ctrl+.")
    settle(desk)
    assert desk.results.findings is before
    assert not desk.results.busy
    assert message(desk) == ""


def test_a_second_session_drops_what_was_being_measured(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path, walking_session: Callable[..., Any]
) -> None:
    desk = make_window(faults)
    desk.results.ask_to_measure()
    desk.background.stop()
    desk.document.open(walking_session())
    settle(desk)
    findings = desk.results.findings
    assert findings is not None
    assert findings.session.records == 12


# -- keys, undo, looks --------------------------------------------------------------------------------------------


def test_undo_says_what_it_takes_back(desk: DeskWindow, qtbot: Any) -> None:
    undo = desk.actions_by_name["undo"]
    assert not undo.isEnabled()
    press(desk, qtbot, "F")
    assert undo.text() == "Undo: Flag record 0"
    press(desk, qtbot, "Ctrl+Z")
    assert not desk.document.flags
    press(desk, qtbot, "Ctrl+Shift+Z")
    assert desk.document.flags == {0}


@pytest.mark.parametrize("name", ["Single", "Stacked", "Afterglow", "Map"])
def test_the_switch_shows_the_view_and_stays_down(desk: DeskWindow, qtbot: Any, name: str) -> None:
    switch = button(desk, name)
    for _ in range(2):
        qtbot.mouseClick(switch, LEFT)
        assert switch.isChecked()
        assert desk.middle.view.canvas.accessibleName() == f"{name} view"
        assert desk.middle.view.isVisible()


def test_dark_and_light_by_a_key(desk: DeskWindow, qtbot: Any) -> None:
    def page() -> str:
        return QColor(desk.grab().toImage().pixelColor(desk.width() - 60, 8)).name()

    assert page() == LIGHT.page
    press(desk, qtbot, "Ctrl+D")
    assert page() == DARK.page
    press(desk, qtbot, "Ctrl+D")
    assert page() == LIGHT.page


def test_space_ticks_the_box_that_has_the_keyboard(desk: DeskWindow, qtbot: Any) -> None:
    loop = desk.middle.rail_row.loop
    loop.setFocus(Qt.FocusReason.TabFocusReason)
    qtbot.keyClick(loop, Qt.Key.Key_Space)
    assert desk.viewing.loop
    assert not desk.viewing.playing


def test_help_lists_every_action_with_its_keys(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "F1")
    page = desk.findChild(ShortcutsPage)
    assert page is not None
    assert page.isVisible()
    listed = {page.table.item(row, 0).text() for row in range(page.table.rowCount())}
    assert {action.shortcut().toString() for action in desk.actions_by_name.values()} <= listed
    page.close()


def test_every_action_has_keys_of_its_own_says_what_it_does_and_stands_in_a_menu(desk: DeskWindow) -> None:
    actions = desk.actions_by_name
    keys = [action.shortcut().toString() for action in actions.values()]
    assert all(keys)
    assert len(set(keys)) == len(keys) == len(ACTIONS)
    in_menus = {entry for menu in desk.menuBar().actions() for entry in menu.menu().actions()}
    for name, action in actions.items():
        assert action.text(), name
        assert action.statusTip(), name
        assert action.shortcut().toString() in action.toolTip(), name
        assert action in in_menus, name


def test_every_control_has_an_accessible_name(desk: DeskWindow) -> None:
    kinds = (
        QAbstractButton,
        QComboBox,
        QLineEdit,
        QAbstractSpinBox,
        QSlider,
        QAbstractItemView,
        QProgressBar,
        Canvas,
        Rail,
    )
    desk.middle.view.hand.add_at_pointer()  # so that the table of the markers has its controls
    controls = {control for kind in kinds for control in desk.findChildren(kind)}
    assert len(controls) > 40
    nameless = [
        control
        for control in controls
        if not (control.accessibleName() or (isinstance(control, QAbstractButton) and control.text()))
        and not control.objectName().startswith("qt_")
        and not isinstance(control.parent(), QComboBox | QLineEdit | QAbstractSpinBox)  # Qt's own parts of those
        and not isinstance(control.parent().parent(), QComboBox)  # the list that it opens
        and not (
            type(control) is QAbstractButton and isinstance(control.parent(), QAbstractItemView)
        )  # corner of a table
        and not isinstance(control, QHeaderView)  # read with the table that it belongs to
    ]
    assert [(type(c).__name__, c.objectName(), type(c.parent()).__name__) for c in nameless] == []


def test_a_panel_is_hidden_and_shown_by_its_keys(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "Alt+R")
    assert not desk.docks["records_panel"].isVisible()
    press(desk, qtbot, "Alt+R")
    assert desk.docks["records_panel"].isVisible()


def test_the_title_of_the_panels(desk: DeskWindow) -> None:
    titles = {dock.windowTitle() for dock in desk.docks.values()}
    assert titles == {"Channels", "Records", "Markers", "Findings"}
    assert all(isinstance(dock.widget(), QWidget) for dock in desk.docks.values())
    assert not any(label.text() == "None" for label in desk.findChildren(QLabel))


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (1100, 700)])
def test_the_desk_fits_smaller_screens(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path, width: int, height: int
) -> None:
    desk = make_window(faults)
    desk.resize(width, height)
    settle(desk)
    assert (desk.width(), desk.height()) == (width, height)
    row = desk.middle.rail_row
    for control in (row.number, *(button(desk, name) for name in ("First", "Back", "Play", "Forward", "Last", "Map"))):
        seen = control.mapTo(desk.middle, control.rect().bottomRight())
        assert control.isVisible()
        assert desk.middle.rect().contains(seen)
    desk.resize(1500, 920)
    settle(desk)
    assert row.loop.isVisible()
    assert button(desk, "Zoom back").isVisible()


def test_columns_of_a_long_session_are_wide_enough_for_what_they_hold(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Any]
) -> None:
    desk = make_window(walking_session(records=600))
    table = next(t for t in desk.findChildren(QTableView) if t.accessibleName() == "Records")
    model = table.model()
    for column in range(model.columnCount()):
        needed = max(
            table.fontMetrics().horizontalAdvance(str(model.index(r, column).data() or "")) for r in range(600)
        )
        assert table.columnWidth(column) >= needed
