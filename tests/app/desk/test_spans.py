"""Spans: drawn by a drag, changed by their ends, typed, cleared, undone; and measured by."""

from __future__ import annotations

from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt

from pulsewright_app.desk.panels.span_rows import SpanRows
from pulsewright_app.desk.spans import SpanName
from pulsewright_app.desk.views import view
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import Settle, at, canvas_of, drag, message, picture, pixels, press


def rows_of(desk: DeskWindow) -> SpanRows:
    return desk.findChildren(SpanRows)[0]


def window_of(desk: DeskWindow, name: SpanName) -> tuple[float, float] | None:
    window: tuple[float, float] | None = getattr(desk.document.measuring_settings(), name)
    return window


@pytest.mark.parametrize(("key", "name"), [("S", "span"), ("A", "alignment_span")])
def test_a_drag_after_the_key_sets_the_span_in_one_step(desk: DeskWindow, qtbot: Any, key: str, name: SpanName) -> None:
    press(desk, qtbot, key)
    start, end = at(desk, 30e-6), at(desk, 80e-6)
    wanted = [canvas_of(desk).time_at(spot.x()) for spot in (start, end)]
    drag(qtbot, desk, end, start)  # right to left is as good
    assert window_of(desk, name) == pytest.approx(wanted)
    assert desk.viewing.time_window is None  # it did not zoom
    assert rows_of(desk).origins[name].text() == "set on the desk"
    assert rows_of(desk).fields[name].text().endswith("µs")
    drag(qtbot, desk, start, end)
    assert desk.viewing.time_window is not None  # the next drag zooms again
    press(desk, qtbot, "Ctrl+Z")
    assert window_of(desk, name) is None
    assert rows_of(desk).fields[name].text() == ""
    assert desk.document.undo_label == ""


