"""Some hundred random gestures, the same ones at each run: nothing raises, and Qt has nothing to complain of."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright_app.desk.habits.manners import set_font_percent
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle
from .random_hands import Faults, Hands, without_dialogs

GESTURES = 250


@pytest.mark.parametrize("seed", [1, 2])
def test_no_gesture_raises_or_makes_qt_complain(
    seed: int,
    make_window: Callable[..., DeskWindow],
    settle: Settle,
    faults: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    without_dialogs(tmp_path, monkeypatch.setattr)
    desk = make_window(faults)
    listening, hands = Faults(), Hands(desk, seed)
    try:
        for _ in range(GESTURES):
            hands.do()
            assert not listening.exceptions, (listening.exceptions[0], hands.last[-8:])
            assert not listening.warnings, (listening.warnings[0], hands.last[-8:])
        settle(desk)
        assert not listening.exceptions, listening.exceptions[0]
        assert not listening.warnings, listening.warnings[0]
    finally:
        listening.stop()
        set_font_percent(100)  # the hands may have found the preferences, and letters are the application's
    assert len(hands.done) >= 12  # nearly every kind of gesture was among them
