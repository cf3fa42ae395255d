"""Level pairs on the desk: put down, dragged, dropped, nudged, kept, and made the threshold; by real events."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLineEdit

from pulsewright.session import Session
from pulsewright_analysis.level_markers import PlacedLevel
from pulsewright_app.desk.additions import LevelPair
from pulsewright_app.desk.panels.marker_table import DELTA, EACH, FIRST, INTERVALS, NAME, NOTE, PLACE, SECOND
from pulsewright_app.desk.review_file import Kept, additions_of, review_of
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, at, canvas_of, drag, inked, message, picture, pixels, point

SHIFT, CONTROL = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.ControlModifier
CODE = 1e-4


@pytest.fixture
def plot(desk: DeskWindow, settle: Settle) -> DeskWindow:
    """A desk on which the current channel has the whole plot to itself."""
    desk.viewing.show_only(0)
    desk.viewing.set_lanes(False)
    settle(desk)
    return desk


def cell(desk: DeskWindow, row: int, column: int = 0) -> str:
    return str(desk.markers_panel.table.model().index(row, column).data())


def only(desk: DeskWindow) -> LevelPair:
    (pair,) = desk.document.levels
    return pair


def spot(desk: DeskWindow, value: float, time: float = 100e-6) -> QPoint:
    """The pixel of a time, and of a value of the current channel."""
    place = desk.middle.view.level_row(desk.viewing.channel)
    assert place is not None
    return at(desk, time, place.row.height(value))


def height_at(desk: DeskWindow, where: QPoint) -> float:
    place = desk.middle.view.level_row(desk.viewing.channel)
    assert place is not None
    return place.row.value(canvas_of(desk).height_at(where.y()))


def base_and_top(desk: DeskWindow) -> tuple[float, float]:
    findings = desk.results.findings
    assert findings is not None
    base = float(findings.levels.offset[0])
    return base, base + float(findings.pulses.amplitude[findings.pulses.where(0, 0)[0]])


def long_lines(desk: DeskWindow) -> set[int]:
    """The rows of the plot across most of which a line in the markers' ink goes."""
    rows = [y for _, y in pixels(picture(desk), LIGHT.marker)]
    return {y for y in set(rows) if rows.count(y) > 0.6 * canvas_of(desk).plot_rect().width()}


def test_shift_and_a_double_click_put_a_pair_down(plot: DeskWindow, qtbot: Any) -> None:
    """u = max(one pixel's value, one code)/√12 (JCGM 100:2008, 4.3.7)."""
    where = spot(plot, 0.4)
    qtbot.mouseDClick(canvas_of(plot).viewport(), LEFT, SHIFT, where)
    pair = only(plot)
    assert plot.document.pairs == ()
    assert pair.first.value == pytest.approx(height_at(plot, where))
    (low, high) = canvas_of(plot).windows()[1]
    pixel = (high - low) / canvas_of(plot).plot_rect().height()
    assert pair.first.u == pytest.approx(max(pixel, CODE) / np.sqrt(12))
    lines = long_lines(plot)
    for level in (pair.first, pair.second):
        y = canvas_of(plot).y_of(level.value)
        assert {round(y - 0.5), round(y), round(y + 0.5)} & lines
    assert cell(plot, NAME) == "Levels 1"
    told = f"{cell(plot, FIRST)} | {cell(plot, DELTA)}"
    assert told.count("±") == 2 and told.count("mV") == 2
    assert (cell(plot, EACH), cell(plot, INTERVALS)) == ("", "")
    assert cell(plot, PLACE) == "record 0, H01: by hand"


def test_h_puts_a_pair_down_at_the_pointer_and_undo_takes_it_away(plot: DeskWindow, qtbot: Any) -> None:
    where = spot(plot, 0.3)
    point(qtbot, plot, where)
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_H)
    assert only(plot).first.value == pytest.approx(height_at(plot, where))
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_Z, CONTROL)
    assert plot.document.levels == ()
    assert plot.viewing.selected_marker is None


