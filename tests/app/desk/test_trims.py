"""How a channel is drawn in Single: larger or higher, by keys; what is read off stays the recorded value."""

from __future__ import annotations

import re
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import Settle, at, canvas_of, inked, labelled, point, press


def reach(desk: DeskWindow, channel: int) -> tuple[int, int]:
    """The highest and the lowest pixel row that the channel's trace covers."""
    rows = [y for _, y in inked(desk, LIGHT.channel(channel))]
    return min(rows), max(rows)


def test_larger_and_higher_by_keys_and_back(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_channel(1)
    settle(desk)
    as_recorded = reach(desk, 1)
    for _ in range(2):  # by 1.5
        press(desk, qtbot, "Alt+Shift+Up")
    settle(desk)
    larger = reach(desk, 1)
    assert desk.viewing.trims.of(1).scale == 2.0
    assert larger[1] - larger[0] == pytest.approx(2 * (as_recorded[1] - as_recorded[0]), rel=0.08)
    assert any(text == desk.viewing.trims.of(1).scale_text for _, text, *_ in canvas_of(desk).value_axis._rows)
    press(desk, qtbot, "Alt+Shift+Down")
    press(desk, qtbot, "Alt+Shift+Down")
    press(desk, qtbot, "Alt+Up")
    settle(desk)
    higher = reach(desk, 1)
    assert higher[0] < as_recorded[0] - 5
    assert higher[1] - higher[0] == pytest.approx(as_recorded[1] - as_recorded[0], abs=2)
    press(desk, qtbot, "Alt+Home")
    settle(desk)
    assert reach(desk, 1) == as_recorded


def test_what_is_read_under_the_pointer_is_the_recorded_value(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_lanes(False)
    desk.viewing.trims.scale(0, 2.0)
    desk.viewing.trims.place(0, 0.5)
    settle(desk)
    # drawn at 1.5 V of the axis: 1.5 = 2 · value + 0.5
    point(qtbot, desk, at(desk, 100e-6, 1.5))
    told = re.search(r"value = ([\d.]+) mV", labelled(desk, "Under the pointer"))
    assert told is not None
    # the pointer is in the middle of some pixel, and a pixel is half as many volts here
    assert float(told[1]) == pytest.approx(500, abs=1e3 * canvas_of(desk).pixel_height / 2)
    assert "not by the axis: H01 ×2 +500 mV" in labelled(desk, "What the Single view shows")


def test_another_session_begins_as_recorded(desk: DeskWindow, walking_session: Any) -> None:
    desk.viewing.trims.scale(0, 2.0)
    desk.document.open(walking_session())
    assert desk.viewing.trims.of(0).scale == 1.0
