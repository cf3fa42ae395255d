"""Markers in the views: put down, dragged, dropped, nudged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt

from pulsewright_analysis.markers import difference
from pulsewright_app.desk.following import Shown
from pulsewright_app.desk.panels.marker_table import FIRST, PLACE
from pulsewright_app.desk.review_file import Kept, additions_of, review_of
from pulsewright_app.desk.views.marker_layer import pair_text
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, at, canvas_of, drag, message, picture, pixels, point, pulse_of


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


def test_what_a_marker_took_over_is_frozen_whatever_is_measured_later(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    time, u = pulse_of(desk, 0, 2)
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    drag(qtbot, desk, at(desk, 100e-6, 0.3), at(desk, time, 0.0))
    before = desk.markers_panel.table.model().index(FIRST, 0).data()
    desk.document.set_setting("position", "peak")
    settle(desk)
    assert pulse_of(desk, 0, 2)[1] != u
    assert (desk.document.pairs[0].t1, desk.document.pairs[0].u1) == (time, u)
    assert desk.markers_panel.table.model().index(FIRST, 0).data() == before


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


def test_without_a_mouse_a_pair_is_put_down_and_brought_to_a_pulse(desk: DeskWindow, qtbot: Any) -> None:
    canvas = canvas_of(desk)
    for key in (Qt.Key.Key_M, Qt.Key.Key_K, Qt.Key.Key_J):
        qtbot.keyClick(canvas, key)
    time, u = pulse_of(desk, 0, 0)
    pair = desk.document.pairs[0]
    assert desk.viewing.selected_marker == (pair.id, 1)  # the second one was chosen before
    assert (pair.t1, pair.u1) == (time, u)
    qtbot.keyClick(canvas, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert desk.document.pairs[0].t1 != time
    qtbot.keyClick(canvas, Qt.Key.Key_K, Qt.KeyboardModifier.ShiftModifier)
    assert desk.viewing.selected_marker == (pair.id, 2)
    qtbot.keyClick(canvas, Qt.Key.Key_3, Qt.KeyboardModifier.ControlModifier)
    before = desk.document.pairs
    qtbot.keyClick(canvas, Qt.Key.Key_J)
    assert desk.document.pairs == before
    assert "choose what they go to" in message(desk)


def test_each_marker_keeps_the_record_and_channel_that_its_u_holds_for(desk: DeskWindow, qtbot: Any) -> None:
    time, u = pulse_of(desk, 0, 2)
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    drag(qtbot, desk, at(desk, 100e-6, 0.3), at(desk, time, 0.0))
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_PageDown)
    drag(qtbot, desk, at(desk, 120e-6, 2.0), at(desk, 150e-6, 2.0))
    pair = desk.document.pairs[0]
    assert (pair.t1, pair.u1) == (time, u)
    assert pair.places == ((0, 2), (1, 0))
    place = desk.markers_panel.table.model().index(PLACE, 0).data()
    assert place == "t₁: record 0, H03; t₂: record 1, H01"
    session = desk.document.session
    assert session is not None
    review = review_of(desk.document.additions, frozenset(), Kept(), session, "")
    assert [(marker.record, marker.channel) for marker in review.markers] == [(0, "H03"), (1, "H01")]
    assert additions_of(review, session)[0].pairs == desk.document.pairs
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_PageDown)
    names = [channel.name for channel in session.channels]
    assert pair_text(Shown(pair, difference(0.0, 0.0, 1e-6, 1e-9)), 2, names).endswith("(records 0 and 1)")


def test_the_text_of_a_pair_does_not_lie_over_the_word_of_the_span(desk: DeskWindow, settle: Settle) -> None:
    """What was written in the span's ink before is still there, though the pair stands right below it."""
    desk.document.set_setting("span", [0.0, 150e-6])
    settle(desk)
    top = canvas_of(desk).plot_rect().top()
    word = {(x, y) for x, y in pixels(picture(desk), LIGHT.pulse) if y < top + 22}
    assert len({x for x, _ in word}) > 60
    right = canvas_of(desk).time_at(max(x for x, _ in word if x < canvas_of(desk).x_of(140e-6)) - 60)
    desk.document.add_pair(right - 40e-6, right + 40e-6, 1e-8, 1e-8, 0, 0)
    settle(desk)
    lines = {round(canvas_of(desk).x_of(t)) + by for t in (right - 40e-6, right + 40e-6) for by in (-1, 0, 1)}
    after = pixels(picture(desk), LIGHT.pulse)
    assert {spot for spot in word if spot[0] not in lines} <= after


