"""The views of many records: Stacked, Afterglow and Map."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QComboBox

from pulsewright_analysis.results import MissedTrigger
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, at, canvas_of, labelled, picture, pixels, point


def test_stacked_shows_neighbours_and_a_click_goes_there(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_neighbours(5)
    desk.viewing.go_to(6)
    desk.viewing.set_view("stacked")
    settle(desk)
    assert "records 4 to 8, record 6 strong" in labelled(desk, "What the Stacked view shows")
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
    inks = next(b for b in desk.middle.view.findChildren(QComboBox) if b.accessibleName().startswith("Ink"))
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
    assert "record 9 of 0 … 11 outlined" in labelled(desk, "What the Map view shows")


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
