"""Pulses with no position, modules out of step, repeated records and records out of place: all can be seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QLabel

from pulsewright_analysis.results import Findings, Slip
from pulsewright_app.desk.rail import Rail
from pulsewright_app.desk.views.found import found_pulses
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample
from pulsewright_app.theme import LIGHT

from .gestures import Settle, at, canvas_of, colours_of, labelled, picture, pixels, point

RECORD, CHANNEL = 4, 1


def findings_of(desk: DeskWindow) -> Findings:
    assert desk.results.findings is not None
    return desk.results.findings


def lose_positions(desk: DeskWindow, settle: Settle) -> float:
    """Take the positions and amplitudes of a channel's pulses away, as noise does; return where one was, seconds."""
    findings = findings_of(desk)
    pulses = findings.pulses
    on = pulses.channel == CHANNEL
    assert on.any()
    where = float(pulses.time[pulses.where(RECORD, CHANNEL)[0]])
    times = {name: np.where(on, np.nan, values) for name, values in pulses.times.items()}
    lost = replace(pulses, times=times, amplitude=np.where(on, np.nan, pulses.amplitude))
    desk.results.finish(desk.results.generation, replace(findings, pulses=lost))
    desk.viewing.set_channel(CHANNEL)
    desk.viewing.go_to(RECORD)
    settle(desk)
    return where


def near(desk: DeskWindow, time: float, colour: str, reach: int = 9) -> int:
    """How many pixels of this colour lie within `reach` columns of a time."""
    x = canvas_of(desk).x_of(time)
    return sum(abs(column - x) <= reach for column, _ in pixels(picture(desk), colour))


def drawn(desk: DeskWindow, time: float, colour: str, reach: int = 9) -> int:
    """How many pixels within `reach` columns of a time are mostly of this colour: thin lines are drawn smoothly."""
    x = round(canvas_of(desk).x_of(time))
    around = colours_of(picture(desk))[:, x - reach : x + reach + 1]
    return int(np.sum(np.abs(around - QColor(colour).getRgb()[:3]).max(axis=2) < 40))


@pytest.mark.parametrize("view", ["single", "stacked", "map"])
def test_a_pulse_with_no_position_is_drawn_hollow_where_it_is(
    desk: DeskWindow, qtbot: Any, settle: Settle, view: str
) -> None:
    desk.viewing.set_view(view)
    desk.viewing.show_only(CHANNEL)
    desk.viewing.go_to(RECORD)
    settle(desk)
    where = float(findings_of(desk).pulses.time[findings_of(desk).pulses.where(RECORD, CHANNEL)[0]])
    before = desk.middle.view.caption.text()
    assert near(desk, where, LIGHT.pulse) > 0
    lose_positions(desk, settle)
    assert near(desk, where, LIGHT.pulse) == 0
    assert drawn(desk, where, LIGHT.muted) > 0
    assert "with no position" in desk.middle.view.caption.text()
    assert desk.middle.view.caption.text() != before


