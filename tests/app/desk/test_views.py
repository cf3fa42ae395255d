"""The four views, by clicks, drags, the wheel and keys; what is asserted is what is shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QImage, QWheelEvent
from PySide6.QtWidgets import QApplication, QComboBox, QLabel

from pulsewright_analysis.results import MissedTrigger
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK, LIGHT

Settle = Callable[[DeskWindow], None]
VIEWS = ("single", "stacked", "afterglow", "map")
LEFT = Qt.MouseButton.LeftButton


def canvas_of(desk: DeskWindow) -> Canvas:
    return desk.middle.view.canvas


def at(desk: DeskWindow, time: float, height: float | None = None) -> QPoint:
    """The pixel of a time, and of a height or the plot's middle."""
    canvas = canvas_of(desk)
    y = canvas.plot_rect().center().y() if height is None else canvas.y_of(height)
    return QPoint(round(canvas.x_of(time)), round(y))


def picture(desk: DeskWindow) -> QImage:
    return canvas_of(desk).viewport().grab().toImage()


def pixels(image: QImage, colour: str) -> set[tuple[int, int]]:
    """The pixels of exactly this colour."""
    wanted = QColor(colour).rgb()
    return {(x, y) for x in range(image.width()) for y in range(image.height()) if image.pixel(x, y) == wanted}


def inked(desk: DeskWindow, colour: str) -> set[tuple[int, int]]:
    """The pixels of the plot that lie on the way from the page to this colour: lines are drawn smoothly."""
    plot, image = canvas_of(desk).plot_rect().toAlignedRect(), picture(desk)
    page, wanted = (np.array(QColor(c).getRgb()[:3], dtype=float) for c in (LIGHT.plot, colour))
    way = wanted - page

    def alike(found: QColor) -> bool:
        away = np.array(found.getRgb()[:3]) - page
        share = away @ way / (way @ way)
        return share > 0.35 and np.abs(away - share * way).max() < 12

    columns, rows = range(plot.left() + 1, plot.right()), range(plot.top() + 1, plot.bottom())
    return {(x, y) for x in columns for y in rows if alike(image.pixelColor(x, y))}


def labelled(desk: DeskWindow, name: str) -> str:
    """The text of the label that a screen reader calls `name`."""
    return next(label.text() for label in desk.findChildren(QLabel) if label.accessibleName() == name)


