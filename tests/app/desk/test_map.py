"""Map by clicks, keys and the pointer; what is asserted is what is shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright.session import Session
from pulsewright_analysis.results import MissedTrigger
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK, LIGHT

from .gestures import LEFT, Settle, at, canvas_of, colours_of, labelled, picture, pixels, point, pulse_of

CAPTION = "What the Map view shows"


@pytest.fixture
def mapped(desk: DeskWindow, settle: Settle) -> DeskWindow:
    desk.viewing.set_view("map")
    settle(desk)
    return desk


def test_record_time_and_value_are_read_under_the_pointer(mapped: DeskWindow, qtbot: Any) -> None:
    """Record 2 has its positive pulse of 0.9 V at 46 µs."""
    point(qtbot, mapped, at(mapped, 46e-6, -2.5))
    shown = labelled(mapped, "Under the pointer")
    assert shown.startswith("t = 4")
    told, found = shown.split("record 2    H01: ")[1].split("    ")
    assert float(told.split(" mV")[0]) == pytest.approx(900, abs=40)  # a pixel is a quarter of a microsecond
    assert float(found.removeprefix("pulse at ").split(" ")[0]) == pytest.approx(46, abs=0.02)


def test_a_click_beside_a_gap_goes_to_the_nearest_record(mapped: DeskWindow, qtbot: Any, settle: Settle) -> None:
    findings = mapped.results.findings
    assert findings is not None
    missed = (MissedTrigger(3, 40, ("time",)),)
    mapped.results.finish(
        mapped.results.generation, replace(findings, sequence=replace(findings.sequence, missed=missed))
    )
    settle(mapped)
    assert "40 missed triggers" in labelled(mapped, CAPTION)
    qtbot.mouseClick(canvas_of(mapped).viewport(), LEFT, pos=at(mapped, 100e-6, -4.2))
    assert mapped.viewing.record == 3
    qtbot.mouseClick(canvas_of(mapped).viewport(), LEFT, pos=at(mapped, 100e-6, -7.4))
    assert mapped.viewing.record == 4


def test_zooming_the_values_changes_the_ink_alone(mapped: DeskWindow, settle: Settle) -> None:
    assert "100 mV" not in labelled(mapped, CAPTION)
    mapped.viewing.zoom(None, (-0.1, 0.1))
    settle(mapped)
    assert "100 mV" in labelled(mapped, CAPTION)
    assert pixels(picture(mapped), LIGHT.positive)  # all beyond 0.1 V now has the full ink
    assert pixels(picture(mapped), LIGHT.negative)


def test_it_follows_the_theme_and_the_channel(mapped: DeskWindow, settle: Settle) -> None:
    mapped.viewing.set_dark(True)
    mapped.viewing.set_channel(2)
    settle(mapped)
    assert labelled(mapped, CAPTION).startswith("H03")
    assert len(pixels(picture(mapped), DARK.positive)) > 5


def test_a_record_left_out_is_veiled_and_says_why(mapped: DeskWindow, qtbot: Any, settle: Settle) -> None:
    mapped.viewing.zoom(None, (-0.1, 0.1))  # full ink for every pulse
    settle(mapped)
    full = pixels(picture(mapped), LIGHT.positive)
    mapped.document.leave_out(2, "someone knocked at the tank")
    settle(mapped)
    canvas = canvas_of(mapped)
    rows = range(round(canvas.y_of(-2.0)) + 2, round(canvas.y_of(-3.0)) - 1)
    veiled = {y for _, y in pixels(picture(mapped), LIGHT.positive)}
    assert any(y in rows for _, y in full)
    assert not any(y in rows for y in veiled)
    assert "1 record left out" in labelled(mapped, CAPTION)
    point(qtbot, mapped, at(mapped, 100e-6, -2.4))
    assert "left out: someone knocked at the tank" in labelled(mapped, "Under the pointer")


def test_numbers_of_older_settings_are_said_to_be_old(mapped: DeskWindow, settle: Settle) -> None:
    assert "out of date" not in labelled(mapped, CAPTION)
    mapped.results.mark_out_of_date()
    settle(mapped)
    assert "pulses and gaps out of date" in labelled(mapped, CAPTION)


def test_a_partial_map_says_so(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Any], settle: Settle, monkeypatch: Any
) -> None:
    from pulsewright_app import map_rows
    from pulsewright_app.desk.views import picture_view

    monkeypatch.setattr(map_rows, "BLOCK_BYTES", 1)  # a record a block
    monkeypatch.setattr(picture_view, "PARTS_EVERY", 0.0)
    desk = make_window(walking_session(records=40))
    desk.viewing.set_view("map")
    view = desk.middle.view
    said: list[str] = []
    shown = view._show_picture  # type: ignore[attr-defined]

    def listening() -> None:
        shown()
        said.append(view.caption.text())

    monkeypatch.setattr(view, "_show_picture", listening)
    settle(desk)
    assert any("of 40 records so far" in text for text in said)
    assert "so far" not in said[-1]


def test_the_number_of_the_first_of_many_rows_is_whole(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], settle: Settle
) -> None:
    """Its letters are as high as those of a row in the middle, by the pixels of the axis."""
    desk = make_window(walking_session(records=400))
    desk.viewing.set_view("map")

    def height(record: int) -> int:
        desk.viewing.go_to(record)
        settle(desk)
        canvas = canvas_of(desk)
        axis = colours_of(canvas.grab().toImage())[:, : round(canvas.plot_rect().left()) - 4]
        dark = np.flatnonzero((axis.max(axis=2) < 100).any(axis=1))  # the current row's number alone is so dark
        return int(dark.max() - dark.min()) + 1

    assert height(0) == height(200) == height(399)


def test_very_many_pulses_are_marked_once_a_pixel_each_where_it_is(
    mapped: DeskWindow, settle: Settle, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pulsewright_app.desk.views import map as map_view

    x, y = np.array([3.2, 3.4, 3.6, -2.0, 3.3]), np.array([7.0, 7.3, 7.1, 7.0, 8.0])
    assert sorted(map_view._once_a_pixel(x, y)) == [(-2.0, 7.0), (3.2, 7.0), (3.3, 8.0), (3.6, 7.1)]
    monkeypatch.setattr(map_view, "_MOST_ROUND", 0)
    mapped.viewing.set_channel(0)
    settle(mapped)
    marked = pixels(picture(mapped), LIGHT.pulse)
    canvas = canvas_of(mapped)
    for record in range(12):
        time, _ = pulse_of(mapped, record, 0)
        spot = round(canvas.x_of(time)), round(canvas.y_of(-record - 0.5))
        assert spot in marked, record
