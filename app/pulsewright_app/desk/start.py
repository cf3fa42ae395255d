"""Starts the desk: the application, its looks, and the first window."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication

from pulsewright_app.desk.habits.habits import Habits, habits_path
from pulsewright_app.desk.habits.manners import is_dark, set_font_percent
from pulsewright_app.desk.memory import loading
from pulsewright_app.desk.style import prepare
from pulsewright_app.desk.window import DeskWindow


def open_desk(path: Path | None, options: Mapping[str, Any]) -> int:
    """Show the desk until it is closed, and return the exit code.

    Parameters
    ----------
    path : Path or None
        A session file; None shows the first screen.
    options : mapping of setting to value
        Settings of the command line.
    """
    import signal

    existing = QApplication.instance()
    application = existing if isinstance(existing, QApplication) else QApplication(["pulsewright"])
    prepare(application)
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    application.setWindowIcon(QIcon(str(Path(__file__).resolve().parent.parent / "icon" / "pulsewright.svg")))
    application.setDesktopFileName("pulsewright")
    habits = Habits(habits_path())
    set_font_percent(habits.preferences.font_percent)
    window = DeskWindow(options, is_dark(habits.preferences), habits)
    if path is not None:
        window.open_path(path)
    window.background.start("Getting ready", lambda _: _warm_up(), lambda _: None)  # what opens loads before it
    window.show()
    return application.exec()


def _warm_up() -> None:
    """Load what the first marker and the first picture need, before they need it."""
    with loading("pulsewright_analysis.overlay_kernels"):
        import scipy.special

        import pulsewright_analysis.overlay_kernels

        assert scipy.special
        assert pulsewright_analysis.overlay_kernels
