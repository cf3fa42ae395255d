"""The filter line below the rail, and the actions about single records and pulses, by real keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QLineEdit

from pulsewright.session import Session
from pulsewright_app.desk.panels.records import RecordsPanel
from pulsewright_app.desk.views.found import found_pulses
from pulsewright_app.desk.window import DeskWindow

from .gestures import VIEWS, Settle, canvas_of, labelled, message, point, press


def line_of(desk: DeskWindow) -> QLineEdit:
    return next(line for line in desk.findChildren(QLineEdit) if line.accessibleName() == "Filter of the records")


def count_of(desk: DeskWindow) -> str:
    return labelled(desk, "How many records match the filter")


def write(desk: DeskWindow, qtbot: Any, text: str) -> None:
    line = line_of(desk)
    line.setFocus()
    line.selectAll()
    qtbot.keyClicks(line, text)
    line.completer().popup().hide()
    qtbot.keyClick(line, Qt.Key.Key_Return)


def strike(desk: DeskWindow, qtbot: Any, keys: str) -> None:
    """Press keys with the keyboard on the plot."""
    canvas_of(desk).setFocus()
    press(desk, qtbot, keys)


def test_a_filter_is_stepped_through_until_it_is_emptied(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    settle(desk)
    write(desk, qtbot, "record 2 .. 3 or record 8")
    assert count_of(desk) == "3 of 12 match"
    seen = []
    for _ in range(3):
        strike(desk, qtbot, "PgDown")
        seen.append(desk.viewing.record)
    assert seen == [2, 3, 8]
    line_of(desk).clear()
    assert count_of(desk) == "all records"
    strike(desk, qtbot, "PgDown")
    assert desk.viewing.record == 9


def test_a_wrong_filter_is_told_with_its_place_marked_and_the_one_before_stays(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    settle(desk)
    write(desk, qtbot, "record 2 .. 3")
    write(desk, qtbot, "flagged or flaged")
    assert line_of(desk).selectedText() == "flaged"
    assert 'the nearest is "flagged"' in message(desk)
    assert count_of(desk) == "2 of 12 match"
    write(desk, qtbot, "polarity sideways")
    assert line_of(desk).selectedText() == "sideways"
    told = 'Filter, character 10: "sideways" cannot stand there; there may stand positive, negative, none.'
    assert message(desk) == told
    line_of(desk).selectAll()
    qtbot.keyClick(line_of(desk), Qt.Key.Key_Backspace)
    assert (message(desk), count_of(desk)) == ("", "all records"), "what was wrong stands there no more"


def test_words_are_offered_while_a_filter_is_written(desk: DeskWindow, qtbot: Any) -> None:
    line = line_of(desk)
    line.setFocus()
    qtbot.keyClicks(line, "not lef")
    model = line.completer().completionModel()
    assert [model.index(row, 0).data() for row in range(model.rowCount())] == ["not left out "]
    line.completer().popup().hide()


def test_an_offered_word_is_taken_by_keys_and_by_mouse(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    settle(desk)
    strike(desk, qtbot, "Ctrl+R")
    line, offers = line_of(desk), line_of(desk).completer().popup()
    qtbot.keyClicks(line, "polar")
    assert offers.isVisible()
    for key in (Qt.Key.Key_Down, Qt.Key.Key_Down, Qt.Key.Key_Return):
        qtbot.keyClick(offers, key)
    assert (line.text().strip(), count_of(desk)) == ("polarity negative", "6 of 12 match")  # it alternates
    line.clear()
    qtbot.keyClicks(line, "fla")
    first = offers.visualRect(offers.model().index(0, 0)).center()
    qtbot.mouseClick(offers.viewport(), Qt.MouseButton.LeftButton, pos=first)
    assert line.text().strip() == "flagged"
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert count_of(desk) == "0 of 12 match"


def test_the_matching_records_follow_what_a_person_flags(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    settle(desk)
    write(desk, qtbot, "flagged")
    assert count_of(desk) == "0 of 12 match"
    desk.viewing.set_only_matching(False)
    strike(desk, qtbot, "G")
    assert count_of(desk) == "1 of 12 match"
    assert (desk.document.flags, desk.viewing.record) == ({0}, 1)
    desk.document.undo()
    assert count_of(desk) == "0 of 12 match"


def test_only_those_that_match_is_a_key_and_ctrl_r_goes_to_the_line(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    settle(desk)
    write(desk, qtbot, "record 5")
    strike(desk, qtbot, "Ctrl+Shift+R")
    assert desk.viewing.matching is None
    strike(desk, qtbot, "Ctrl+R")
    assert line_of(desk).hasFocus()


def test_escape_leaves_the_filter_as_it_was_and_gives_the_keys_back(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    settle(desk)
    write(desk, qtbot, "record 5")
    line = line_of(desk)
    qtbot.keyClicks(line, " and polarity sideways")
    line.completer().popup().hide()
    qtbot.keyClick(line, Qt.Key.Key_Return)
    assert message(desk)
    qtbot.keyClick(line, Qt.Key.Key_Escape)
    assert (line.text(), count_of(desk), message(desk)) == ("record 5", "1 of 12 match", "")
    assert canvas_of(desk).hasFocus()


def test_escape_leaves_the_record_s_field_as_it_was_and_gives_the_keys_back(desk: DeskWindow, qtbot: Any) -> None:
    field = next(line for line in desk.findChildren(QLineEdit) if line.accessibleName() == "Record to go to")
    strike(desk, qtbot, "Ctrl+G")
    qtbot.keyClicks(field, "99")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert field.hasFocus() and "There is no record 99" in message(desk)
    qtbot.keyClick(field, Qt.Key.Key_Escape)
    assert (field.text(), message(desk)) == ("0", "")
    assert canvas_of(desk).hasFocus()


def test_a_record_that_does_not_match_leaves_no_other_one_chosen(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """The panel's buttons are about the chosen records: none may stay chosen that is not the one looked at."""
    settle(desk)
    write(desk, qtbot, "record 2 .. 3")
    strike(desk, qtbot, "PgDown")
    panel = desk.records_panel
    assert isinstance(panel, RecordsPanel)
    assert panel.chosen_records() == [2]
    desk.viewing.go_to(7)
    assert panel.chosen_records() == [] and not panel.flag_button.isEnabled()
    desk.viewing.go_to(2)
    assert panel.chosen_records() == [2]