def turn(desk: DeskWindow, where: QPoint, notches: int, shift: bool = False) -> None:
    canvas = canvas_of(desk)
    held = Qt.KeyboardModifier.ShiftModifier if shift else Qt.KeyboardModifier.NoModifier
    event = QWheelEvent(
        QPointF(where), QPointF(canvas.viewport().mapToGlobal(where)), QPoint(), QPoint(0, 120 * notches),
        Qt.MouseButton.NoButton, held, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(canvas.viewport(), event)


def point(qtbot: Any, desk: DeskWindow, where: QPoint) -> None:
    """Move the mouse there; by way of another spot, because a mouse that is there already does not move."""
    for spot in (where + QPoint(6, 6), where):
        qtbot.mouseMove(canvas_of(desk).viewport(), spot)


def drag(qtbot: Any, desk: DeskWindow, start: QPoint, end: QPoint) -> None:
    viewport = canvas_of(desk).viewport()
    qtbot.mousePress(viewport, LEFT, pos=start)
    for share in (0.3, 0.7, 1.0):
        qtbot.mouseMove(viewport, start + (end - start) * share)
    qtbot.mouseRelease(viewport, LEFT, pos=end)


def pulse_of(desk: DeskWindow, record: int, channel: int) -> tuple[float, float]:
    findings = desk.results.findings
    assert findings is not None
    found = findings.pulses.where(record, channel)[0]
    return float(findings.pulses.time[found]), float(findings.pulses.time_u[found])


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
    assert len(pixels(image, theme.plot)) > 0.2 * image.width() * image.height()


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


# -- markers ----------------------------------------------------------------------------------------------------


def test_a_double_click_puts_a_pair_down(desk: DeskWindow, qtbot: Any) -> None:
    where = at(desk, 100e-6)
    time = canvas_of(desk).time_at(where.x())
    qtbot.mouseDClick(canvas_of(desk).viewport(), LEFT, pos=where)
    pair = desk.document.pairs[0]
    assert pair.t1 == pytest.approx(time)
    columns = {x for x, _ in pixels(picture(desk), LIGHT.marker)}
    assert {round(canvas_of(desk).x_of(t)) for t in (pair.t1, pair.t2)} <= columns


def test_a_marker_put_down_by_hand_is_as_uncertain_as_a_pixel(desk: DeskWindow, qtbot: Any) -> None:
    """u = max(one pixel's time, one sample)/√12 (JCGM 100:2008, 4.3.7)."""
    qtbot.mouseDClick(canvas_of(desk).viewport(), LEFT, pos=at(desk, 100e-6))
    pixel = 200e-6 / canvas_of(desk).plot_rect().width()
    assert desk.document.pairs[0].u1 == pytest.approx(max(pixel, 1e-7) / np.sqrt(12.0))


@pytest.mark.parametrize("view", ["single", "stacked", "afterglow"])
def test_a_marker_is_dragged_and_undone_in_one_step(desk: DeskWindow, qtbot: Any, settle: Settle, view: str) -> None:
    desk.viewing.set_view(view)  # type: ignore[arg-type]
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    settle(desk)
    end = at(desk, 150e-6)
    wanted = canvas_of(desk).time_at(end.x())
    drag(qtbot, desk, at(desk, 120e-6), end)
    assert desk.document.pairs[0].t2 == pytest.approx(wanted)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert desk.document.pairs[0].t2 == 120e-6


def test_a_marker_dropped_near_a_pulse_takes_its_time_and_its_u(desk: DeskWindow, qtbot: Any) -> None:
    time, u = pulse_of(desk, 0, 2)
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    drag(qtbot, desk, at(desk, 100e-6, 0.3), at(desk, time, 0.0) + QPoint(4, 0))
    pair = desk.document.pairs[0]
    assert (pair.t1, pair.u1, pair.channel) == (time, u, 2)


def test_a_marker_dropped_farther_away_stays_there(desk: DeskWindow, qtbot: Any) -> None:
    time, _ = pulse_of(desk, 0, 2)
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    end = at(desk, time, 0.0) + QPoint(9, 0)
    drag(qtbot, desk, at(desk, 100e-6, 0.3), end)
    assert desk.document.pairs[0].t1 == pytest.approx(canvas_of(desk).time_at(end.x()))


def test_a_marker_goes_to_the_nearest_sample_if_told_so(desk: DeskWindow, qtbot: Any) -> None:
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    qtbot.mouseDClick(canvas_of(desk).viewport(), LEFT, pos=at(desk, 100.04e-6))
    pair = desk.document.pairs[0]
    assert pair.t1 * 10e6 == pytest.approx(round(pair.t1 * 10e6), abs=1e-6)
    assert pair.u1 == pytest.approx(1e-7 / np.sqrt(12.0))


def test_arrows_nudge_the_selected_marker_by_one_sample(desk: DeskWindow, qtbot: Any) -> None:
    pair = desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    desk.viewing.select_marker(pair.id, 2)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_Right)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_Right)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_Left)
    assert desk.document.pairs[0].t2 == pytest.approx(120e-6 + 1e-7)
    assert desk.document.pairs[0].t1 == 100e-6
    assert desk.viewing.record == 0


def test_m_puts_a_pair_down_at_the_pointer(desk: DeskWindow, qtbot: Any) -> None:
    where = at(desk, 130e-6)
    point(qtbot, desk, where)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_M)
    assert desk.document.pairs[0].t1 == pytest.approx(canvas_of(desk).time_at(where.x()))


def test_stepping_holds_markers_and_zoom_still(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.zoom_time((80e-6, 140e-6))
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    settle(desk)
    before = {x for x, _ in pixels(picture(desk), LIGHT.marker)}
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_PageDown)
    settle(desk)
    lines = {round(canvas_of(desk).x_of(t)) for t in (100e-6, 120e-6)}
    assert lines <= before & {x for x, _ in pixels(picture(desk), LIGHT.marker)}


# -- Stacked, Afterglow, Map --------------------------------------------------------------------------------------


