"""When a window can be shown, ``demo`` and ``review`` open the desk on the right file, and only then."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from typer.testing import CliRunner

from pulsewright_app.cli import app
from pulsewright_app.samples import sample


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Path | None]:
    """Return the list of what is opened by a stand-in for the desk, on a machine with a display."""
    files: list[Path | None] = []

    def open_desk(file: Path | None, options: dict[str, Any]) -> int:
        files.append(file)
        return 0

    desk = ModuleType("pulsewright_app.desk.start")
    desk.open_desk = open_desk  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "pulsewright_app.desk.start", desk)
    monkeypatch.setattr("pulsewright_app.display.why_no_display", lambda for_a_person=False: None)
    return files


def test_demo_opens_the_sample_with_faults(opened: list[Path | None]) -> None:
    result = CliRunner().invoke(app, ["demo"])
    assert result.exit_code == 0
    assert opened == [sample("tank_faults.h5")]
    assert result.stdout == ""


def test_a_headless_demo_opens_nothing(opened: list[Path | None]) -> None:
    result = CliRunner().invoke(app, ["demo", "--headless"])
    assert result.exit_code == 0
    assert opened == []
    assert "triggers missing" in result.stdout


def test_review_opens_the_file_it_is_given_and_without_one_the_first_screen(opened: list[Path | None]) -> None:
    assert CliRunner().invoke(app, ["review", "run.h5"]).exit_code == 0
    assert CliRunner().invoke(app, ["review"]).exit_code == 0
    assert opened == [Path("run.h5"), None]