def test_shift_and_arrows_nudge_by_ten_samples(desk: DeskWindow, qtbot: Any) -> None:
    pair = desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    desk.viewing.select_marker(pair.id, 1)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert desk.document.pairs[0].t1 == pytest.approx(100e-6 + 10e-7)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert desk.document.pairs[0].t1 == pytest.approx(100e-6)


def test_a_marker_dropped_near_an_edge_goes_to_its_crossing(desk: DeskWindow, qtbot: Any) -> None:
    """The edge of exp(−t²/2σ²) is at half its top at t = −σ·√(2·ln 2) (algebra), here with σ = 1 µs."""
    middle, _ = pulse_of(desk, 0, 2)
    edge = middle - 1e-6 * np.sqrt(2 * np.log(2.0))
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_4, Qt.KeyboardModifier.ControlModifier)
    assert desk.actions_by_name["snap_crossings"].isChecked()
    desk.viewing.zoom_time((middle - 30e-6, middle + 90e-6))
    qtbot.wait(50)
    drag(qtbot, desk, at(desk, 100e-6, 0.3), at(desk, edge, 0.0) + QPoint(-2, 0))
    pair = desk.document.pairs[0]
    assert pair.channel == 2
    assert 0 < pair.u1 < 1e-8, "better than a sample's 29 ns: the edge is steep against the noise"
    assert pair.t1 == pytest.approx(edge, abs=4 * pair.u1)


def test_a_marker_dropped_away_from_every_crossing_stays_there(desk: DeskWindow, qtbot: Any) -> None:
    desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_4, Qt.KeyboardModifier.ControlModifier)
    wanted = canvas_of(desk).time_at(at(desk, 150e-6).x())
    drag(qtbot, desk, at(desk, 100e-6), at(desk, 150e-6))
    assert desk.document.pairs[0].t1 == pytest.approx(wanted)


@pytest.mark.parametrize("height", [768, 920])
def test_a_dimension_line_lies_on_no_trace(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path, height: int
) -> None:
    """An arrowed line along a trace would be taken for a part of it."""
    desk = make_window(faults)
    desk.resize(1500, height)
    for start in (20e-6, 40e-6):
        desk.document.add_pair(start, 150e-6, 1e-8, 1e-8, 0, 0)
    for view in ("single", "stacked"):
        desk.viewing.set_view(view)  # type: ignore[arg-type]
        settle(desk)
        canvas = canvas_of(desk)
        across = Counter(y for _, y in pixels(picture(desk), LIGHT.marker))
        lines = [y for y, number in across.items() if number > 100]
        assert len(lines) == 2
        rows = 12  # lanes of channels, and records
        assert min(abs(y - canvas.y_of(row)) for y in lines for row in range(rows)) > 5


def test_in_lanes_lower_than_letters_a_dimension_line_stays_at_the_top(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path
) -> None:
    desk = make_window(faults)
    desk.resize(1366, 500)
    desk.document.add_pair(40e-6, 150e-6, 1e-8, 1e-8, 0, 0)
    settle(desk)
    canvas = canvas_of(desk)
    lanes = abs(canvas.y_of(1.0) - canvas.y_of(0.0))
    assert lanes < canvas.fontMetrics().height() + 4, "the lanes are high enough for a text between two traces"
    across = Counter(y for _, y in pixels(picture(desk), LIGHT.marker))
    line = next(y for y, number in across.items() if number > 100)
    assert line < canvas.plot_rect().top() + canvas.plot_rect().height() / 3
