"""A worker waits while the window's thread handles an event, never for long, and the window never for itself."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

pytest.importorskip("PySide6.QtWidgets", reason="the desk needs Qt", exc_type=ImportError)

from PySide6.QtCore import Qt

from pulsewright.session import Session
from pulsewright_app.desk.attention import Attention, WindowThread
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.desk.work import Background


def test_a_worker_gives_way_until_the_window_is_done() -> None:
    thread, order = WindowThread(), []
    at_it = threading.Event()

    def work() -> None:
        at_it.set()
        thread.give_way()
        order.append("worker")

    worker = threading.Thread(target=work)
    with thread.asked():
        worker.start()
        at_it.wait()
        time.sleep(0.01)  # time enough for the worker, if it did not wait
        order.append("window")
    worker.join()
    assert order == ["window", "worker"]


def test_nobody_waits_for_a_window_that_waits_itself() -> None:
    thread, seen = WindowThread(), []

    def work() -> None:
        thread.give_way()
        seen.append(thread.at_work)

    with thread.asked():
        worker = threading.Thread(target=work)
        worker.start()
        worker.join()
    assert seen == [True], "it went on before the window was done"


@pytest.fixture
def background() -> Iterator[Background]:
    background = Background()
    yield background
    background.close()


def test_a_result_that_is_taken_asks_for_patience_also_within_another(background: Background, qtbot: Any) -> None:
    heard: list[bool] = []

    def take(_: object) -> None:
        with background.attention.thread.asked():
            pass
        heard.append(background.attention.thread.at_work)

    background.start("name", lambda job: job.cancelled(), take)
    qtbot.waitUntil(lambda: bool(heard))
    assert heard == [True]
    assert not background.attention.thread.at_work


def test_the_desk_asks_for_patience_while_it_paints(desk: DeskWindow, qtbot: Any) -> None:
    seen: list[bool] = []
    desk.middle.view.canvas.above.append(lambda *_: seen.append(desk.background.attention.thread.at_work))
    desk.middle.view.canvas.viewport().update()
    qtbot.waitUntil(lambda: bool(seen))
    assert seen[0]
    assert not desk.background.attention.thread.at_work


def test_the_workers_wait_from_a_step_until_it_is_painted(desk: DeskWindow, qtbot: Any) -> None:
    attention, record = desk.background.attention, desk.viewing.record
    seen: list[tuple[int, bool]] = []
    desk.middle.view.canvas.above.append(lambda *_: seen.append((desk.viewing.record, attention.held)))
    qtbot.keyClick(desk.middle.view.canvas, Qt.Key.Key_PageDown)
    assert attention.held
    qtbot.waitUntil(lambda: not attention.held)
    assert seen == [(record + 1, True)]


def test_other_work_waits_for_the_picture_in_front_but_not_for_a_long_one(background: Background, qtbot: Any) -> None:
    order: list[str] = []
    drawing, drawn = threading.Event(), threading.Event()

    def picture(job: Any) -> None:
        drawing.set()
        drawn.wait(5)
        order.append("picture")

    def measuring(job: Any) -> None:
        job.cancelled()
        order.append("measuring")

    background.start("picture", picture, lambda _: None, picture=True)
    assert drawing.wait(5)
    background.start("measuring", measuring, lambda _: None)
    drawn.set()
    qtbot.waitUntil(lambda: len(order) == 2)
    assert order == ["picture", "measuring"]
    order.clear()
    drawing.clear()
    drawn.clear()

    def patient(job: Any) -> None:
        job.cancelled()
        order.append("measuring")
        drawn.set()  # the picture would never end if this waited for it

    background.start("picture", picture, lambda _: None, picture=True)
    assert drawing.wait(5)
    background.start("measuring", patient, lambda _: None)
    qtbot.waitUntil(lambda: len(order) == 2)
    assert order == ["measuring", "picture"]


def test_a_hold_that_lasts_too_long_is_over_and_what_comes_after_counts_again() -> None:
    thread = WindowThread()
    attention = Attention(thread)
    attention.hold(0.0)
    assert not attention.held
    assert not thread.at_work
    with thread.asked():
        assert thread.at_work
        assert not attention.held
    assert not thread.at_work
    attention.hold(5.0)
    with thread.asked():
        assert attention.held
    assert attention.held
    attention.release()
    assert not thread.at_work


def test_a_paint_of_one_window_does_not_end_the_patience_that_another_asked_for(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], qtbot: Any
) -> None:
    one, other = make_window(walking_session()), make_window(walking_session())
    painted: list[bool] = []
    one.background.attention.hold(20.0)
    other.middle.view.canvas.above.append(lambda *_: painted.append(True))
    qtbot.keyClick(other.middle.view.canvas, Qt.Key.Key_PageDown)
    qtbot.waitUntil(lambda: bool(painted) and not other.background.attention.held)
    assert one.background.attention.held
    assert one.background.attention.thread.at_work
    one.background.attention.release()
    assert not one.background.attention.thread.at_work