def test_numbers_are_out_of_date_until_measured_by_the_new_span(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    before = desk.results.findings
    assert before is not None and len(before.pulses)
    press(desk, qtbot, "S")
    drag(qtbot, desk, at(desk, 120e-6), at(desk, 160e-6))
    assert desk.results.out_of_date and desk.results.findings is before
    settle(desk)
    after = desk.results.findings
    assert after is not None and not desk.results.out_of_date
    assert len(after.pulses) == 0  # the pulse walks from 40 µs to 61 µs


@pytest.mark.parametrize(("name", "upper"), [("span", True), ("alignment_span", False)])
def test_an_end_is_dragged_alone(desk: DeskWindow, qtbot: Any, settle: Settle, name: SpanName, upper: bool) -> None:
    desk.document.set_setting(name, [30e-6, 80e-6])
    settle(desk)
    plot = canvas_of(desk).plot_rect()
    y = round(plot.top() + 5 if upper else plot.bottom() - 5)
    start, end = QPoint(at(desk, 80e-6).x(), y), QPoint(at(desk, 100e-6).x(), y)
    wanted = canvas_of(desk).time_at(end.x())
    drag(qtbot, desk, start, end)
    assert window_of(desk, name) == pytest.approx((30e-6, wanted))
    desk.document.undo()
    assert window_of(desk, name) == (30e-6, 80e-6)


def test_the_stretch_that_is_shown_becomes_the_span_by_one_key(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.zoom_time((30e-6, 80e-6))
    settle(desk)
    press(desk, qtbot, "Shift+S")
    assert window_of(desk, "span") == pytest.approx((30e-6, 80e-6))
    press(desk, qtbot, "Ctrl+Shift+S")
    assert window_of(desk, "span") is None


def test_a_span_is_typed_mended_and_cleared(desk: DeskWindow, qtbot: Any) -> None:
    rows = rows_of(desk)
    field = rows.fields["span"]
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, "30 us .. 80 us")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert window_of(desk, "span") == pytest.approx((30e-6, 80e-6))
    field.selectAll()
    qtbot.keyClicks(field, "80 us")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert "is not a stretch" in message(desk)
    assert window_of(desk, "span") == pytest.approx((30e-6, 80e-6))
    qtbot.mouseClick(rows.clear_buttons["span"], Qt.MouseButton.LeftButton)
    assert window_of(desk, "span") is None
    assert (field.text(), rows.origins["span"].text()) == ("", "the whole record")


def test_a_span_without_its_unit_is_told_and_escape_leaves_the_field_as_it_was(desk: DeskWindow, qtbot: Any) -> None:
    field = rows_of(desk).fields["span"]
    field.setFocus()
    for mended in (False, True):
        field.selectAll()
        qtbot.keyClicks(field, "30 .. 80")
        qtbot.keyClick(field, Qt.Key.Key_Return)
        assert "30 s .. 80 s holds no sample" in message(desk) and "write the unit" in message(desk)
        assert field.text() == "30 .. 80", "it is there to be mended"
        if mended:
            field.selectAll()
            qtbot.keyClicks(field, "30 us .. 80 us")
            qtbot.keyClick(field, Qt.Key.Key_Return)
        else:
            qtbot.keyClick(field, Qt.Key.Key_Escape)
            assert field.text() == ""
        assert message(desk) == "", "what was wrong is mended"
    assert window_of(desk, "span") == pytest.approx((30e-6, 80e-6))


def test_what_is_being_typed_is_not_written_over(desk: DeskWindow, qtbot: Any) -> None:
    field = rows_of(desk).fields["span"]
    field.setFocus()
    qtbot.waitUntil(field.hasFocus)
    field.selectAll()
    qtbot.keyClicks(field, "60 us ..")
    desk.document.set_setting("clock_ppm", 3.0)  # as from another panel, or by undo
    assert field.text() == "60 us .."
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert "is not a number with a unit" in message(desk)
    assert field.text() == "60 us ..", "it is there to be mended"
    qtbot.keyClicks(field, " 120 us")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert desk.document.measuring_settings().span == pytest.approx((60e-6, 120e-6))


def test_a_span_of_the_command_line_is_not_changed(desk: DeskWindow, qtbot: Any) -> None:
    desk.document.open(desk.document.session, option={"span": "30 us .. 80 us"})
    assert rows_of(desk).origins["span"].text() == "from the command line"
    press(desk, qtbot, "S")
    assert "--span" in message(desk)
    press(desk, qtbot, "Shift+S")
    assert window_of(desk, "span") == pytest.approx((30e-6, 80e-6))


def test_both_spans_are_seen_and_differ_in_shape(desk: DeskWindow, settle: Settle) -> None:
    plain = picture(desk)
    for name in ("span", "alignment_span"):
        desk.document.set_setting(name, [30e-6, 80e-6])
        settle(desk)
        assert picture(desk) != plain
        plain = picture(desk)


def test_no_marker_line_runs_through_what_a_span_says(desk: DeskWindow, settle: Settle) -> None:
    canvas = canvas_of(desk)
    (start, end), _ = canvas.windows()
    desk.document.set_setting("span", [start + 0.1 * (end - start), start + 0.9 * (end - start)])
    settle(desk)
    word_right = canvas.x_of(start + 0.9 * (end - start)) - 14  # the word ends two teeth of the bracket before its end
    column = round(word_right - canvas.fontMetrics().horizontalAdvance("here") - 2)
    letters = range(round(canvas.plot_rect().top()) + 7, round(canvas.plot_rect().top()) + 14)
    desk.document.add_pair(canvas.time_at(column), end - 1e-6, 1e-9, 1e-9, 5, 0)
    settle(desk)
    line = {y for x, y in pixels(picture(desk), LIGHT.marker) if abs(x - column) <= 1}
    assert len(line) > canvas.plot_rect().height() / 2  # it is there, below the word
    assert not line & set(letters)


def test_the_word_beside_the_trigger_leaves_the_alignment_span_readable(
    desk: DeskWindow, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    canvas, teeth = canvas_of(desk), 14
    words = canvas.fontMetrics().horizontalAdvance("alignment is measured here")
    right = canvas.x_of(0.0) + words / 2 + teeth  # so that the span's words lie across the trigger
    left = canvas.x_of(0.0) - words / 2 - 3 * teeth
    desk.document.set_setting(
        "alignment_span", [canvas.time_at(max(left, canvas.plot_rect().left())), canvas.time_at(right)]
    )
    settle(desk)
    seen, told = pixels(picture(desk), LIGHT.accent), picture(desk)
    monkeypatch.setattr(view, "_TRIGGER", "")
    canvas.viewport().update()
    assert picture(desk) != told  # the word is written somewhere
    assert pixels(picture(desk), LIGHT.accent) == seen and len(seen) > 50
