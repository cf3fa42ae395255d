"""The desk as the command line starts it: the session that was named, its options, the program's own icon."""

from __future__ import annotations

import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtWidgets import QApplication

from pulsewright_app.desk.habits import windows
from pulsewright_app.desk.panels.span_rows import SpanRows
from pulsewright_app.desk.start import open_desk
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle


def test_it_opens_the_session_by_the_options_of_the_command_line_under_its_own_icon(
    make_window: Callable[..., DeskWindow], settle: Settle, faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_window()  # for its tidying up
    others, seen = set(windows.open_windows()), []

    def looked_at(*_: Any) -> int:
        """Stand in for the event loop, which a person ends."""
        (desk,) = set(windows.open_windows()) - others
        settle(desk)
        rows = desk.findChildren(SpanRows)[0]
        seen.append((desk.isVisible(), desk.windowTitle(), rows.fields["span"].text(), rows.origins["span"].text()))
        desk.close()
        desk.deleteLater()
        return 7

    monkeypatch.setattr(QApplication, "exec", looked_at)
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    assert open_desk(faults, {"span": "200 us .. 300 us"}) == 7
    assert seen == [(True, "tank_faults.h5 — Pulsewright", "200 µs .. 300 µs", "from the command line")]
    application = QApplication.instance()
    assert isinstance(application, QApplication)
    assert application.desktopFileName() == "pulsewright"
    icon = application.windowIcon().pixmap(64, 64).toImage()
    assert "#1f5f7a" in {icon.pixelColor(x, y).name() for x in range(64) for y in range(64)}