def test_a_pulse_is_rejected_measured_without_and_taken_back(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    settle(desk)
    before = desk.results.findings
    assert before is not None and len(before.pulses.where(0, 0))
    strike(desk, qtbot, "X")
    settle(desk)
    after = desk.results.findings
    assert after is not None
    assert len(after.pulses.where(0, 0)) == len(before.pulses.where(0, 0)) - 1
    assert after.rejected_pulses == 1
    caption = labelled(desk, "What the Single view shows")
    assert caption.endswith("1 pulse rejected: H01")
    strike(desk, qtbot, "Shift+X")
    settle(desk)
    assert desk.results.findings is not None and desk.results.findings.rejected_pulses == 0
    assert "rejected" not in labelled(desk, "What the Single view shows")
    desk.document.undo()
    assert len(desk.document.rejected) == 1


def test_many_records_are_flagged_in_one_step_of_undo(desk: DeskWindow) -> None:
    desk.document.flag_many([2, 3, 5])
    desk.document.leave_out_many([2, 3], "a crane passed")
    desk.document.undo()
    assert (desk.document.flags, dict(desk.document.left_out)) == ({2, 3, 5}, {})
    desk.document.undo()
    assert not desk.document.flags


def test_a_filter_goes_with_its_session(
    desk: DeskWindow, qtbot: Any, settle: Settle, walking_session: Callable[..., Session]
) -> None:
    settle(desk)
    write(desk, qtbot, "record 2 .. 3")
    desk.document.open(walking_session(records=20))
    settle(desk)
    assert count_of(desk) == "all records"
    assert line_of(desk).text() == ""
    strike(desk, qtbot, "PgDown")
    assert desk.viewing.record == 1
    strike(desk, qtbot, "Ctrl+Down")
    settle(desk)
    assert count_of(desk) == "all records"


# -- rejecting what is pointed at -----------------------------------------------------------------------------


@pytest.fixture
def twice(make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session]) -> DeskWindow:
    """The walking session with a second, smaller pulse at 120 µs in record 4 of H02 alone."""
    session = walking_session()
    codes = session.codes(0, session.records).copy()
    time = np.arange(codes.shape[2]) / session.sample_rate - 20e-6
    codes[4, 1] += np.round(5000 * np.exp(-(((time - 120e-6) / 1e-6) ** 2) / 2)).astype(np.int16)
    return make_window(
        Session.from_samples(
            codes, session.channels, session.sample_rate, 200,
            trigger_time=np.arange(session.records) * 1e-3, trigger_offset=np.zeros(session.records),
        )
    )  # fmt: skip


