"""The reference beneath the current record and their difference, by controls and keys; what is asserted is shown."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QComboBox, QPushButton, QSpinBox

from pulsewright.session import Channel, Session
from pulsewright_app.desk.references import Beneath, difference
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import (
    LEFT,
    Settle,
    at,
    canvas_of,
    colours_of,
    inked,
    labelled,
    picture,
    pixels,
    point,
    press,
    pulse_of,
    spots,
)


def named(desk: DeskWindow, kind: type[Any], name: str) -> Any:
    return next(w for w in desk.findChildren(kind) if w.accessibleName() == name)


def choose(desk: DeskWindow, qtbot: Any, name: str, text: str) -> None:
    """Choose an entry of a box by the keyboard, as a person without a mouse does."""
    box = named(desk, QComboBox, name)
    assert box.isVisible()
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Home)
    for _ in range(box.findText(text)):
        qtbot.keyClick(box, Qt.Key.Key_Down)
    assert box.currentText() == text


REFERENCE = "Reference beneath the current record"
DIFFERENCE = "Difference between the current record and the reference"
TIMES = "How many times larger than the trace the difference is drawn"


def quiet(desk: DeskWindow, settle: Settle) -> set[tuple[int, int]]:
    """The pixels of the lowest lane that look otherwise where the current record lies upon itself: the reference's."""
    reference, canvas = desk.viewing.reference, canvas_of(desk)
    of, shown = reference.record, colours_of(picture(desk))
    reference.take_current()
    settle(desk)
    otherwise = np.abs(shown - colours_of(picture(desk))).max(axis=2) > 40
    reference.take_record(of)
    settle(desk)
    return {(x, y) for x, y in spots(otherwise) if canvas.y_of(0.5) < y < canvas.plot_rect().bottom()}


def caption(desk: DeskWindow) -> str:
    return labelled(desk, "What the Single view shows")


def beneath(desk: DeskWindow) -> str:
    return labelled(desk, "What lies beneath")


def three_steps(records: int = 9, length: int = 600) -> Session:
    """A flat level of 1000·(record + 1) codes a record on two channels, 1 mV a code; invented."""
    levels = np.arange(1, records + 1) * 1000
    codes = np.broadcast_to(levels[:, None, None], (records, 2, length)).astype(np.int16)
    channels = [Channel(f"H{c + 1:02d}", "M1", scale=1e-3) for c in range(2)]
    return Session.from_samples(codes, channels, 1e6, 100, trigger_offset=np.zeros(records))


# -- what a difference is ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("shift", [0.0, 3.0, -4.0, 2.25, -0.75])
def test_the_difference_of_two_samplings_of_a_line_is_their_distance(shift: float) -> None:
    """Algebra: on a straight line, what lies between two samples is on the line, wherever the samples fall."""
    interval, start = 1e-6, -20e-6
    time = start + np.arange(50) * interval
    other_start = start + shift * interval
    other = 7.0 + 3e5 * (other_start + np.arange(50) * interval)
    first, values = difference(3e5 * time, start, Beneath(other, other_start), interval, 0, 50)
    np.testing.assert_allclose(values, -7.0, atol=1e-9)
    reached = time[(time >= other_start - 1e-12) & (time <= other_start + 49 * interval + 1e-12)]
    assert len(values) == len(reached)
    assert time[first] == pytest.approx(reached[0])


def test_a_difference_where_the_reference_does_not_reach_is_empty() -> None:
    _, values = difference(np.ones(10), 0.0, Beneath(np.ones(10), 1.0), 1e-6, 0, 10)
    assert not len(values)


def test_whole_codes_do_not_wrap_around() -> None:
    low, high = np.full(4, -30000, np.int16), np.full(4, 30000, np.int16)
    _, values = difference(low, 0.0, Beneath(high, 0.0), 1e-6, 0, 4)
    assert values.tolist() == [-60000.0] * 4


# -- on the desk ------------------------------------------------------------------------------------------------