@pytest.mark.parametrize("view", ["single", "stacked", "afterglow"])
def test_a_level_is_dragged_in_one_step(plot: DeskWindow, qtbot: Any, settle: Settle, view: str) -> None:
    plot.viewing.set_view(view)  # type: ignore[arg-type]
    plot.viewing.set_snap("nothing")
    plot.document.add_level_pair(PlacedLevel(0.3, 1e-3), PlacedLevel(0.4, 1e-3), 0, 0)
    settle(plot)
    end = spot(plot, 0.55)
    wanted = height_at(plot, end)
    drag(qtbot, plot, spot(plot, 0.4), end)
    assert only(plot).second.value == pytest.approx(wanted)
    assert plot.viewing.selected_marker == (1, 2)
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_Z, CONTROL)
    assert only(plot).second.value == 0.4


def test_dropped_near_a_pulse_s_levels_it_goes_there_with_their_u(plot: DeskWindow, qtbot: Any) -> None:
    base, top = base_and_top(plot)
    plot.document.add_level_pair(PlacedLevel(0.25, 1e-3), PlacedLevel(0.35, 1e-3), 0, 0)
    drag(qtbot, plot, spot(plot, 0.25), spot(plot, base) + QPoint(0, 3))
    drag(qtbot, plot, spot(plot, 0.35), spot(plot, top) + QPoint(0, -3))
    pair = only(plot)
    assert (pair.first.value, pair.second.value) == (base, top)
    assert cell(plot, PLACE) == "record 0, H01: the base and the top of pulse 0"
    findings = plot.results.findings
    assert findings is not None
    u = float(findings.pulses.amplitude_u[findings.pulses.where(0, 0)[0]])
    told = float(cell(plot, DELTA).split(" ± ")[1].removesuffix(" mV")) * 1e-3
    assert told == pytest.approx(1.959964 * u, rel=0.05)  # the base cancels: U of the amplitude alone


def test_a_level_moved_in_another_record_keeps_the_other_s_own(plot: DeskWindow, qtbot: Any, settle: Settle) -> None:
    plot.document.add_level_pair(PlacedLevel(0.25, 1e-3), PlacedLevel(0.35, 1e-3), 0, 0)
    plot.viewing.go_to(2)
    settle(plot)
    drag(qtbot, plot, spot(plot, 0.35), spot(plot, 0.6))
    assert only(plot).records == (0, 2)
    assert cell(plot, PLACE) == "records 0 and 2, H01: by hand"
    assert cell(plot, FIRST) == "250.0 ± 2.0 mV"


def test_dropped_near_half_the_height_it_goes_to_50_per_cent(plot: DeskWindow, qtbot: Any) -> None:
    base, top = base_and_top(plot)
    plot.document.add_level_pair(PlacedLevel(0.2, 1e-3), PlacedLevel(0.7, 1e-3), 0, 0)
    drag(qtbot, plot, spot(plot, 0.7), spot(plot, (base + top) / 2) + QPoint(0, 2))
    assert only(plot).second.value == pytest.approx((base + top) / 2)
    assert only(plot).second.level == "50 %"


