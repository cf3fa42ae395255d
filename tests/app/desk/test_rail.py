"""The rail and what stands beside it, by clicks, drags and keys."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import QLabel, QToolButton

from pulsewright.session import Session
from pulsewright_analysis.results import MissedTrigger
from pulsewright_app.desk.places import Places
from pulsewright_app.desk.rail import Rail
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK, LIGHT

Settle = Callable[[DeskWindow], None]


def rail_of(desk: DeskWindow) -> Rail:
    rail = desk.findChild(Rail)
    assert isinstance(rail, Rail)
    return rail


def spot(rail: Rail, record: int) -> QPoint:
    return QPoint(round(rail.x_of(record)), rail.height() // 2)


def caption(desk: DeskWindow) -> str:
    return next(c.text() for c in desk.middle.view.findChildren(QLabel) if c.text().startswith("Record "))


def count_colour(image: QImage, colour: str, left: int, right: int) -> int:
    wanted = QColor(colour).rgb()
    return sum(image.pixel(x, y) == wanted for x in range(left, right) for y in range(image.height()))


def miss_after(desk: DeskWindow, record: int, count: int) -> None:
    """Say that triggers are missing after a record, as a measuring would."""
    findings = desk.results.findings
    assert findings is not None
    sequence = replace(findings.sequence, missed=(MissedTrigger(record, count, ("time",)),))
    desk.results.finish(desk.results.generation, replace(findings, sequence=sequence))


def test_numbers_stand_beside_the_current_one_where_there_is_room(desk: DeskWindow, settle: Settle) -> None:
    """By construction: 26 px a record, where every second number is shown, and one of a single digit is 8 px wide."""
    desk.viewing.go_to(5)
    settle(desk)
    rail = rail_of(desk)
    rail.resize(340, rail.height())
    image = rail.grab().toImage()
    for record in (4, 5, 6):
        x = round(rail.x_of(record))
        below = image.copy(x - 6, image.height() * 2 // 3, 12, image.height() // 3)
        darkest = min(below.pixelColor(i, j).lightness() for i in range(below.width()) for j in range(below.height()))
        assert darkest < 0.7 * QColor(LIGHT.page).lightness(), record


def test_a_click_goes_to_the_record(desk: DeskWindow, settle: Settle, qtbot: Any) -> None:
    rail = rail_of(desk)
    qtbot.mouseClick(rail, Qt.MouseButton.LeftButton, pos=spot(rail, 7))
    settle(desk)
    assert caption(desk).startswith("Record 7 ")


def test_a_drag_walks_along(desk: DeskWindow, qtbot: Any) -> None:
    rail, seen = rail_of(desk), []
    desk.viewing.record_changed.connect(seen.append)
    qtbot.mousePress(rail, Qt.MouseButton.LeftButton, pos=spot(rail, 2))
    for record in (3, 4, 5):
        qtbot.mouseMove(rail, spot(rail, record))
    qtbot.mouseRelease(rail, Qt.MouseButton.LeftButton, pos=spot(rail, 5))
    qtbot.mouseMove(rail, spot(rail, 9))
    assert seen == [2, 3, 4, 5]


def test_every_place_answers_to_its_own_record(desk: DeskWindow, qtbot: Any) -> None:
    miss_after(desk, 4, 2)
    rail = rail_of(desk)
    for record in range(desk.viewing.records):
        qtbot.mouseClick(rail, Qt.MouseButton.LeftButton, pos=spot(rail, record))
        assert desk.viewing.record == record


def test_missed_triggers_are_a_gap_that_says_how_many(desk: DeskWindow, settle: Settle) -> None:
    rail = rail_of(desk)
    together = rail.x_of(5) - rail.x_of(4)
    miss_after(desk, 4, 2)
    settle(desk)
    pitch = rail.x_of(1) - rail.x_of(0)
    assert rail.x_of(5) - rail.x_of(4) == pytest.approx(3 * pitch)
    assert pitch < together
    assert rail.text_at((rail.x_of(4) + rail.x_of(5)) / 2) == "2 missed triggers after record 4"
    image = rail.grab().toImage()
    assert count_colour(image, LIGHT.missed, round(rail.x_of(4) + pitch / 2), round(rail.x_of(5) - pitch / 2)) > 20


def test_clipped_and_flagged_records_have_a_tick(desk: DeskWindow) -> None:
    rail = rail_of(desk)
    image = rail.grab().toImage()
    around = [(round(rail.x_of(r)) - 4, round(rail.x_of(r)) + 5) for r in (7, 9)]
    assert count_colour(image, LIGHT.clipped, *around[0]) > 10
    assert count_colour(image, LIGHT.clipped, *around[1]) == 0
    assert rail.text_at(rail.x_of(7)) == "Record 7, clipped on H02"
    desk.document.flag(9)
    assert count_colour(rail.grab().toImage(), LIGHT.flagged, *around[1]) > 10
    assert "flagged" in rail.text_at(rail.x_of(9))


@pytest.mark.parametrize(
    ("key", "record"),
    [
        (Qt.Key.Key_PageDown, 6),
        (Qt.Key.Key_PageUp, 4),
        (Qt.Key.Key_Home, 0),
        (Qt.Key.Key_End, 11),
        (Qt.Key.Key_Right, 5),
        (Qt.Key.Key_Left, 5),
        (Qt.Key.Key_Up, 5),
    ],
)
def test_keys_step_and_arrows_do_not(desk: DeskWindow, qtbot: Any, key: Qt.Key, record: int) -> None:
    desk.viewing.go_to(5)
    qtbot.keyClick(desk.middle.view.canvas, key)
    assert desk.viewing.record == record


def test_keys_step_from_the_rail_after_a_click_on_a_button(desk: DeskWindow, qtbot: Any) -> None:
    button = next(b for b in desk.findChildren(QToolButton) if b.text() == "Forward")
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert desk.viewing.record == 1
    qtbot.keyClick(desk.focusWidget(), Qt.Key.Key_PageDown)
    assert desk.viewing.record == 2


def test_space_plays_and_stops(desk: DeskWindow, qtbot: Any) -> None:
    desk.viewing.set_pace(50.0)
    qtbot.keyClick(desk.middle.view.canvas, Qt.Key.Key_Space)
    button = next(b for b in desk.findChildren(QToolButton) if b.text() == "Pause")
    qtbot.waitUntil(lambda: desk.viewing.record >= 3, timeout=10_000)
    qtbot.keyClick(desk.middle.view.canvas, Qt.Key.Key_Space)
    assert button.text() == "Play"
    stopped = desk.viewing.record
    qtbot.wait(120)
    assert desk.viewing.record == stopped


def test_it_is_played_round_at_the_pace_that_was_chosen(desk: DeskWindow, settle: Settle, qtbot: Any) -> None:
    row, canvas = desk.middle.rail_row, desk.middle.view.canvas
    qtbot.keyClick(canvas, Qt.Key.Key_L, Qt.KeyboardModifier.ControlModifier)
    assert row.loop.isChecked()
    row.pace.setFocus()
    for _ in range(row.pace.count()):
        qtbot.keyClick(row.pace, Qt.Key.Key_Down)
    assert row.pace.currentText() == "50 / s"
    canvas.setFocus()
    for name, record in (("Last", 11), ("Back", 10), ("First", 0), ("Last", 11)):
        button = next(b for b in row.findChildren(QToolButton) if b.text() == name)
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
        settle(desk)
        assert caption(desk).startswith(f"Record {record} ")
    seen: list[int] = []
    desk.viewing.record_changed.connect(seen.append)
    qtbot.keyClick(canvas, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: len(seen) >= 3, timeout=10_000)
    assert seen[:3] == [0, 1, 2]
    assert row._timer.interval() == 20
    qtbot.keyClick(canvas, Qt.Key.Key_Space)
    qtbot.keyClick(canvas, Qt.Key.Key_L, Qt.KeyboardModifier.ControlModifier)
    assert not row.loop.isChecked()


def test_what_stands_on_the_rail_is_told_under_the_pointer(desk: DeskWindow, qtbot: Any) -> None:
    miss_after(desk, 4, 2)
    rail = rail_of(desk)
    between = QPoint(round((rail.x_of(4) + rail.x_of(5)) / 2), rail.height() // 2)
    for where, told in ((spot(rail, 7), "Record 7, clipped on H02"), (between, "2 missed triggers after record 4")):
        qtbot.mouseMove(rail, where)
        assert desk.middle.pointer.text() == told


def test_a_typed_number_goes_there(desk: DeskWindow, settle: Settle, qtbot: Any) -> None:
    number = desk.middle.rail_row.number
    number.setFocus()
    number.selectAll()
    qtbot.keyClicks(number, "10")
    qtbot.keyClick(number, Qt.Key.Key_Return)
    settle(desk)
    assert caption(desk).startswith("Record 10 ")


def test_a_number_outside_the_session_changes_nothing_and_is_answered(desk: DeskWindow, qtbot: Any) -> None:
    desk.viewing.go_to(3)
    number = desk.middle.rail_row.number
    number.setFocus()
    number.selectAll()
    qtbot.keyClicks(number, "99")
    qtbot.keyClick(number, Qt.Key.Key_Return)
    assert desk.viewing.record == 3
    assert number.text() == "99"  # left to be mended
    assert desk.message_bar.label.text() == "There is no record 99; the records are 0 to 11."


def test_many_records_still_fit(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], qtbot: Any
) -> None:
    desk = make_window(walking_session(records=400))
    rail = rail_of(desk)
    qtbot.mouseClick(rail, Qt.MouseButton.LeftButton, pos=QPoint(rail.width() - 2, rail.height() // 2))
    assert desk.viewing.record == 399


def test_thousands_of_flags_are_drawn_where_they_are(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], settle: Settle
) -> None:
    """The first half of the records is flagged: flags stand above it, and none above the rest."""
    desk = make_window(walking_session(records=3000))
    rail = rail_of(desk)
    desk.document.flag_many(range(1500))
    settle(desk)
    image, half = rail.grab().toImage(), round(rail.x_of(1500))
    beside = 12  # a flag is so wide
    assert count_colour(image, LIGHT.flagged, 0, half) > 5 * half
    assert count_colour(image, LIGHT.flagged, half + beside, image.width()) == 0
    desk.document.undo()
    settle(desk)
    assert count_colour(rail.grab().toImage(), LIGHT.flagged, 0, image.width()) == 0


def test_many_gaps_are_drawn_once_a_pixel_and_their_counts_are_told_together() -> None:
    places = Places(100_000, [MissedTrigger(record, 2, ("time",)) for record in range(0, 99_999, 10)])
    pitch = 1500 / places.total
    told = places.missed_told(pitch, 40.0)
    assert sum(missed for _, missed in told) == 2 * len(places.gaps)
    assert all((after - before) * pitch >= 40.0 for before, after in pairwise(place for place, _ in told))
    drawn = places.gaps_drawn(14.0, pitch, 2.0)
    assert len(drawn) <= 1501
    first, last = places.gaps[0], places.gaps[-1]
    assert drawn[0][0] == 14.0 + first.first * pitch and round(drawn[-1][0]) == round(14.0 + last.first * pitch)
    for gap in (first, places.gaps[4321], last):
        assert places.gap_at(gap.first) == places.gap_at(gap.first + 1) == gap
        assert places.gap_at(gap.first - 1) is None and places.gap_at(gap.first + 2) is None
    few = Places(12, [MissedTrigger(3, 2, ("time",)), MissedTrigger(7, 1, ("time",))])
    assert few.missed_told(40.0, 40.0) == [(5.0, 2), (10.5, 1)]
    assert len(few.gaps_drawn(0.0, 40.0, 2.0)) == 2


def test_a_step_moves_the_handle_and_draws_no_sign_anew(
    desk: DeskWindow, qtbot: Any, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pulsewright_app.desk import rail as rail_module

    drawn: list[float] = []
    draw_flag = rail_module.draw_flag

    def watched(painter: Any, x: float, top: float) -> None:
        drawn.append(x)
        draw_flag(painter, x, top)

    monkeypatch.setattr(rail_module, "draw_flag", watched)
    rail = rail_of(desk)
    desk.document.flag(5)
    settle(desk)
    assert drawn == [rail.x_of(5)]
    before = rail.grab().toImage()
    qtbot.keyClick(desk.middle.view.canvas, Qt.Key.Key_PageDown)
    settle(desk)
    assert drawn == [rail.x_of(5)]
    assert rail.grab().toImage() != before, "the handle did not move"
    desk.document.flag(7)
    settle(desk)
    assert drawn[1:] == [rail.x_of(5), rail.x_of(7)]
    desk.viewing.set_dark(True)
    settle(desk)
    assert count_colour(rail.grab().toImage(), DARK.flagged, 0, rail.width()) > 0
