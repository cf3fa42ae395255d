"""A worker waits while the window's thread handles an event, never for long, and the window never for itself."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

pytest.importorskip("PySide6.QtWidgets", reason="the desk needs Qt", exc_type=ImportError)

from PySide6.QtCore import Qt

from pulsewright_app.desk.attention import Attention
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.desk.work import Background


def test_a_worker_gives_way_until_the_window_is_done() -> None:
    attention, order = Attention(), []
    at_it = threading.Event()

    def work() -> None:
        at_it.set()
        attention.give_way()
        order.append("worker")

    worker = threading.Thread(target=work)
    with attention.asked():
        worker.start()
        at_it.wait()
        time.sleep(0.01)  # time enough for the worker, if it did not wait
        order.append("window")
    worker.join()
    assert order == ["window", "worker"]


def test_nobody_waits_for_a_window_that_waits_itself() -> None:
    attention, seen = Attention(), []

    def work() -> None:
        attention.give_way()
        seen.append(attention.at_work)

    with attention.asked():
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
        with background.attention.asked():
            pass
        heard.append(background.attention.at_work)

    background.start("name", lambda job: job.cancelled(), take)
    qtbot.waitUntil(lambda: bool(heard))
    assert heard == [True]
    assert not background.attention.at_work


def test_the_desk_asks_for_patience_while_it_paints(desk: DeskWindow, qtbot: Any) -> None:
    seen: list[bool] = []
    desk.middle.view.canvas.above.append(lambda *_: seen.append(desk.background.attention.at_work))
    desk.middle.view.canvas.viewport().update()
    qtbot.waitUntil(lambda: bool(seen))
    assert seen[0]
    assert not desk.background.attention.at_work


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
    attention = Attention()
    attention.hold(0.0)
    assert not attention.held
    assert not attention.at_work
    with attention.asked():
        assert attention.at_work
        assert not attention.held
    assert not attention.at_work
    attention.hold(5.0)
    with attention.asked():
        assert attention.held
    assert attention.held
    attention.release()
    assert not attention.at_work
