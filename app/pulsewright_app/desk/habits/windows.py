"""All windows of this process: another session gets a window of its own, and all wear one theme."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pulsewright_app.desk.habits.habits import Habits

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

_OPEN: list[DeskWindow] = []


def join(window: DeskWindow) -> None:
    """Let a window belong to the others: what one wears, all wear."""
    _OPEN.append(window)
    window.viewing.dark_changed.connect(_dress_all)


def part(window: DeskWindow) -> None:
    """Let a window that closes go."""
    if window in _OPEN:
        _OPEN.remove(window)


def open_windows() -> tuple[DeskWindow, ...]:
    """Return the windows that are open."""
    return tuple(_OPEN)


def open_another(beside: DeskWindow, path: Path | None = None) -> DeskWindow:
    """Open another window, a little lower than the first, with a session or with the first screen."""
    from pulsewright_app.desk.window import DeskWindow

    habits: Habits = beside.manners.habits
    window = DeskWindow(beside.options, beside.viewing.dark, habits)
    window.move(beside.x() + 36, beside.y() + 36)
    window.show()
    if path is not None:
        window.open_path(path)
    return window


def _dress_all(dark: bool) -> None:
    for window in open_windows():
        window.viewing.set_dark(dark)