def test_stacked_shows_neighbours_and_a_click_goes_there(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_neighbours(5)
    desk.viewing.go_to(6)
    desk.viewing.set_view("stacked")
    settle(desk)
    assert "records 4 … 8, record 6 strong" in labelled(desk, "What the Stacked view shows")
    qtbot.mouseClick(canvas_of(desk).viewport(), LEFT, pos=at(desk, 10e-6, 4.0))
    assert desk.viewing.record == 8


def test_afterglow_counts_every_record_and_lists_who_passes(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_view("afterglow")
    settle(desk)
    assert "all 12 records" in labelled(desk, "What the Afterglow view shows")
    # records 0 and 8 alone have a positive pulse at 40 µs, of 0.9 V
    spot = at(desk, 40e-6, 0.895)
    qtbot.mouseClick(canvas_of(desk).viewport(), LEFT, pos=spot)
    settle(desk)
    assert labelled(desk, "Answer to the last click") == "2 passing records: 0, 8"


def test_afterglow_is_denser_where_more_records_pass(desk: DeskWindow, settle: Settle) -> None:
    desk.viewing.set_view("afterglow")
    settle(desk)
    image, ink = picture(desk), QColor(LIGHT.one_ink).lightness()
    base, pulse = at(desk, 150e-6, 0.0), at(desk, 40e-6, 0.895)

    def darkest(where: QPoint) -> int:
        around = [(where.x() + dx, where.y() + dy) for dx in range(-2, 3) for dy in range(-2, 3)]
        return min(image.pixelColor(*spot).lightness() for spot in around)

    assert ink - 2 <= darkest(base) < darkest(pulse) < QColor(LIGHT.plot).lightness()


def test_two_inks_show_the_polarity(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_view("afterglow")
    settle(desk)
    inks = desk.middle.view.findChild(QComboBox)
    inks.setFocus()
    qtbot.keyClick(inks, Qt.Key.Key_Down)
    inks.activated.emit(inks.currentIndex())
    settle(desk)
    image = picture(desk)

    def redness(height: float) -> int:
        top = at(desk, 40e-6 if height > 0 else 43e-6, height)
        around = [image.pixelColor(top.x() + dx, top.y() + dy) for dx in range(-2, 3) for dy in range(-2, 3)]
        inked = min(around, key=lambda colour: colour.lightness())
        return inked.red() - inked.blue()

    assert redness(0.8) > 20
    assert redness(-0.8) < -20


def test_map_has_a_row_for_every_record_and_a_click_goes_there(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_view("map")
    settle(desk)
    qtbot.mouseClick(canvas_of(desk).viewport(), LEFT, pos=at(desk, 100e-6, -9.5))
    assert desk.viewing.record == 9
    settle(desk)
    assert "record 9 of 12 outlined" in labelled(desk, "What the Map view shows")


def test_map_leaves_rows_open_for_missed_triggers(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_view("map")
    settle(desk)
    assert not pixels(picture(desk), LIGHT.missed)
    findings = desk.results.findings
    assert findings is not None
    missed = (MissedTrigger(3, 1, ("time",)), MissedTrigger(7, 40, ("time",)))
    changed = replace(findings, sequence=replace(findings.sequence, missed=missed))
    desk.results.finish(desk.results.generation, changed)
    settle(desk)
    rows = {y for _, y in pixels(picture(desk), LIGHT.missed)}
    canvas = canvas_of(desk)
    # places 0 to 3, one open, 4 to 7, a band of three for the forty, 8 to 11
    assert min(rows) == pytest.approx(canvas.y_of(-4.0), abs=2)
    assert max(rows) == pytest.approx(canvas.y_of(-12.0), abs=2)
    assert not [y for y in rows if canvas.y_of(-5.2) < y < canvas.y_of(-8.8)]
    point(qtbot, desk, at(desk, 50e-6, -10.5))
    assert "40 missed triggers after record 7" in labelled(desk, "Under the pointer")


def test_map_colours_the_sign(desk: DeskWindow, settle: Settle) -> None:
    desk.viewing.set_view("map")
    desk.viewing.go_to(11)
    settle(desk)
    image = picture(desk)

    def redness(record: int, time: float) -> int:
        # a little beside the dot of the found pulse, where the pulse still has most of its height
        where = at(desk, time - 0.9e-6, -record - 0.25)
        colour = image.pixelColor(where)
        return colour.red() - colour.blue()

    assert redness(0, 40e-6) > 20
    assert redness(1, 43e-6) < -20
    assert abs(redness(1, 100e-6)) < 20