def test_levels_that_lie_close_on_the_screen_are_not_mixed_up(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """In a low lane 10 % of the pulse is a pixel or two from the base: the base counts."""
    desk.resize(desk.width(), 500)
    settle(desk)
    base, top = base_and_top(desk)
    tenth = base + 0.1 * (top - base)
    desk.document.add_level_pair(PlacedLevel(-0.5, 1e-3), PlacedLevel(-0.7, 1e-3), 0, 0)
    drag(qtbot, desk, spot(desk, -0.5), spot(desk, tenth))
    assert only(desk).first.level == "base"


def test_farther_away_it_stays_and_so_it_does_if_told_to(plot: DeskWindow, qtbot: Any) -> None:
    base, _ = base_and_top(plot)
    plot.document.add_level_pair(PlacedLevel(0.25, 1e-3), PlacedLevel(0.35, 1e-3), 0, 0)
    away = spot(plot, base) + QPoint(0, -9)
    drag(qtbot, plot, spot(plot, 0.25), away)
    assert only(plot).first.value == pytest.approx(height_at(plot, away))
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_3, CONTROL)
    near = spot(plot, base) + QPoint(0, 3)
    drag(qtbot, plot, spot(plot, 0.35), near)
    assert only(plot).second.value == pytest.approx(height_at(plot, near))
    assert only(plot).second.level == ""


def test_it_goes_to_the_value_of_a_sample_with_the_noise_as_its_u(plot: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """The noise was made with a standard deviation of 20 codes."""
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_2, CONTROL)
    plot.viewing.zoom((99.5e-6, 101.5e-6), (-0.01, 0.01))
    settle(plot)
    plot.document.add_level_pair(PlacedLevel(0.008, 1e-3), PlacedLevel(0.009, 1e-3), 0, 0)
    session, codes = plot.document.session, plot.data.codes(0)
    assert session is not None and codes is not None
    sample = round(100e-6 * 10e6) + 200
    value = float(codes[0, sample]) * CODE
    drag(qtbot, plot, spot(plot, 0.008, 99.8e-6), spot(plot, value, 100e-6) + QPoint(0, 2))
    assert only(plot).first.value == pytest.approx(value)
    assert only(plot).first.level == "sample"
    assert only(plot).first.u == pytest.approx(20 * CODE, rel=0.05)


def test_a_clipped_sample_is_no_value_to_go_to(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], qtbot: Any, settle: Settle
) -> None:
    """Samples 900 to 904 of H02 in record 7 are at the converter's highest code."""
    desk = make_window(walking_session())
    desk.viewing.show_only(1)
    desk.viewing.set_lanes(False)
    desk.viewing.go_to(7)
    desk.viewing.set_snap("samples")
    settle(desk)
    clipped = 32767 * CODE
    desk.viewing.zoom((70.1e-6, 70.3e-6), (clipped - 0.05, clipped + 0.05))
    settle(desk)
    pair = desk.document.add_level_pair(PlacedLevel(clipped - 0.03, 1e-3), PlacedLevel(0.0, 1e-3), 7, 1)
    drag(qtbot, desk, spot(desk, clipped - 0.03, 70.15e-6), spot(desk, clipped, 70.2e-6))
    assert desk.document.level_pair(pair.id).first.level == ""  # type: ignore[union-attr]


def test_without_a_mouse_levels_are_brought_to_base_and_top(plot: DeskWindow, qtbot: Any) -> None:
    base, top = base_and_top(plot)
    plot.document.add_level_pair(PlacedLevel(0.1, 1e-3), PlacedLevel(0.8, 1e-3), 0, 0)
    for key in (Qt.Key.Key_K, Qt.Key.Key_J, Qt.Key.Key_K, Qt.Key.Key_J):
        qtbot.keyClick(canvas_of(plot), key)
    findings = plot.results.findings
    assert findings is not None
    tenth, ninth = (base + share * (top - base) for share in (0.1, 0.9))
    assert only(plot).first.value == pytest.approx(tenth)  # 0.09 of 0.9 lies nearer to 0.1 than 0 does
    assert only(plot).second.value == pytest.approx(min((ninth, top), key=lambda v: abs(v - 0.8)))


