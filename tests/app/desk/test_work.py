"""Background work: outcomes come to the main thread, old ones are dropped, errors come as sentences."""

from __future__ import annotations

import gc
import threading
import weakref
from collections.abc import Iterator
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

import numpy as np

from pulsewright.errors import SettingError
from pulsewright.session import Channel, Session
from pulsewright_app.desk.work import Background, Job, measure_extents


@pytest.fixture
def background(qtbot: Any) -> Iterator[Background]:
    background = Background()
    yield background
    background.close()


def test_the_outcome_comes_to_the_main_thread(background: Background, qtbot: Any) -> None:
    heard: list[tuple[str, str]] = []
    background.start(
        "name",
        lambda _: threading.current_thread().name,
        lambda at: heard.append((at, threading.current_thread().name)),
    )
    qtbot.waitUntil(lambda: bool(heard))
    worker, receiver = heard[0]
    assert worker != receiver == threading.main_thread().name


def test_an_older_job_of_the_same_key_is_cancelled_and_dropped(background: Background, qtbot: Any) -> None:
    heard: list[str] = []
    begun, stopped = threading.Event(), threading.Event()

    def endless(job: Job) -> str:
        begun.set()
        while not job.cancelled():
            pass
        stopped.set()
        return "old"

    background.start("key", endless, heard.append)
    qtbot.waitUntil(begun.is_set)  # one that is cancelled before it began is never run
    background.start("key", lambda _: "new", heard.append)
    qtbot.waitUntil(lambda: bool(heard) and stopped.is_set())
    qtbot.wait(30)
    assert heard == ["new"]


def test_nothing_begins_after_the_end(qtbot: Any) -> None:
    background, begun = Background(), []
    background.close()
    background.start("late", begun.append, begun.append)
    qtbot.wait(30)
    assert not begun
    assert not background.busy


def test_errors_come_as_sentences(background: Background, qtbot: Any) -> None:
    heard: list[str] = []

    def known(_: Job) -> None:
        raise SettingError("span: it is empty", "give a longer one")

    def unknown(_: Job) -> None:
        raise ZeroDivisionError("by nothing")

    background.start("first", known, lambda _: None, heard.append)
    background.start("Counting", unknown, lambda _: None, heard.append)
    qtbot.waitUntil(lambda: len(heard) == 2)
    assert set(heard) == {
        "span: it is empty; give a longer one.",
        "Counting came to nothing: ZeroDivisionError: by nothing.",
    }


def test_nothing_is_heard_of_a_cancelled_job(background: Background, qtbot: Any) -> None:
    heard: list[object] = []
    background.start("key", lambda _: "done", heard.append)
    background.cancel("key")
    background.stop()
    qtbot.wait(30)
    assert heard == []
    assert not background.busy


def test_extents_find_the_records_that_touch_an_end_code() -> None:
    samples = np.zeros((4, 2, 50), np.int16)
    samples[2, 1, 7] = 100
    samples[3, 0, 9] = -100
    channels = [Channel(name, "M1", lowest_code=-100, highest_code=100) for name in ("H01", "H02")]
    session = Session.from_samples(samples, channels, 1e6)
    clipped = measure_extents(session, Job("key", 1, lambda _: None)).clipped(session)
    assert list(zip(*clipped.nonzero(), strict=True)) == [(2, 1), (3, 0)]


class Knot:
    """Refers to itself, so that only a search for garbage takes it apart."""

    def __init__(self) -> None:
        self.itself = self


def test_garbage_is_taken_apart_on_the_main_thread_alone(background: Background, qtbot: Any) -> None:
    where: list[str] = []

    def make_many(_: Job) -> list[list[int]]:
        kept = [[number] for number in range(20 * gc.get_threshold()[0])]  # so many would begin a search
        weakref.finalize(Knot(), lambda: where.append(threading.current_thread().name))
        return kept + [[number] for number in range(20 * gc.get_threshold()[0])]

    made: list[list[list[int]]] = []
    background.start("making", make_many, made.append)
    qtbot.waitUntil(lambda: bool(made))
    assert not where, "a worker took it apart"
    qtbot.waitUntil(lambda: bool(where))
    assert where == [threading.main_thread().name]


def test_the_interpreter_searches_by_itself_when_the_last_has_closed(qtbot: Any) -> None:
    before = gc.isenabled()  # unless another test left a desk open
    first, second = Background(), Background()
    assert not gc.isenabled()
    first.close()
    first.close()
    assert not gc.isenabled(), "the second is still at work"
    second.close()
    assert gc.isenabled() is before
