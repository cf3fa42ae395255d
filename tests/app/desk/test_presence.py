"""Files are asked after on threads of their own: one whose folder does not answer holds nobody up."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtCore", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright_app.desk.habits import presence
from pulsewright_app.desk.habits.presence import Presence


def test_a_folder_that_does_not_answer_holds_nobody_up(
    qtbot: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, gone, slow = (tmp_path / name for name in ("here.h5", "gone.h5", "slow.h5"))
    here.touch()
    slow.touch()
    answers, is_file = threading.Event(), presence.is_file
    asked: list[Path] = []

    def looked(path: Path) -> bool:
        assert threading.current_thread() is not threading.main_thread()
        asked.append(path)
        assert path != slow or answers.wait(60)
        return is_file(path)

    monkeypatch.setattr(presence, "is_file", looked)
    known = Presence()
    known.ask([slow, here, gone])
    known.ask([slow])
    qtbot.waitUntil(lambda: None not in (known.there(here), known.there(gone)), timeout=60_000)
    assert (known.there(slow), known.there(here), known.there(gone)) == (None, True, False)
    answers.set()
    qtbot.waitUntil(lambda: known.there(slow) is True, timeout=60_000)
    assert sorted(asked) == [gone, here, slow]  # each once: the slow one was asked after already