def test_arrows_nudge_the_chosen_level_by_codes_and_lists_keep_them(plot: DeskWindow, qtbot: Any) -> None:
    pair = plot.document.add_level_pair(PlacedLevel(0.3, 1e-3), PlacedLevel(0.4, 1e-3), 0, 0)
    plot.viewing.select_marker(pair.id, 2)
    canvas = canvas_of(plot)
    qtbot.keyClick(canvas, Qt.Key.Key_Up)
    qtbot.keyClick(canvas, Qt.Key.Key_Up, SHIFT)
    qtbot.keyClick(canvas, Qt.Key.Key_Down)
    assert only(plot).second.value == pytest.approx(0.4 + 10 * CODE)
    assert only(plot).first.value == 0.3
    table = plot.records_panel.table
    table.setFocus()
    table.setCurrentIndex(table.model().index(2, 0))
    qtbot.keyClick(table, Qt.Key.Key_Down)
    assert table.currentIndex().row() == 3
    assert only(plot).second.value == pytest.approx(0.4 + 10 * CODE)


def test_in_lanes_a_level_belongs_to_the_lane_that_it_was_put_down_in(desk: DeskWindow, qtbot: Any) -> None:
    place = desk.middle.view.level_row(1)
    assert place is not None
    where = at(desk, 150e-6, place.row.height(-0.4))
    qtbot.mouseDClick(canvas_of(desk).viewport(), LEFT, SHIFT, where)
    pair = only(desk)
    assert pair.channel == 1
    assert pair.first.value == pytest.approx(place.row.value(canvas_of(desk).height_at(where.y())))
    bottom, top = (canvas_of(desk).y_of(edge) for edge in (place.low, place.high))
    assert all(top - 1 <= y <= bottom + 1 for y in long_lines(desk))


def test_where_records_are_moved_a_level_is_put_down_by_hand(plot: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """No time of such a picture is a time of the current record: neither its samples nor its pulse can be meant."""
    plot.viewing.set_view("afterglow")
    plot.viewing.glow.set_aligned_by("pulse")
    settle(plot)
    base, _ = base_and_top(plot)
    qtbot.mouseDClick(canvas_of(plot).viewport(), LEFT, SHIFT, spot(plot, base))
    assert only(plot).first.level == ""
    assert {round(canvas_of(plot).y_of(only(plot).second.value)) + by for by in (-1, 0, 1)} & long_lines(plot)


def test_the_panel_says_where_a_dropped_marker_goes(plot: DeskWindow, qtbot: Any) -> None:
    (box,) = (b for b in plot.markers_panel.findChildren(QComboBox) if "dropped" in b.accessibleName())
    assert box.currentText() == "pulses and levels"
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_2, CONTROL)
    assert box.currentText() == "samples"
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Down)
    assert plot.viewing.snap == "nothing"
    assert plot.actions_by_name["snap_nothing"].isChecked()


def test_the_map_has_no_place_for_levels_and_says_so(plot: DeskWindow, qtbot: Any, settle: Settle) -> None:
    plot.viewing.set_view("map")
    settle(plot)
    qtbot.mouseDClick(canvas_of(plot).viewport(), LEFT, SHIFT, at(plot, 100e-6))
    assert plot.document.levels == ()
    assert "put levels down in Single" in message(plot)


def test_a_pair_is_put_down_by_the_panel_s_button_and_taken_away_by_another(plot: DeskWindow, qtbot: Any) -> None:
    panel = plot.markers_panel
    qtbot.mouseClick(panel.levels_button, LEFT)
    pair = only(plot)
    plot.document.add_pair(0.0, 1e-6, 1e-9, 1e-9, 0, 0)
    assert [cell(plot, NAME, column) for column in (0, 1)] == ["Pair 2", "Levels 1"]
    box = panel.table.visualRect(panel.table.model().index(SECOND, 1))
    qtbot.mouseClick(panel.table.viewport(), LEFT, pos=box.center())
    assert plot.viewing.selected_marker == (pair.id, 2)
    assert panel.table.model().headerData(FIRST, Qt.Orientation.Vertical, Qt.ItemDataRole.DisplayRole) == "t₁, v₁"
    qtbot.mouseClick(panel.copy_button, LEFT)
    heading, line = QGuiApplication.clipboard().text().splitlines()
    cells = dict(zip(heading.split("\t"), line.split("\t"), strict=True))
    assert (cells["Name"], cells["Unit"], float(cells["v2"])) == ("Levels 1", "V", pair.second.value)
    qtbot.mouseClick(panel.remove_button, LEFT)
    assert plot.document.levels == ()
    assert len(plot.document.pairs) == 1


