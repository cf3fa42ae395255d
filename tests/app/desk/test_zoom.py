"""The zoom of the desk: a history both ways, spans and pulses to zoom to; by keys, drags and the wheel."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt

from pulsewright.session import Channel, Session
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle, at, canvas_of, drag, message, press, pulse_of, turn

WHOLE = (-20e-6, 180e-6)  # of the walking session: 200 samples before the trigger, 1800 after, 10 MHz


def shown(desk: DeskWindow, settle: Settle) -> tuple[float, float]:
    settle(desk)
    return canvas_of(desk).windows()[0]


def test_the_history_goes_both_ways(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    seen = [shown(desk, settle)]
    for low, high in ((20e-6, 120e-6), (40e-6, 80e-6)):
        drag(qtbot, desk, at(desk, low), at(desk, high))
        seen.append(shown(desk, settle))
    for expected in (seen[1], seen[0]):
        press(desk, qtbot, "Backspace")
        assert shown(desk, settle) == pytest.approx(expected)
    for expected in (seen[1], seen[2]):
        press(desk, qtbot, "Shift+Backspace")
        assert shown(desk, settle) == pytest.approx(expected)
    assert not desk.actions_by_name["zoom_forward"].isEnabled()
    assert desk.actions_by_name["zoom_back"].isEnabled()


def test_a_new_zoom_drops_what_lay_ahead(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    drag(qtbot, desk, at(desk, 20e-6), at(desk, 120e-6))
    settle(desk)
    press(desk, qtbot, "Backspace")
    settle(desk)
    assert desk.actions_by_name["zoom_forward"].isEnabled()
    press(desk, qtbot, "+")
    closer = shown(desk, settle)
    assert not desk.actions_by_name["zoom_forward"].isEnabled()
    press(desk, qtbot, "Shift+Backspace")
    assert shown(desk, settle) == pytest.approx(closer)


def test_many_notches_in_one_go_are_one_step(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    for moment in (1000, 1080, 1160):
        turn(desk, at(desk, 60e-6), 1, timestamp=moment)
        settle(desk)
    once = shown(desk, settle)
    turn(desk, at(desk, 60e-6), 1, timestamp=5000)
    settle(desk)
    press(desk, qtbot, "Backspace")
    assert shown(desk, settle) == pytest.approx(once)
    press(desk, qtbot, "Backspace")
    assert shown(desk, settle) == pytest.approx(WHOLE)
    assert not desk.actions_by_name["zoom_back"].isEnabled()


def test_a_zoom_that_shows_nothing_else_is_no_step(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    """Farther from where everything is shown: going back must not seem to do nothing."""
    press(desk, qtbot, "-")
    turn(desk, at(desk, 60e-6), -2)
    settle(desk)
    assert not desk.actions_by_name["zoom_back"].isEnabled()


def test_a_push_that_begins_against_the_end_can_be_gone_back_from(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    drag(qtbot, desk, at(desk, -20e-6), at(desk, 80e-6))
    before = shown(desk, settle)
    viewport, start = canvas_of(desk).viewport(), at(desk, 20e-6)
    qtbot.mousePress(viewport, Qt.MouseButton.RightButton, pos=start)
    for x in (start.x() + 80, start.x() + 90, start.x() - 100):  # first against the record's beginning
        start.setX(x)
        qtbot.mouseMove(viewport, start)
    qtbot.mouseRelease(viewport, Qt.MouseButton.RightButton, pos=start)
    assert shown(desk, settle)[0] > before[0] + 1e-6
    press(desk, qtbot, "Backspace")
    assert shown(desk, settle) == pytest.approx(before)


def test_everything_is_shown_again_in_time_and_value_and_that_is_a_step(
    desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    press(desk, qtbot, "Alt+3")
    settle(desk)
    whole = canvas_of(desk).windows()
    drag(qtbot, desk, at(desk, 30e-6, 0.8), at(desk, 70e-6, 0.2))
    settle(desk)
    box = canvas_of(desk).windows()
    assert box[1][1] - box[1][0] < 0.7 < whole[1][1] - whole[1][0]
    for keys, wanted in (("W", whole), ("Backspace", box), ("Shift+Backspace", whole)):
        press(desk, qtbot, keys)
        settle(desk)
        for seen, stretch in zip(canvas_of(desk).windows(), wanted, strict=True):
            assert seen == pytest.approx(stretch), keys


def test_the_spans_can_be_zoomed_to(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    press(desk, qtbot, "Z")
    assert message(desk).startswith("Pulses are looked for in the whole record")
    desk.viewing.spans.set("span", 40e-6, 80e-6)
    desk.viewing.spans.set("alignment_span", 100e-6, 110e-6)
    settle(desk)
    press(desk, qtbot, "Z")
    assert shown(desk, settle) == pytest.approx((38e-6, 82e-6))
    press(desk, qtbot, "Shift+Z")
    assert shown(desk, settle) == pytest.approx((99.5e-6, 110.5e-6))
    press(desk, qtbot, "Backspace")
    assert shown(desk, settle) == pytest.approx((38e-6, 82e-6))


@pytest.mark.parametrize("view", ["single", "stacked", "afterglow"])
def test_the_pulse_can_be_zoomed_to(desk: DeskWindow, qtbot: Any, settle: Settle, view: str) -> None:
    desk.viewing.set_view(view)  # type: ignore[arg-type]
    desk.viewing.go_to(5)
    settle(desk)
    press(desk, qtbot, "P")
    low, high = shown(desk, settle)
    time, _ = pulse_of(desk, 5, 0)
    assert (low + high) / 2 == pytest.approx(time, abs=1e-7)  # a sample
    # the pulse is a Gaussian of s = 1 µs: 3 s to each side lie inside, and it fills more than a twentieth
    assert 6e-6 < high - low < 120e-6


def test_an_aligned_afterglow_zooms_to_where_the_pulse_is_drawn(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_view("afterglow")
    desk.viewing.glow.set_aligned_by("pulse")
    desk.viewing.go_to(7)
    settle(desk)
    press(desk, qtbot, "P")
    low, high = shown(desk, settle)
    findings = desk.results.findings
    assert findings is not None
    times = findings.pulses.time[findings.pulses.channel == 0]
    assert (low + high) / 2 == pytest.approx(float(np.median(times)), abs=1e-7)


def test_where_there_is_no_pulse_it_is_said(make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle) -> None:
    quiet = np.random.default_rng(4).normal(0.0, 20.0, (6, 1, 500)).round().astype(np.int16)
    desk = make_window(Session.from_samples(quiet, [Channel("H01", "M1", scale=1e-4)], 1e6, 100))
    settle(desk)
    press(desk, qtbot, "P")
    assert message(desk) == "No pulse was found in record 0 on H01."
