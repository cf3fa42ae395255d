"""A session file that becomes shorter, or goes away, while the desk shows it: said, and nothing wrong is shown."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import Settle, inked, labelled, message, press

CAPTION = "What the Single view shows"


@pytest.fixture
def cut(make_window: Callable[..., DeskWindow], faults: Path) -> tuple[DeskWindow, Path, bytes]:
    """A desk whose session lost its second half after it was measured; the file, and what it held."""
    desk, whole = make_window(faults), faults.read_bytes()
    desk.document.flag(3, True)
    with faults.open("r+b") as stream:
        stream.truncate(len(whole) // 2)
    return desk, faults, whole


def test_a_lost_record_shows_no_samples_and_comes_back_with_the_file(
    cut: tuple[DeskWindow, Path, bytes], settle: Settle
) -> None:
    desk, file, whole = cut
    desk.viewing.go_to(30)
    settle(desk)
    assert "shorter" in message(desk)
    assert labelled(desk, CAPTION).startswith("Record 30 ")
    assert "cannot be read" in labelled(desk, CAPTION)
    assert not inked(desk, LIGHT.channel(7)), "samples of another record are shown in its place"
    file.write_bytes(whole)  # the same file, in its place
    desk.viewing.go_to(29)
    desk.viewing.go_to(30)
    settle(desk)
    assert "cannot be read" not in labelled(desk, CAPTION)
    assert inked(desk, LIGHT.channel(7))


@pytest.mark.parametrize("keys", ["Alt+2", "Alt+3", "Alt+4"])
def test_every_view_goes_on(keys: str, cut: tuple[DeskWindow, Path, bytes], qtbot: Any, settle: Settle) -> None:
    desk, _, _ = cut
    desk.viewing.go_to(25)
    press(desk, qtbot, keys)
    settle(desk)
    assert "shorter" in message(desk)
    if keys == "Alt+3":
        told = labelled(desk, "What the Afterglow view shows")
        assert "all 36 records" not in told, "records that could not be read are said to be in the picture"
    if keys in ("Alt+3", "Alt+4"):
        told = labelled(desk, f"What the {'Afterglow' if keys == 'Alt+3' else 'Map'} view shows")
        assert "…" not in told, "it is said to go on, and has come to an end"
        assert "could not be" in told
    desk.viewing.go_to(2)
    press(desk, qtbot, "Alt+1")
    settle(desk)
    assert inked(desk, LIGHT.channel(7))


def test_measuring_again_says_why_it_cannot_and_keeps_what_was_added(
    cut: tuple[DeskWindow, Path, bytes], qtbot: Any, settle: Settle
) -> None:
    desk, file, whole = cut
    press(desk, qtbot, "F5")
    settle(desk)
    assert "shorter" in message(desk)
    assert desk.document.flags == {3}
    assert not desk.results.busy
    file.write_bytes(whole)
    press(desk, qtbot, "F5")
    settle(desk)
    assert desk.results.findings is not None
    assert desk.results.findings.sequence.missed_total == 2


def test_a_file_that_is_deleted_is_read_on(
    make_window: Callable[..., DeskWindow], faults: Path, settle: Settle
) -> None:
    """Its name is gone, its samples are not: whoever holds it open reads on."""
    desk = make_window(faults)
    faults.unlink()
    desk.viewing.go_to(30)
    settle(desk)
    assert "cannot be read" not in labelled(desk, CAPTION)
    assert inked(desk, LIGHT.channel(7))
