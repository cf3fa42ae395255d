"""Single, and what all views share, by clicks, drags, the wheel and keys; what is asserted is what is shown."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QMouseEvent
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox

from pulsewright.session import Session
from pulsewright_app.desk.additions import Additions
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK, LIGHT

from .gestures import (
    LEFT,
    VIEWS,
    Settle,
    at,
    canvas_of,
    colours_of,
    drag,
    inked,
    labelled,
    picture,
    pixels,
    point,
    press,
    pulse_of,
    turn,
)

# -- Single -----------------------------------------------------------------------------------------------------


def test_each_channel_is_drawn_in_its_lane(desk: DeskWindow) -> None:
    canvas = canvas_of(desk)
    for channel in (1, 2):  # the lane of the current one, H01, is tinted
        rows = [y for _, y in inked(desk, LIGHT.channel(channel))]
        lane = (canvas.y_of(2 - channel + 0.5), canvas.y_of(2 - channel - 0.5))
        assert len(rows) > 300
        assert lane[0] <= min(rows) < max(rows) <= lane[1]


def test_a_pulse_is_drawn_where_it_is(desk: DeskWindow) -> None:
    """The trace of record 0 on H03 is highest at the pulse's time."""
    time, _ = pulse_of(desk, 0, 2)
    canvas = canvas_of(desk)
    highest = min((y, x) for x, y in inked(desk, LIGHT.channel(2)))
    assert abs(highest[1] - canvas.x_of(time)) <= 2


def test_the_pretrigger_part_is_shaded(desk: DeskWindow) -> None:
    canvas, image = canvas_of(desk), picture(desk)
    shaded = {x for x, _ in pixels(image, LIGHT.before_trigger)}
    assert max(shaded) == pytest.approx(canvas.x_of(0.0), abs=2)
    assert min(shaded) == pytest.approx(canvas.plot_rect().left(), abs=2)


def test_axes_write_their_unit_as_the_sheet_does(desk: DeskWindow, settle: Settle) -> None:
    """Quantity over unit, as ISO 80000-1 has it for the axes of graphs."""
    desk.viewing.set_view("afterglow")
    settle(desk)
    canvas = canvas_of(desk)
    assert canvas.time_axis.label.toPlainText().strip() == "Time from the trigger / µs"
    assert canvas.value_axis.label.toPlainText().strip() in ("Value / mV", "Value / V")
    desk.viewing.set_view("map")
    settle(desk)
    assert canvas_of(desk).value_axis.label.toPlainText().strip() == "Record"


def test_clipped_samples_are_marked(desk: DeskWindow, settle: Settle) -> None:
    assert not pixels(picture(desk), LIGHT.clipped)
    desk.viewing.go_to(7)
    settle(desk)
    clipped = (900 - 200) / 10e6
    columns = {x for x, _ in pixels(picture(desk), LIGHT.clipped)}
    assert min(columns) == pytest.approx(canvas_of(desk).x_of(clipped), abs=3)


def test_samples_become_dots_when_they_lie_apart(desk: DeskWindow, settle: Settle) -> None:
    desk.viewing.zoom_time((20e-6, 23e-6))
    settle(desk)
    image, canvas = picture(desk), canvas_of(desk)
    full = pixels(image, LIGHT.channel(0))
    on_a_sample, between = round(canvas.x_of(21e-6)), round(canvas.x_of(21.05e-6))
    assert any(x == on_a_sample for x, _ in full)
    assert not any(x == between for x, _ in full), "the line between samples must be paler than they are"


def test_a_click_in_a_lane_makes_its_channel_the_current_one(desk: DeskWindow, qtbot: Any) -> None:
    qtbot.mouseClick(canvas_of(desk).viewport(), LEFT, pos=at(desk, 10e-6, 0.0))
    assert desk.viewing.channel == 2