def test_levels_are_kept_in_the_review_and_read_from_it(
    plot: DeskWindow, walking_session: Callable[..., Session]
) -> None:
    session = walking_session()
    plot.document.add_pair(0.0, 1e-6, 1e-9, 1e-9, 0, 0)
    pair = plot.document.add_level_pair(PlacedLevel(0.3, 1e-3, "base", None, 1e-3), PlacedLevel(0.4, 2e-3), 3, 1)
    plot.document.note_pair(pair.id, "the gate of the recorder")
    review = review_of(plot.document.additions, frozenset(), Kept(), session, "")
    additions, _, kept = additions_of(review, session)
    assert additions.levels == plot.document.levels
    assert kept.lone_levels == ()
    renumbered = review_of(additions, frozenset(), kept, session, "")
    assert renumbered.level_markers == review.level_markers


def test_a_level_becomes_the_threshold(plot: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """The threshold counts from the base, which the noise was made about: 0 V."""
    pair = plot.document.add_level_pair(PlacedLevel(0.3, 1e-3), PlacedLevel(0.45, 1e-3), 0, 0)
    plot.viewing.select_marker(pair.id, 2)
    base, _ = base_and_top(plot)
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_H, SHIFT)
    settle(plot)
    findings = plot.results.findings
    assert findings is not None and findings.settings.threshold is not None
    assert findings.settings.threshold == pytest.approx(0.45 - base, rel=1e-4)
    assert findings.settings.origin("threshold") == "review"
    assert "The threshold is 0.45" in message(plot) or "The threshold is 450" in message(plot)
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_Z, CONTROL)
    settle(plot)
    assert plot.document.measuring_settings().threshold is None


def test_a_threshold_in_the_noise_is_told_not_to_count(plot: DeskWindow, qtbot: Any, settle: Settle) -> None:
    pair = plot.document.add_level_pair(PlacedLevel(0.003, 1e-3), PlacedLevel(0.45, 1e-3), 0, 0)
    plot.viewing.select_marker(pair.id, 1)
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_H, SHIFT)
    assert "H01 goes on being measured at six times its noise, 12" in message(plot)
    settle(plot)


def test_a_note_is_written_in_its_cell_and_undone(plot: DeskWindow, qtbot: Any) -> None:
    pair = plot.document.add_level_pair(PlacedLevel(0.3, 1e-3), PlacedLevel(0.4, 1e-3), 0, 0)
    plot.viewing.select_marker(pair.id, 1)
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_N, SHIFT)
    table = plot.markers_panel.table
    (editor,) = (line for line in table.findChildren(QLineEdit) if line.isVisible())
    qtbot.keyClicks(editor, "Gate of the recorder")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: cell(plot, NOTE) == "Gate of the recorder")  # the editor commits a moment later
    qtbot.keyClick(canvas_of(plot), Qt.Key.Key_Z, CONTROL)
    assert cell(plot, NOTE) == ""


