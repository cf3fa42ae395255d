"""Pictures of what the states of the desk leave out: Afterglow's other choices, and every figure large."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtWidgets import QWidget

from pulsewright_app.desk.plots.figure_window import FigureWindow
from pulsewright_app.desk.window import DeskWindow

Settle = Callable[[DeskWindow], None]
Save = Callable[[QWidget, Path], None]


def glow_pictures(window: DeskWindow, folder: Path, name: str, settle: Settle, save: Save) -> None:
    """Render what Afterglow can do with one ink: mean, alignment, fade."""
    viewing, glow = window.viewing, window.viewing.glow
    viewing.set_view("afterglow")
    for part, on, off in (
        ("mean", lambda: glow.set_mean(True), lambda: glow.set_mean(False)),
        ("aligned", lambda: glow.set_aligned_by("pulse"), lambda: glow.set_aligned_by("trigger")),
        ("fade", lambda: glow.set_half_life(3), lambda: glow.set_half_life(None)),
    ):
        on()
        settle(window)
        save(window.middle, folder / f"{name}_glow_{part}.png")
        off()
    settle(window)


def figure_pictures(window: DeskWindow, folder: Path, name: str, settle: Settle, save: Save) -> None:
    """Render each figure large."""
    panel = window.findings_panel
    for number, (figure, _) in enumerate(panel.figures.items()):
        panel.pages.setCurrentIndex(number + 1)
        settle(window)
        panel.open_large()
        settle(window)
        large = next(w for w in window.findChildren(FigureWindow) if w.isVisible())
        save(large, folder / f"{name}_large_{figure}.png")
        large.close()
        settle(window)