def test_an_empty_plot_says_what_fills_it(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.show_these(range(3), False)
    settle(desk)
    said = labelled(desk, "What the Single view shows")
    assert said.endswith("every channel is hidden: Alt+Shift+C shows all")
    press(desk, qtbot, re.findall(r"hidden: (\S+)", said)[0])
    settle(desk)
    assert desk.viewing.visible_channels == (0, 1, 2)
    assert "hidden" not in labelled(desk, "What the Single view shows")


def test_all_channels_can_share_one_axis(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_L)
    settle(desk)
    point(qtbot, desk, at(desk, 10e-6, 0.5))
    shown = labelled(desk, "Under the pointer").split("value = ")[1]
    assert shown.split()[1] == "mV"
    assert float(shown.split()[0]) == pytest.approx(500, abs=5)  # a pixel is less than 5 mV


# -- all views --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("view", VIEWS)
def test_time_and_value_under_the_pointer_are_shown(desk: DeskWindow, qtbot: Any, settle: Settle, view: str) -> None:
    qtbot.keyClick(canvas_of(desk), Qt.Key(Qt.Key.Key_1 + VIEWS.index(view)), Qt.KeyboardModifier.AltModifier)
    settle(desk)
    where = at(desk, 60e-6)
    point(qtbot, desk, where)
    shown = labelled(desk, "Under the pointer")
    time = canvas_of(desk).time_at(where.x())
    assert shown.startswith(f"t = {time * 1e6:.6g} µs")
    assert "V" in shown
    plot = canvas_of(desk).plot_rect()
    for share in (0.02, 0.27, 0.49, 0.51, 0.74, 0.98):  # wherever the pointer is
        point(qtbot, desk, QPoint(where.x(), round(plot.top() + share * plot.height())))
        assert re.match(r"t = \S+ µs .*\d (mV|µV|V)\b", labelled(desk, "Under the pointer"))


@pytest.mark.parametrize("view", VIEWS)
def test_the_value_under_a_resting_pointer_is_that_of_the_record_shown(
    desk: DeskWindow, qtbot: Any, settle: Settle, view: str
) -> None:
    """Whoever steps by the keys does not move the mouse: what is read must still be what is seen."""
    press(desk, qtbot, f"Alt+{1 + VIEWS.index(view)}")
    settle(desk)
    where = at(desk, 60e-6)
    point(qtbot, desk, where)
    for keys in ("PgDown", "Ctrl+Down", "End", "W"):
        press(desk, qtbot, keys)
        settle(desk)
        resting = labelled(desk, "Under the pointer")
        point(qtbot, desk, where)  # the mouse comes once more to where it rests
        assert resting == labelled(desk, "Under the pointer"), keys


def test_the_value_under_the_pointer_is_that_of_the_view_that_came_up(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    point(qtbot, desk, at(desk, 60e-6))
    spot = canvas_of(desk).viewport().mapToGlobal(at(desk, 60e-6))
    for keys in ("Alt+4", "Alt+3", "Alt+2", "Alt+1"):
        before = labelled(desk, "Under the pointer")
        press(desk, qtbot, keys)
        settle(desk)
        resting = labelled(desk, "Under the pointer")
        assert resting.startswith("t = ") and resting != before, keys
        point(qtbot, desk, canvas_of(desk).viewport().mapFromGlobal(spot))
        assert resting == labelled(desk, "Under the pointer"), keys


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("view", VIEWS)
def test_every_view_follows_the_theme(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Any], settle: Settle, view: str, dark: bool
) -> None:
    desk = make_window(walking_session())
    desk.viewing.set_view(view)  # type: ignore[arg-type]
    desk.viewing.set_dark(dark)
    settle(desk)
    theme = DARK if dark else LIGHT
    image = picture(desk)
    assert np.all(colours_of(image) == QColor(theme.plot).getRgb()[:3], axis=2).mean() > 0.2


def test_the_wheel_zooms_about_the_pointer(desk: DeskWindow, settle: Settle) -> None:
    where = at(desk, 60e-6)
    held = canvas_of(desk).time_at(where.x())
    before = canvas_of(desk).windows()[0]
    turn(desk, where, 3)
    settle(desk)
    after = canvas_of(desk).windows()[0]
    assert after[1] - after[0] == pytest.approx(0.8**3 * (before[1] - before[0]))
    assert canvas_of(desk).time_at(where.x()) == pytest.approx(held)


def test_a_drag_zooms_to_that_stretch_in_three_views(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    start, end = at(desk, 30e-6), at(desk, 70e-6)
    wanted = [canvas_of(desk).time_at(p.x()) for p in (start, end)]
    drag(qtbot, desk, start, end)
    for view in ("single", "stacked", "afterglow"):
        desk.viewing.set_view(view)  # type: ignore[arg-type]
        settle(desk)
        assert canvas_of(desk).windows()[0] == pytest.approx(wanted)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_Backspace)
    settle(desk)
    assert canvas_of(desk).windows()[0] == pytest.approx((-20e-6, 180e-6))


def test_a_box_zooms_the_values_too_where_there_is_one_axis(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_lanes(False)
    settle(desk)
    start, end = at(desk, 30e-6, 1.0), at(desk, 70e-6, 0.2)
    wanted = [canvas_of(desk).height_at(p.y()) for p in (end, start)]
    drag(qtbot, desk, start, end)
    settle(desk)
    assert canvas_of(desk).windows()[1] == pytest.approx(wanted)


def test_a_box_over_lanes_zooms_time_alone(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    drag(qtbot, desk, at(desk, 30e-6, 1.9), at(desk, 70e-6, 0.6))
    settle(desk)
    assert desk.viewing.value_window is None
    assert canvas_of(desk).windows()[0] != pytest.approx((-20e-6, 180e-6))


def test_shift_and_the_wheel_zoom_the_values(desk: DeskWindow, settle: Settle) -> None:
    desk.viewing.set_lanes(False)
    settle(desk)
    (_, before), where = canvas_of(desk).windows(), at(desk, 60e-6, 0.2)
    turn(desk, where, 2, shift=True)
    settle(desk)
    _, after = canvas_of(desk).windows()
    assert after[1] - after[0] == pytest.approx(0.64 * (before[1] - before[0]))


def test_zoom_ends_at_the_record(desk: DeskWindow, settle: Settle) -> None:
    turn(desk, at(desk, 60e-6), -5)
    settle(desk)
    assert canvas_of(desk).windows()[0] == pytest.approx((-20e-6, 180e-6))


def test_a_marker_that_is_dragged_is_let_go_as_another_session_comes(
    desk: DeskWindow, qtbot: Any, settle: Any, walking_session: Callable[..., Session]
) -> None:
    """Pairs of both sessions have the number 1: the drag must not go on with the other session's."""
    pair = desk.document.add_pair(50e-6, 120e-6, 1e-9, 1e-9, 0, 0)
    settle(desk)
    viewport, start = canvas_of(desk).viewport(), at(desk, 50e-6)
    qtbot.mousePress(viewport, LEFT, pos=start)
    for by in (5, 20):
        qtbot.mouseMove(viewport, start + QPoint(by, 0))
    assert desk.document.pairs[0].t1 > 50e-6
    desk.document.open(walking_session(), additions=Additions(pairs=(pair,)))
    settle(desk)
    qtbot.mouseMove(viewport, start + QPoint(60, 0))
    qtbot.mouseRelease(viewport, LEFT, pos=start + QPoint(80, 0))
    assert desk.document.pairs == (pair,)
    assert not desk.document.undo_label


def test_a_second_button_takes_nothing_from_a_drag(desk: DeskWindow, qtbot: Any, settle: Any) -> None:
    pair = desk.document.add_pair(50e-6, 120e-6, 1e-9, 1e-9, 0, 0)
    desk.viewing.set_snap("samples")
    settle(desk)
    viewport, start = canvas_of(desk).viewport(), at(desk, 50e-6)
    end = start + QPoint(40, 0)
    qtbot.mousePress(viewport, LEFT, pos=start)
    for by in (5, 40):
        qtbot.mouseMove(viewport, start + QPoint(by, 0))
    both = LEFT | Qt.MouseButton.RightButton
    for kind, held in ((QEvent.Type.MouseButtonPress, both), (QEvent.Type.MouseButtonRelease, LEFT)):
        where = QPointF(end)
        right = Qt.MouseButton.RightButton
        none = Qt.KeyboardModifier.NoModifier
        QApplication.sendEvent(
            viewport, QMouseEvent(kind, where, QPointF(viewport.mapToGlobal(end)), right, held, none)
        )
    qtbot.mouseRelease(viewport, LEFT, pos=end)
    session = desk.document.session
    assert session is not None
    assert desk.document.pairs[0].u1 == pytest.approx(session.sample_interval / 12**0.5), "it was not dropped"
    assert desk.document.pairs[0].id == pair.id
    assert desk.viewing.time_window is None, "the right button pushed the window along"


@pytest.mark.parametrize("keys", ["Alt+1", "Alt+2", "Alt+3", "Alt+4"])
def test_a_click_on_a_control_of_a_view_leaves_the_keyboard_to_the_view(
    desk: DeskWindow, qtbot: Any, settle: Any, keys: str
) -> None:
    """Space then plays, and does not press what was clicked last."""
    desk.viewing.reference.take_current()
    desk.viewing.glow.set_of("stepped")
    press(desk, qtbot, keys)
    settle(desk)
    canvas_of(desk).setFocus()
    controls = [c for c in desk.middle.view.findChildren(QAbstractButton) if c.isVisible() and c.text()]
    boxes = [c for c in desk.middle.view.findChildren(QComboBox) if c.isVisible()]
    assert bool(controls) == (keys in ("Alt+1", "Alt+3"))
    for control in controls:
        qtbot.mouseClick(control, LEFT, pos=QPoint(8, control.height() // 2))
        assert not control.hasFocus(), control.text()
    for box in boxes:  # a click would open its list
        assert not box.focusPolicy() & Qt.FocusPolicy.ClickFocus, box.accessibleName()
    qtbot.keyClick(desk.focusWidget(), Qt.Key.Key_Space)
    assert desk.viewing.playing