def test_the_buttons_of_the_panel_do_what_their_keys_do(plot: DeskWindow, qtbot: Any) -> None:
    first = plot.document.add_pair(0.0, 1e-6, 1e-9, 1e-9, 0, 0)
    plot.document.add_pair(0.0, 2e-6, 1e-9, 1e-9, 0, 0)
    plot.viewing.select_marker(first.id, 1)
    buttons = {b.text(): b for b in plot.markers_panel.findChildren(QAbstractButton) if b.isVisible()}
    assert {"Follow", "One alone", "All records …", "Move left", "Move right", "Write a note"} <= set(buttons)
    for text in ("Follow", "One alone", "All records …", "Move left", "Move right"):
        assert buttons[text].accessibleName()
        assert "(" in buttons[text].toolTip()  # its keys
    menu = {action.text(): action.shortcut().toString() for action in plot.actions_by_name.values()}
    for way in ("left", "right"):  # the same word in the menu, beside keys that say it too
        assert menu[f"Move the pair {way}"] == f"Ctrl+{way.capitalize()}"
    qtbot.mouseClick(buttons["Move right"], LEFT)
    assert [pair.id for pair in plot.document.pairs] == [2, 1]
    qtbot.mouseClick(buttons["Move left"], LEFT)
    assert [pair.id for pair in plot.document.pairs] == [1, 2]
    assert not buttons["As threshold"].isEnabled()


@pytest.mark.parametrize("record", [3, 4, 5])
def test_what_a_pair_of_levels_says_hides_no_pulse(plot: DeskWindow, settle: Settle, record: int) -> None:
    """All that was seen of the trace before is seen with the words there, the lines themselves apart."""
    plot.viewing.go_to(record)  # its pulse stands where the words would be
    plot.viewing.zoom_time((-10e-6, 62e-6))
    settle(plot)
    sign = 1 if record % 2 == 0 else -1
    before = inked(plot, LIGHT.channel(0))
    plot.document.add_level_pair(PlacedLevel(sign * 0.2, 1e-3), PlacedLevel(sign * 0.6, 1e-3), 0, 0)
    settle(plot)
    canvas = canvas_of(plot)
    rows = {round(canvas.y_of(sign * value)) + by for value in (0.2, 0.6) for by in (-1, 0, 1)}
    arrow = canvas.plot_rect().right() - 40
    seen = {(x, y) for x, y in before if y not in rows and x < arrow}
    assert len({y for _, y in seen}) > 100
    assert seen <= inked(plot, LIGHT.channel(0))


def test_in_afterglow_what_a_pair_says_hides_no_ink_and_no_marker(plot: DeskWindow, settle: Settle) -> None:
    plot.viewing.set_view("afterglow")
    plot.viewing.zoom_time((20e-6, 72e-6))  # the pulses stand where the words would be
    plot.document.add_pair(58e-6, 71e-6, 1e-9, 1e-9, 0, 0)
    settle(plot)
    inks = LIGHT.one_ink, LIGHT.marker
    before = [inked(plot, colour) for colour in inks]
    plot.document.add_level_pair(PlacedLevel(0.2, 1e-3), PlacedLevel(0.6, 1e-3), 0, 0)
    settle(plot)
    rows = {round(canvas_of(plot).y_of(value)) + by for value in (0.2, 0.6) for by in (-1, 0, 1)}
    arrow = canvas_of(plot).plot_rect().right() - 40
    for colour, seen in zip(inks, before, strict=True):
        kept = {(x, y) for x, y in seen if y not in rows and x < arrow}
        assert len(kept) > 100
        assert kept <= inked(plot, colour)


def test_what_a_pair_of_markers_says_hides_no_arrow_of_levels(plot: DeskWindow, settle: Settle) -> None:
    plot.viewing.zoom_time((0.0, 40e-6))
    plot.document.add_level_pair(PlacedLevel(-0.9, 1e-3), PlacedLevel(0.9, 1e-3), 0, 0)
    settle(plot)
    right = canvas_of(plot).plot_rect().right()
    arrow = {(x, y) for x, y in inked(plot, LIGHT.marker) if abs(x - (right - 22)) < 6}
    assert len({y for _, y in arrow}) > 100
    plot.document.add_pair(90e-6, 95e-6, 1e-9, 1e-9, 0, 0)  # right of what is shown: its words stand at the edge
    settle(plot)
    assert arrow <= inked(plot, LIGHT.marker)