def test_this_record_lies_beneath_the_others(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """The quiet trace peaks where the reference's own pulse is, whatever record is looked at."""
    assert not beneath(desk)
    press(desk, qtbot, "R")
    settle(desk)
    assert not quiet(desk, settle)  # record 0 lies upon itself
    time, _ = pulse_of(desk, 0, 2)
    for record in (2, 4):  # its pulse stays where it was
        desk.viewing.go_to(record)
        settle(desk)
        highest = min((y, x) for x, y in quiet(desk, settle))
        assert abs(highest[1] - canvas_of(desk).x_of(time)) <= 2
        assert caption(desk).startswith(f"Record {record} ")
        assert beneath(desk) == "record 0"
    press(desk, qtbot, "Alt+Shift+R")
    settle(desk)
    assert not named(desk, QComboBox, DIFFERENCE).isVisible()
    assert not beneath(desk)


def test_a_reference_is_chosen_by_its_number(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    choose(desk, qtbot, REFERENCE, "A record beneath")
    number = named(desk, QSpinBox, "Number of the reference record")
    number.setFocus()
    number.selectAll()
    qtbot.keyClicks(number, "6")
    qtbot.keyClick(number, Qt.Key.Key_Return)
    settle(desk)
    assert beneath(desk) == "record 6"
    desk.viewing.go_to(3)
    qtbot.mouseClick(named(desk, QPushButton, "Take the current record as the reference"), LEFT)
    settle(desk)
    assert beneath(desk) == "record 3"
    assert number.value() == 3


def test_the_mean_is_over_the_records_that_take_part(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle
) -> None:
    """Levels of 1 V to 9 V: their mean is 5 V; without the last, 4.5 V (algebra). Record 0 is at 1 V."""
    desk = make_window(three_steps())
    choose(desk, qtbot, REFERENCE, "The mean beneath")
    settle(desk)
    assert beneath(desk) == "mean of 9 records"
    point(qtbot, desk, at(desk, 200e-6, 1.0))
    assert labelled(desk, "Under the pointer").endswith("less the reference: −4 V")
    desk.document.leave_out(8, "a check")
    settle(desk)
    assert beneath(desk) == "mean of 8 records"
    point(qtbot, desk, at(desk, 200e-6, 1.0))
    assert labelled(desk, "Under the pointer").endswith("less the reference: −3.5 V")


def test_the_difference_has_a_stretch_below_the_trace(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle
) -> None:
    """Flat records 1 V apart: the difference of record 3 and record 1 is a flat 2 V, read where it is drawn."""
    desk = make_window(three_steps())
    desk.viewing.go_to(1)
    press(desk, qtbot, "R")
    desk.viewing.go_to(3)
    press(desk, qtbot, "D")
    settle(desk)
    assert beneath(desk) == "record 1; difference below each trace"
    rows = sorted({y for _, y in inked(desk, LIGHT.channel(1))})
    canvas = canvas_of(desk)
    lower = [y for y in rows if y > canvas.y_of(-0.12)]
    assert lower
    point(qtbot, desk, QPoint(at(desk, 200e-6).x(), lower[len(lower) // 2]))
    shown = labelled(desk, "Under the pointer").split("difference = ")[1]
    assert float(shown.split()[0]) == pytest.approx(2.0, abs=0.1)  # a pixel is some 50 mV
    assert shown.split()[1] == "V"
    assert "less the reference: 2 V" in shown


def test_a_difference_can_be_drawn_larger(make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle) -> None:
    """Five times as large, the line of the difference lies five times as far from its 0."""
    desk = make_window(three_steps())
    desk.viewing.go_to(1)
    press(desk, qtbot, "R")
    desk.viewing.go_to(0)  # 1 V below its reference
    choose(desk, qtbot, DIFFERENCE, "Difference in place")
    settle(desk)
    canvas = canvas_of(desk)
    away = []
    for times in ("× 1", "× 2"):
        choose(desk, qtbot, TIMES, times)
        settle(desk)
        rows = [y for _, y in inked(desk, LIGHT.channel(1))]
        away.append(np.mean(rows) + 0.5 - canvas.y_of(0.0))
    assert away[0] > 10
    assert away[1] / away[0] == pytest.approx(2.0, abs=0.1)


def test_the_keys_go_round_the_ways_to_draw_a_difference(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    seen = []
    for _ in range(3):
        press(desk, qtbot, "D")
        settle(desk)
        seen.append(beneath(desk))
    assert seen == [
        "record 0; difference below each trace",
        "record 0; difference in place of the traces",
        "record 0",
    ]


def test_on_one_axis_the_difference_takes_the_place_of_the_traces(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle
) -> None:
    desk = make_window(three_steps())
    press(desk, qtbot, "L")
    press(desk, qtbot, "R")
    desk.viewing.go_to(4)
    press(desk, qtbot, "D")
    settle(desk)
    assert beneath(desk) == "record 0; difference in place of the traces"
    canvas = canvas_of(desk)
    rows = [y for _, y in inked(desk, LIGHT.channel(0))]
    assert canvas.height_at(float(np.mean(rows)) + 0.5) == pytest.approx(4.0, abs=0.05)


def test_undo_knows_nothing_of_a_reference(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "R")
    assert not desk.document.undo_label


def test_another_session_has_no_reference(make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle) -> None:
    desk = make_window(three_steps())
    press(desk, qtbot, "Shift+R")
    settle(desk)
    desk.document.open(three_steps(4))
    settle(desk)
    assert not beneath(desk)
    assert not named(desk, QComboBox, DIFFERENCE).isVisible()


def test_clipped_samples_stay_marked_where_the_difference_is_drawn(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    press(desk, qtbot, "R")
    desk.viewing.go_to(7)
    for _ in range(2):
        press(desk, qtbot, "D")
    settle(desk)
    rows = {y for _, y in pixels(picture(desk), LIGHT.clipped)}
    assert min(abs(y - canvas_of(desk).y_of(1.0)) for y in rows) <= 3


def test_a_reference_can_be_scripted_without_a_window() -> None:
    from pulsewright_app.desk.document import Document
    from pulsewright_app.desk.viewing import Viewing

    document = Document()
    viewing = Viewing(document)
    viewing.reference.take_current()
    assert viewing.reference.of == "none"  # there is no session to take one from
    document.open(three_steps())
    viewing.go_to(99)
    viewing.reference.take_current()
    assert (viewing.reference.of, viewing.reference.record) == ("record", 8)
    viewing.reference.take_record(-4)
    assert viewing.reference.record == 0
    document.open(three_steps())
    assert viewing.reference.of == "none"