def test_the_pointer_says_whether_a_pulse_has_a_position(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.show_only(CHANNEL)
    desk.viewing.go_to(RECORD)
    settle(desk)
    pulses = findings_of(desk).pulses
    where = float(pulses.time[pulses.where(RECORD, CHANNEL)[0]])
    point(qtbot, desk, at(desk, where))
    assert "pulse at " in labelled(desk, "Under the pointer")
    lose_positions(desk, settle)
    point(qtbot, desk, at(desk, where))
    assert "pulse, no position (too noisy)" in labelled(desk, "Under the pointer")
    point(qtbot, desk, at(desk, where + 30e-6))
    assert "pulse" not in labelled(desk, "Under the pointer")


def test_the_clipped_and_the_noisy_pulses_of_the_sample_are_marked(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path
) -> None:
    desk = make_window(faults)
    desk.viewing.go_to(14)
    settle(desk)
    assert "2 pulses with no position" in desk.middle.view.caption.text()  # H02 is clipped there, H05 noisy


# -- out of step --------------------------------------------------------------------------------------------------


def rail_text(desk: DeskWindow, record: int) -> str:
    rail = desk.findChild(Rail)
    assert isinstance(rail, Rail)
    return rail.text_at(rail.x_of(record))


def rail_ink(desk: DeskWindow, record: int) -> int:
    """How many pixels over a record's place on the rail are of the warning colour."""
    rail = desk.findChild(Rail)
    assert isinstance(rail, Rail)
    image, x, wanted = rail.grab().toImage(), rail.x_of(record), QColor(LIGHT.missed).rgb()
    return sum(image.pixel(round(x) + dx, y) == wanted for dx in range(-5, 6) for y in range(image.height()))


def test_the_slip_of_the_sample_is_seen_on_the_rail_and_in_map(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle
) -> None:
    desk = make_window(sample("tank_slip.h5"))
    (slip,) = findings_of(desk).sequence.slips
    assert f"M3 slips: 1 trigger ahead from record {slip.from_record} on" in rail_text(desk, slip.from_record)
    assert "M3 out of step" in rail_text(desk, slip.from_record + 3)
    assert "out of step" not in rail_text(desk, slip.from_record - 1)
    desk.viewing.set_view("map")
    desk.viewing.set_channel(8)
    settle(desk)
    assert "M3 out of step in 18 records" in desk.middle.view.caption.text()
    red = pixels(picture(desk), LIGHT.missed)
    right = max(x for x, _ in red)
    stripe = sorted(y for x, y in red if x == right - 4)
    canvas = canvas_of(desk)
    assert stripe[0] >= canvas.y_of(-float(slip.from_record)) - 12  # with the word above the line
    assert stripe[-1] == pytest.approx(canvas.y_of(-36.0), abs=3)
    point(qtbot, desk, QPoint(round(canvas.x_of(100e-6)), round(canvas.y_of(-25.5))))
    assert "record 25" in labelled(desk, "Under the pointer")
    assert "M3 out of step" in labelled(desk, "Under the pointer")


def test_repeated_and_out_of_place_records_have_a_tick_that_says_so(desk: DeskWindow, settle: Settle) -> None:
    assert rail_ink(desk, 5) == rail_ink(desk, 9) == 0
    findings = findings_of(desk)
    sequence = replace(findings.sequence, repeated=((4, 5),), out_of_place=(9,))
    desk.results.finish(desk.results.generation, replace(findings, sequence=sequence))
    settle(desk)
    assert rail_text(desk, 5) == "Record 5, same samples as record 4"
    assert rail_text(desk, 9) == "Record 9, its pulse is out of place"
    assert rail_ink(desk, 5) > 0
    assert rail_ink(desk, 9) > 0


def test_two_slips_at_one_record_are_both_told(desk: DeskWindow, settle: Settle) -> None:
    findings = findings_of(desk)
    sequence = replace(findings.sequence, slips=(Slip("M1", 6, 1), Slip("M2", 6, 2)))
    desk.results.finish(desk.results.generation, replace(findings, sequence=sequence))
    assert "M1 slips: 1 trigger ahead" in rail_text(desk, 6)
    assert "M2 slips: 2 triggers ahead" in rail_text(desk, 6)


def test_numbers_are_out_of_date_from_leaving_a_record_out_until_the_new_ones_are_there(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    def said() -> list[str]:
        return [label.text() for label in desk.findChildren(QLabel) if label.isVisible()]

    desk.document.leave_out(3, "bubble in front of H02")
    assert any(text.startswith("Out of date: the numbers below") for text in said())
    assert any("measured columns are out of date" in text for text in said())
    before = findings_of(desk)
    settle(desk)
    assert findings_of(desk) is not before
    assert findings_of(desk).settings.left_out == (3,)
    assert not any("out of date" in text.casefold() for text in said())


def test_the_pulses_of_some_records_are_those_that_looking_at_each_one_finds(desk: DeskWindow) -> None:
    """By comparing the record and the channel of every pulse, one by one."""
    findings, session = findings_of(desk), desk.document.session
    assert session is not None
    pulses = findings.pulses
    none = np.zeros(0, dtype=np.int64)
    for records, channels in ((3, (0, 2)), (np.array([9, 2, 5]), (1,)), (None, (2,)), (11, ()), (none, (0,))):
        wanted = {records} if isinstance(records, int) else set(range(12)) if records is None else set(records.tolist())
        found = [i for i in range(len(pulses)) if pulses.record[i] in wanted and pulses.channel[i] in channels]
        assert found_pulses(session, findings, records, channels).index.tolist() == found
    assert pulses.where(4, 1).tolist() == [
        i for i in range(len(pulses)) if (pulses.record[i], pulses.channel[i]) == (4, 1)
    ]
    assert pulses.where().tolist() == list(range(len(pulses)))


def test_the_signs_of_the_first_lane_are_seen_whole_beside_the_span(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path
) -> None:
    """What says where pulses are looked for must not lie over the pulses of the first channel, the usual reference."""
    desk = make_window(faults)
    desk.resize(1366, 768)
    for record in (0, 5, 10):
        desk.viewing.go_to(record)
        settle(desk)
        time = float(findings_of(desk).pulses.time[findings_of(desk).pulses.where(record, 0)[0]])
        canvas, lanes = canvas_of(desk), len(desk.viewing.visible_channels)
        x, edges = canvas.x_of(time), [canvas.y_of(lanes - 0.5 - lane) for lane in range(4)]
        signs = [place for place in pixels(picture(desk), LIGHT.pulse) if abs(place[0] - x) <= 6]
        whole = [sum(top < y < bottom for _, y in signs) for top, bottom in pairwise(edges)]
        assert min(whole) > 15 and max(whole) - min(whole) < 12, (record, whole)
