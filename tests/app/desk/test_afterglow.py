"""Afterglow by clicks and keys: which records, alignment, fade, mean, passing records; what is asserted is shown."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QTextDocument
from PySide6.QtWidgets import QCheckBox, QComboBox, QLabel, QLineEdit, QListView, QWidget

from pulsewright.block_source import Room
from pulsewright.errors import SessionFileError
from pulsewright.session import Session
from pulsewright_app import glow
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import (
    LEFT,
    VIEWS,
    Settle,
    at,
    button,
    canvas_of,
    colours_of,
    drag,
    labelled,
    message,
    picture,
    pixels,
    point,
    press,
)  # fmt: skip

CAPTION = "What the Afterglow view shows"


@pytest.fixture
def glowing(desk: DeskWindow, settle: Settle) -> DeskWindow:
    """The walking session in Afterglow: records 0 to 7 at 40 µs and 3 µs on each, 8 to 11 again from 40 µs."""
    desk.viewing.set_view("afterglow")
    settle(desk)
    return desk


def control(desk: DeskWindow, kind: type[QWidget], name: str) -> Any:
    return next(w for w in desk.middle.view.findChildren(kind) if w.accessibleName() == name)


def texts_of(listed: QListView) -> list[str]:
    return [listed.model().index(row, 0).data() for row in range(listed.model().rowCount())]


def choose(desk: DeskWindow, qtbot: Any, name: str, text: str) -> None:
    """Choose an entry of a box by its keys."""
    box = control(desk, QComboBox, name)
    box.setFocus()
    for _ in range(abs(box.findText(text) - box.currentIndex())):
        qtbot.keyClick(box, Qt.Key.Key_Down if box.findText(text) > box.currentIndex() else Qt.Key.Key_Up)
    assert box.currentText() == text


def under(desk: DeskWindow, qtbot: Any, time: float, height: float) -> str:
    point(qtbot, desk, at(desk, time, height))
    return labelled(desk, "Under the pointer")


def all_through_one_row(desk: DeskWindow, settle: Settle) -> None:
    """Show so many volts that every record's base lies in one row of pixels."""
    desk.viewing.zoom(None, (-300.0, 300.4))
    settle(desk)


FLANK = (39e-6, 0.9 * np.exp(-0.5))
"""On the rising flank of a Gaussian of 0.9 V and a sigma of 1 µs at 40 µs, as records 0 and 8 have it."""


