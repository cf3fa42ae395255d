"""Afterglow by clicks and keys: which records, alignment, fade, mean, passing records; what is asserted is shown."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QCheckBox, QComboBox, QListWidget, QWidget

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, at, button, canvas_of, colours_of, labelled, picture, pixels, point

CAPTION = "What the Afterglow view shows"


@pytest.fixture
def glowing(desk: DeskWindow, settle: Settle) -> DeskWindow:
    """The walking session in Afterglow: records 0 to 7 at 40 µs and 3 µs on each, 8 to 11 again from 40 µs."""
    desk.viewing.set_view("afterglow")
    settle(desk)
    return desk


def control(desk: DeskWindow, kind: type[QWidget], name: str) -> Any:
    return next(w for w in desk.middle.view.findChildren(kind) if w.accessibleName() == name)


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


def test_a_spot_lists_its_records_and_steps_through_just_them(glowing: DeskWindow, qtbot: Any, settle: Settle) -> None:
    qtbot.mouseClick(canvas_of(glowing).viewport(), LEFT, pos=at(glowing, *FLANK))
    settle(glowing)
    assert labelled(glowing, "Passing records of the spot").startswith("2 records within a pixel of")
    listed = control(glowing, QListWidget, "Passing records")
    assert [listed.item(row).text() for row in range(listed.count())] == ["+ 0", "+ 8"]
    qtbot.mouseClick(listed.viewport(), LEFT, pos=listed.visualItemRect(listed.item(1)).center())
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
    assert not control(glowing, QListWidget, "Passing records").isVisible()
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
    from pulsewright_app import glow
    from pulsewright_app.desk.views import afterglow

    monkeypatch.setattr(glow, "BLOCK_BYTES", 1)  # a record a block
    monkeypatch.setattr(afterglow, "_PARTIAL_EVERY", 0.0)
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