def spot_of(desk: DeskWindow, record: int, channel: int, time: float) -> QPoint:
    """The pixel at which the view that is shown has that time of a record's channel."""
    canvas, view = canvas_of(desk), desk.middle.view
    plot = canvas.plot_rect()
    for y in np.arange(plot.top() + 2, plot.bottom(), 2):
        spot = view.spot(time, canvas.height_at(y))
        if not isinstance(spot, str) and (spot.record, spot.channel) == (record, channel):
            return QPoint(round(canvas.x_of(time)), round(y))
    raise AssertionError("it is not shown")


@pytest.mark.parametrize("view", [view for view in VIEWS if view != "afterglow"])
def test_x_rejects_the_pulse_at_the_pointer_and_no_other(
    twice: DeskWindow, qtbot: Any, settle: Settle, view: str
) -> None:
    """The current record and channel have a pulse of their own, which is not meant."""
    twice.viewing.set_view(view)
    twice.viewing.set_neighbours(6)
    record, channel = (4, 1) if view == "single" else (3, 0)
    twice.viewing.go_to(record)
    twice.viewing.set_channel(channel if view == "single" else 1)
    if view == "single":
        twice.viewing.set_channel(0)
    settle(twice)
    session, findings = twice.document.session, twice.results.findings
    assert session is not None
    found = found_pulses(session, findings, 4, (1,))
    assert len(found) == 2
    point(qtbot, twice, spot_of(twice, 4, 1, float(found.time[1])))
    strike(twice, qtbot, "X")
    assert list(twice.document.rejected) == [(4, 1, int(found.extreme[1]))]


def test_x_far_from_every_pulse_rejects_none(twice: DeskWindow, qtbot: Any, settle: Settle) -> None:
    point(qtbot, twice, spot_of(twice, 0, 0, 80e-6))
    strike(twice, qtbot, "X")
    assert not twice.document.rejected
    assert "No pulse of H01 in record 0 lies at the pointer" in message(twice)


def test_x_with_the_pointer_elsewhere_guesses_at_nothing(twice: DeskWindow, qtbot: Any, settle: Settle) -> None:
    twice.viewing.go_to(4)
    twice.viewing.set_channel(1)
    settle(twice)
    strike(twice, qtbot, "X")
    assert not twice.document.rejected
    assert "record 4 has 2 pulses: point at the one to reject" in message(twice)
    twice.viewing.set_channel(0)
    strike(twice, qtbot, "X")
    assert [place[:2] for place in twice.document.rejected] == [(4, 0)]


def test_x_in_afterglow_means_the_current_record_where_it_is_drawn(
    twice: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    twice.viewing.set_view("afterglow")
    twice.viewing.glow.set_aligned_by("pulse")
    twice.viewing.go_to(2)
    settle(twice)
    findings, session = twice.results.findings, twice.document.session
    assert session is not None and findings is not None
    own = found_pulses(session, findings, 2, (0,))
    middle = float(np.median(findings.pulses.time[findings.pulses.where(channel=0)]))  # where it is moved to
    canvas = canvas_of(twice)
    spot = QPoint(round(canvas.x_of(middle)), round(canvas.plot_rect().center().y()))
    point(qtbot, twice, spot)
    strike(twice, qtbot, "X")
    assert not twice.document.rejected
    assert "Many records lie here" in message(twice)
    twice.viewing.glow.set_current(True)
    strike(twice, qtbot, "X")
    assert list(twice.document.rejected) == [(2, 0, int(own.extreme[0]))]
