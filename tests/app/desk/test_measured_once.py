"""A session is measured once by the same settings, however many changes its opening announces."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pulsewright_app.desk import measuring
from pulsewright_app.desk.window import DeskWindow

MakeWindow = Callable[..., DeskWindow]


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The shortest width of each measuring that was begun, in order."""
    begun: list[float] = []
    measure = measuring._measure

    def counted(session: Any, settings: Any, digest: str, job: Any) -> Any:
        begun.append(settings.min_width)
        return measure(session, settings, digest, job)

    monkeypatch.setattr(measuring, "_measure", counted)
    return begun


def test_a_session_that_is_opened_is_measured_once(
    make_window: MakeWindow, measured: list[float], faults: Path
) -> None:
    desk = make_window(faults)
    assert desk.results.findings is not None
    assert len(measured) == 1


def test_a_setting_changed_while_it_is_measured_counts(
    make_window: MakeWindow, measured: list[float], faults: Path, settle: Callable[[DeskWindow], None]
) -> None:
    desk = make_window(faults)
    desk.results.ask_to_measure()
    assert desk.results.busy
    desk.document.set_setting("min_width", 3e-7)
    settle(desk)
    assert measured[-1] == 3e-7
    assert desk.results.findings is not None
    assert desk.results.findings.settings.min_width == 3e-7
    assert not desk.results.out_of_date


def test_a_setting_changed_there_and_back_ends_up_to_date(
    make_window: MakeWindow, measured: list[float], faults: Path, settle: Callable[[DeskWindow], None]
) -> None:
    desk = make_window(faults)
    before = desk.document.measuring_settings()
    desk.results.ask_to_measure()
    desk.document.set_setting("min_width", 3e-7)
    desk.document.undo()
    settle(desk)
    assert desk.results.findings is not None
    assert desk.results.findings.settings == before
    assert not desk.results.out_of_date
