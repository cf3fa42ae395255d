"""A session leaves the desk while what was added to it takes long to save: the window goes on meanwhile."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright.review import read_review, review_path_for
from pulsewright_app.desk import reviewing
from pulsewright_app.desk.review_places import ReviewPlaces
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle, message

MakeWindow = Callable[..., DeskWindow]


@pytest.fixture
def slow(make_window: MakeWindow, faults: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[DeskWindow, Any]]:
    """A desk with record 4 flagged, whose saving goes on until the event is set."""
    desk, may_end, save = make_window(faults), threading.Event(), ReviewPlaces.save

    def waiting(places: ReviewPlaces, *given: Any) -> str:
        assert threading.current_thread() is not threading.main_thread()
        assert may_end.wait(60)
        return save(places, *given)

    monkeypatch.setattr(ReviewPlaces, "save", waiting)
    monkeypatch.setattr(reviewing, "_MOMENT_S", 0.0)
    desk.document.flag(4)
    yield desk, may_end
    may_end.set()


def test_the_window_goes_on_until_the_session_that_is_closed_is_saved(
    slow: tuple[DeskWindow, threading.Event], settle: Settle, faults: Path
) -> None:
    desk, may_end = slow
    desk.close_session()
    assert desk.document.session is not None
    assert message(desk) == "What you added to tank_faults.h5 is being saved; it closes as soon as that is done."
    desk.document.flag(5)  # meanwhile
    may_end.set()
    settle(desk)
    assert desk.document.session is None
    assert message(desk) == ""
    assert read_review(review_path_for(faults)).flags == {4, 5}


def test_a_window_closes_by_itself_once_it_is_saved(
    slow: tuple[DeskWindow, threading.Event], qtbot: Any, faults: Path
) -> None:
    desk, may_end = slow
    assert not desk.close()
    assert desk.isVisible()
    may_end.set()
    qtbot.waitUntil(lambda: not desk.isVisible(), timeout=60_000)
    assert read_review(review_path_for(faults)).flags == {4}


def test_what_cannot_be_saved_in_the_end_stays_until_it_is_given_up(
    slow: tuple[DeskWindow, threading.Event], settle: Settle, faults: Path, own_folder: Path
) -> None:
    desk, may_end = slow
    own_folder.parent.mkdir(exist_ok=True)
    shutil.rmtree(own_folder.parent)
    own_folder.parent.write_text("a file where a folder should be")
    shutil.rmtree(faults.parent)
    desk.close_session()
    may_end.set()
    settle(desk)
    assert desk.document.session is not None
    assert message(desk).endswith("Close it once more to give up what you added.")
    desk.close_session()
    settle(desk)
    assert desk.document.session is None
