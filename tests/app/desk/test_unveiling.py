"""A session just opened is painted part by part, with other events in between, and the workers wait until it is."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtWidgets", reason="the desk needs Qt", exc_type=ImportError)

from PySide6.QtCore import QTimer
from PySide6.QtGui import QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QWidget

from pulsewright_app.desk.attention import Attention, WindowThread
from pulsewright_app.desk.opening import Opened
from pulsewright_app.desk.unveiling import Unveiling
from pulsewright_app.desk.window import DeskWindow


class Part(QWidget):
    """A part of a window that writes down when it is painted."""

    def __init__(self, name: str, seen: list[str]) -> None:
        super().__init__()
        self._name, self._seen = name, seen
        self.setMinimumSize(40, 40)

    def paintEvent(self, event: QPaintEvent) -> None:
        self._seen.append(self._name)


class Filled:
    """A window of three parts, and what happened to it in order."""

    def __init__(self, qtbot: Any) -> None:
        self.seen: list[str] = []
        self.window = QWidget()
        row = QHBoxLayout(self.window)
        self.parts = [Part(name, self.seen) for name in "abc"]
        for part in self.parts:
            row.addWidget(part)
        qtbot.addWidget(self.window)
        self.window.show()
        qtbot.waitUntil(lambda: set(self.seen) == {"a", "b", "c"})
        self.seen.clear()
        self.attention = Attention(WindowThread())
        self.unveiling = Unveiling(self.window, self.attention, lambda: self.parts)

    def beat(self) -> None:
        if self.seen and self.seen[-1] != "beat":
            self.seen.append("beat")

    def fill(self) -> None:
        assert self.attention.held
        self.seen.append("fill")
        for part in self.parts:
            part.update()


@pytest.fixture
def filled(qtbot: Any) -> Filled:
    return Filled(qtbot)


def test_every_part_is_painted_once_and_other_events_come_between(filled: Filled, qtbot: Any) -> None:
    beats = QTimer()
    beats.timeout.connect(filled.beat)
    beats.start(0)
    filled.unveiling.soon(filled.fill)
    assert filled.attention.held
    qtbot.waitUntil(lambda: not filled.attention.held)
    assert filled.seen == ["fill", "beat", "a", "beat", "b", "beat", "c", "beat"]


def test_what_is_filled_at_once_is_painted_in_parts_too(filled: Filled, qtbot: Any) -> None:
    beats = QTimer()
    beats.timeout.connect(filled.beat)
    beats.start(0)
    filled.unveiling.now(filled.fill)
    assert filled.seen == ["fill"]
    qtbot.waitUntil(lambda: not filled.attention.held)
    assert filled.seen == ["fill", "beat", "a", "beat", "b", "beat", "c", "beat"]


def test_a_window_that_could_not_be_filled_is_painted_all_the_same(filled: Filled, qtbot: Any) -> None:
    def fail() -> None:
        raise RuntimeError("it came to nothing")

    with qtbot.captureExceptions() as caught:
        filled.unveiling.soon(fail)
        qtbot.waitUntil(lambda: not filled.attention.held)
    assert [str(error) for _, error, _ in caught] == ["it came to nothing"]
    assert all(part.updatesEnabled() for part in (filled.window, *filled.parts))


def test_a_window_that_is_not_seen_is_filled_without_patience(filled: Filled, qtbot: Any) -> None:
    filled.window.hide()
    done: list[bool] = []
    filled.unveiling.soon(lambda: done.append(filled.attention.held))
    qtbot.waitUntil(lambda: bool(done))
    assert done == [False]


def test_two_sessions_opened_in_a_row_leave_nothing_veiled(
    desk: DeskWindow, faults: Path, tmp_path: Path, qtbot: Any
) -> None:
    other = tmp_path / "other.h5"
    shutil.copy(faults, other)
    desk.open_path(other)
    qtbot.waitUntil(lambda: desk.background.attention.held)
    desk.open_path(faults)
    attention = desk.background.attention
    qtbot.waitUntil(lambda: desk.document.session is not None and desk.document.session.file == faults)
    qtbot.waitUntil(lambda: not attention.held)
    assert all(part.updatesEnabled() for part in (desk, desk.middle, *desk.docks.values()))


def test_a_desk_that_is_closed_meanwhile_gives_the_session_back(
    desk: DeskWindow, faults: Path, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    began: list[Any] = []
    given_back: list[Opened] = []
    monkeypatch.setattr(Opened, "give_back", lambda opened, _: given_back.append(opened))
    monkeypatch.setattr(Unveiling, "soon", lambda _, fill: began.append(fill))
    before = desk.document.session
    desk.open_path(faults)
    qtbot.waitUntil(lambda: bool(began))
    desk.close()
    began[0]()  # the event that was still to come
    assert [opened.path for opened in given_back] == [faults]
    assert desk.document.session is before