def test_the_count_under_the_pointer_is_shown(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    assert "2 records pass here" in under(glowing, qtbot, *FLANK)
    assert "0 records pass here" in under(glowing, qtbot, 150e-6, 0.5)
    all_through_one_row(glowing, settle)
    assert "12 records pass here" in under(glowing, qtbot, 150e-6, 0.0)


def test_only_records_that_match_the_filter(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    choose(glowing, qtbot, "Records of the Afterglow view", "Matching the filter")
    settle(glowing)
    assert "all 12 records (there is no filter)" in labelled(glowing, CAPTION)
    glowing.viewing.set_filter("record below 4", range(4))
    settle(glowing)
    assert "4 records that match record below 4" in labelled(glowing, CAPTION)
    all_through_one_row(glowing, settle)
    assert "4 records pass here" in under(glowing, qtbot, 150e-6, 0.0)


def test_it_builds_up_while_playing_and_counts_every_record(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    choose(glowing, qtbot, "Records of the Afterglow view", "Stepped through")
    settle(glowing)
    assert "1 record stepped through" in labelled(glowing, CAPTION)
    canvas = canvas_of(glowing)
    for _ in range(5):  # faster than anything is painted
        qtbot.keyClick(canvas, Qt.Key.Key_PageDown)
    settle(glowing)
    assert "6 records stepped through" in labelled(glowing, CAPTION)
    all_through_one_row(glowing, settle)
    assert "6 records pass here" in under(glowing, qtbot, 150e-6, 0.0)
    qtbot.keyClick(canvas, Qt.Key.Key_PageUp)
    settle(glowing)
    assert "6 records stepped through" in labelled(glowing, CAPTION)  # each counts once
    qtbot.mouseClick(button(glowing, "Start over"), LEFT)
    settle(glowing)
    assert "1 record stepped through" in labelled(glowing, CAPTION)


def test_steps_in_another_view_count_too(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.glow.set_of("stepped")
    for _ in range(3):
        qtbot.keyClick(canvas_of(desk), Qt.Key.Key_PageDown)
    desk.viewing.set_view("afterglow")
    settle(desk)
    assert "4 records stepped through" in labelled(desk, CAPTION)


def test_found_pulses_are_laid_over_each_other(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    choose(glowing, qtbot, "What the records are aligned by", "By found pulse")
    settle(glowing)
    findings = glowing.results.findings
    assert findings is not None
    found = findings.pulses.where(channel=0)
    middle = float(np.median(findings.pulses.time[found]))
    # six of the twelve pulses are positive: all of them now stand at one time
    assert "6 records pass here" in under(glowing, qtbot, middle - 1e-6, FLANK[1])
    assert "found pulses" in canvas_of(glowing).time_axis.labelText
    assert not pixels(picture(glowing), LIGHT.before_trigger)


def test_without_a_reference_pulse_it_says_so(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    choose(glowing, qtbot, "What the records are aligned by", "By reference pulse")
    settle(glowing)
    assert "aligned by trigger: no reference pulse is set" in labelled(glowing, CAPTION)


def test_ink_by_the_count_or_by_its_logarithm(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """Few records have more ink by the logarithm than by the count itself; the densest spot has all of it."""

    def darkest(time: float, height: float) -> int:
        image, spot = picture(glowing), at(glowing, time, height)
        return min(image.pixelColor(spot.x() + x, spot.y() + y).lightness() for x in range(-2, 3) for y in range(-2, 3))

    tick = control(glowing, QCheckBox, "Ink follows the logarithm of the count")
    assert tick.isChecked()
    few, many = darkest(40e-6, 0.895), darkest(150e-6, 0.0)
    qtbot.mouseClick(tick, LEFT, pos=QPoint(8, tick.height() // 2))
    settle(glowing)
    assert darkest(40e-6, 0.895) > few + 10
    assert abs(darkest(150e-6, 0.0) - many) <= 2


def test_older_records_fade(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    def darkest(time: float) -> int:
        image, spot = picture(glowing), at(glowing, time, 0.7)
        around = [image.pixelColor(spot.x() + dx, spot.y() + dy) for dx in range(-4, 5) for dy in range(-4, 5)]
        return min(colour.lightness() for colour in around)

    old, new = 46e-6, 46e-6  # positive pulses of records 2 and 10
    before = darkest(52e-6)  # of record 4 alone
    choose(glowing, qtbot, "How soon older records fade", "Half ink after 3")
    settle(glowing)
    assert darkest(52e-6) > before
    assert darkest(old) == darkest(new) < darkest(52e-6)  # record 10 came last but one
    all_through_one_row(glowing, settle)
    assert "12 records pass here" in under(glowing, qtbot, 150e-6, 0.0)  # the count stays that of all


def test_the_mean_runs_through_the_base(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    def mean_rows() -> list[int]:
        image, spot = colours_of(picture(glowing)), at(glowing, 150e-6, 0.0)
        column = image[:, spot.x() - 2 : spot.x() + 3]
        ink = np.array(QColor(LIGHT.ink).getRgb()[:3])
        return [int(y) for y in np.flatnonzero((np.abs(column - ink).sum(axis=2) < 6).any(axis=1))]

    box = control(glowing, QCheckBox, "Draw the mean and one standard deviation to each side")
    assert not mean_rows()
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Space)
    settle(glowing)
    middle = canvas_of(glowing).y_of(0.0)
    assert mean_rows()
    assert max(abs(y - middle) for y in mean_rows()) < 8
    caption = labelled(glowing, "What the Afterglow view shows")
    for colour, word in ((LIGHT.ink, "mean  "), (LIGHT.muted, "mean ± s")):
        assert re.search(f"color:{colour}'>(<b>━━</b>|──)</span>&nbsp;{word}", caption)


def test_a_spot_lists_its_records_and_steps_through_just_them(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    qtbot.mouseClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, *FLANK))
    settle(glowing)
    assert labelled(glowing, "Passing records of the spot").startswith("2 records within a pixel of")
    listed = control(glowing, QListView, "Passing records")
    assert texts_of(listed) == ["▲ 0", "▲ 8"]
    qtbot.mouseClick(listed.viewport(), LEFT, pos=listed.visualRect(listed.model().index(1, 0)).center())
    assert glowing.viewing.record == 8
    qtbot.mouseClick(button(glowing, "Step through these"), LEFT)
    qtbot.keyClick(canvas_of(glowing), Qt.Key.Key_Home)
    assert glowing.viewing.record == 0
    qtbot.keyClick(canvas_of(glowing), Qt.Key.Key_PageDown)
    assert glowing.viewing.record == 8
    qtbot.mouseClick(button(glowing, "Back to all records"), LEFT)
    qtbot.keyClick(canvas_of(glowing), Qt.Key.Key_PageDown)
    assert glowing.viewing.record == 9
    assert button(glowing, "Step through these").isVisible()
    qtbot.mouseClick(button(glowing, "Close the list"), LEFT)
    assert not listed.isVisible()


def test_another_channel_puts_the_list_away(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    qtbot.mouseClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, *FLANK))
    settle(glowing)
    glowing.viewing.set_channel(1)
    settle(glowing)
    assert not control(glowing, QListView, "Passing records").isVisible()
    assert labelled(glowing, CAPTION).startswith("H02")


def test_records_stepped_through_stay_listed_on_another_channel(
    glowing: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    qtbot.mouseClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, *FLANK))
    settle(glowing)
    qtbot.mouseClick(button(glowing, "Step through these"), LEFT)
    glowing.viewing.set_channel(1)
    settle(glowing)
    assert labelled(glowing, "Passing records of the spot").endswith("on H01")
    qtbot.mouseClick(button(glowing, "Back to all records"), LEFT)
    assert glowing.viewing.passing is None


def test_a_flag_set_while_the_list_is_there_is_seen_in_it(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    qtbot.mouseClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, *FLANK))
    settle(glowing)
    listed = control(glowing, QListView, "Passing records")
    glowing.viewing.go_to(8)
    press(glowing, qtbot, "F")
    assert texts_of(listed) == ["▲ 0", "▲ 8  flagged"]
    press(glowing, qtbot, "Ctrl+Z")
    assert texts_of(listed) == ["▲ 0", "▲ 8"]


def test_other_cable_delays_take_the_list_away_and_nobody_is_left_among_its_records(
    glowing: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    qtbot.mouseClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, *FLANK))
    settle(glowing)
    qtbot.mouseClick(button(glowing, "Step through these"), LEFT)
    glowing.document.set_setting("delays", {"H01": "500 ns"})
    settle(glowing)
    assert not control(glowing, QListView, "Passing records").isVisible()
    glowing.viewing.go_to(0)
    qtbot.keyClick(canvas_of(glowing), Qt.Key.Key_PageDown)
    assert glowing.viewing.record == 1


def test_a_filter_takes_the_place_of_passing_records(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    qtbot.mouseClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, *FLANK))
    settle(glowing)
    qtbot.mouseClick(button(glowing, "Step through these"), LEFT)
    press(glowing, qtbot, "Alt+1")
    press(glowing, qtbot, "Ctrl+R")
    line = next(e for e in glowing.findChildren(QLineEdit) if e.accessibleName() == "Filter of the records")
    qtbot.keyClicks(line, "record 6 .. 11")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    settle(glowing)
    assert labelled(glowing, "How many records match the filter") == "6 of 12 match"
    qtbot.keyClick(canvas_of(glowing), Qt.Key.Key_Home)
    assert glowing.viewing.record == 6


def test_polarity_from_older_settings_is_said(glowing: DeskWindow, settle: Settle) -> None:
    glowing.viewing.set_inks("polarity")
    settle(glowing)
    assert "6 positive" in _counts(glowing)
    glowing.results.mark_out_of_date()
    settle(glowing)
    assert "pulses out of date" in labelled(glowing, CAPTION)


def _counts(desk: DeskWindow) -> str:
    return desk.middle.view.value_text(150e-6, 0.0)


def test_a_partial_picture_says_so(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Any], settle: Settle, monkeypatch: Any
) -> None:
    """Each block of the accumulation waits until the caption has been read."""
    from pulsewright_app.desk.views import picture_view

    monkeypatch.setattr(glow, "BLOCK_BYTES", 1)  # a record a block
    monkeypatch.setattr(picture_view, "PARTS_EVERY", 0.0)
    desk = make_window(walking_session(records=40))
    said: list[str] = []
    desk.viewing.set_view("afterglow")
    view = desk.middle.view
    shown = view._show_picture  # type: ignore[attr-defined]

    def listening() -> None:
        shown()
        said.append(view.caption.text())

    monkeypatch.setattr(view, "_show_picture", listening)
    settle(desk)
    assert any("of 40 records so far" in text for text in said)
    assert "all 40 records" in said[-1]


def test_what_could_not_be_accumulated_is_never_said_to_be_in_the_picture(
    glowing: DeskWindow, qtbot: Any, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file cannot be read from record 6 on; then the picture is inked anew by other things that were chosen."""
    whole = Session.channel_stretch

    def broken(self: Session, channel: int, first: int, stop: int, begin: int, end: int, room: Room) -> np.ndarray:
        if first >= 6:
            raise SessionFileError("the file ends at record 6", "record the session again")
        return whole(self, channel, first, stop, begin, end, room)

    monkeypatch.setattr(glow, "BLOCK_BYTES", 1)  # a record a block
    monkeypatch.setattr(glow, "CORES", 2)
    monkeypatch.setattr(Session, "channel_stretch", broken)
    glowing.viewing.zoom_time((0.0, 100e-6))
    settle(glowing)
    assert "the file ends at record 6" in message(glowing)
    for keys in ("Ctrl+D", "PgDown"):
        press(glowing, qtbot, keys)
        settle(glowing)
        assert "6 of 12 records only" in labelled(glowing, CAPTION)
    assert "so far" in under(glowing, qtbot, 50e-6, 0.5)


def aligned(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    choose(desk, qtbot, "What the records are aligned by", "By found pulse")
    settle(desk)


def test_markers_and_spans_are_not_drawn_over_moved_records(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    glowing.document.add_pair(30e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    glowing.document.set_setting("span", [20e-6, 140e-6])
    settle(glowing)
    marker, span = LIGHT.marker, LIGHT.pulse

    def trigger_word() -> int:
        plot = canvas_of(glowing).plot_rect()
        return sum(plot.contains(QPointF(*spot)) for spot in pixels(picture(glowing), LIGHT.muted))

    assert pixels(picture(glowing), marker) and pixels(picture(glowing), span) and trigger_word()
    aligned(glowing, qtbot, settle)
    assert not pixels(picture(glowing), marker) and not pixels(picture(glowing), span)
    assert not trigger_word()  # each record has its trigger at another place
    choose(glowing, qtbot, "What the records are aligned by", "By trigger")
    settle(glowing)
    assert pixels(picture(glowing), marker) and pixels(picture(glowing), span)


def test_markers_and_spans_cannot_be_moved_over_moved_records(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    glowing.document.add_pair(30e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    before = glowing.document.pairs
    aligned(glowing, qtbot, settle)
    drag(qtbot, glowing, at(glowing, 30e-6), at(glowing, 60e-6))
    assert glowing.viewing.time_window is not None  # there is nothing to take hold of: the drag zooms
    qtbot.mouseDClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, 40e-6))
    assert "align them by trigger" in message(glowing)
    assert glowing.document.pairs == before


@pytest.mark.parametrize("keys", ["M", "Left", "Shift+Right", "S", "A", "Shift+S", "Shift+A"])
def test_the_actions_about_times_say_why_they_do_nothing(
    glowing: DeskWindow, qtbot: Any, settle: Settle, keys: str
) -> None:
    pair = glowing.document.add_pair(30e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    aligned(glowing, qtbot, settle)
    glowing.viewing.select_marker(pair.id, 1)
    before, canvas = glowing.document.undo_label, canvas_of(glowing)
    canvas.setFocus()
    press(glowing, qtbot, keys)
    assert "Records aligned by found pulses share no time" in message(glowing)
    assert (glowing.document.undo_label, glowing.viewing.spans.name) == (before, None)
    assert not any(action.isChecked() for name, action in glowing.actions_by_name.items() if name.startswith("draw_"))


def test_a_span_that_was_to_be_drawn_elsewhere_is_not_drawn_over_moved_records(
    glowing: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    aligned(glowing, qtbot, settle)
    glowing.viewing.set_view("single")
    press(glowing, qtbot, "S")
    glowing.viewing.set_view("afterglow")
    settle(glowing)
    drag(qtbot, glowing, at(glowing, 30e-6), at(glowing, 80e-6))
    assert "share no time" in message(glowing)
    assert "span" not in glowing.document.settings
    assert glowing.viewing.time_window is None


@pytest.mark.parametrize("view", VIEWS[1:])
def test_a_channels_name_is_written_as_it_is(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Any], settle: Settle, view: str
) -> None:
    desk = make_window(walking_session(naming="<b>H{:02d}</b>"))
    desk.viewing.set_view(view)
    settle(desk)
    captions = desk.middle.view.findChildren(QLabel)
    caption = next(label for label in captions if label.accessibleName() == f"What the {view.capitalize()} view shows")
    shown = QTextDocument()
    if caption.textFormat() is Qt.TextFormat.RichText:
        shown.setHtml(caption.text())
    else:
        shown.setPlainText(caption.text())
        assert caption.textFormat() is Qt.TextFormat.PlainText
    assert "<b>H01</b>" in shown.toPlainText()
