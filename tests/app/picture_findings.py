"""Pictures of Afterglow's choices, of verdicts opened, and of every figure small and large."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QWidget

from pulsewright_app.desk.plots.figure_window import FigureWindow
from pulsewright_app.desk.window import DeskWindow

Settle = Callable[[DeskWindow], None]
Save = Callable[[QWidget, Path], None]


def glow_pictures(window: DeskWindow, folder: Path, name: str, settle: Settle, save: Save) -> None:
    """Render what Afterglow can do: mean, alignment, fade, stepping, and the records that pass at a spot."""
    viewing, glow = window.viewing, window.viewing.glow
    viewing.set_view("afterglow")
    for part, on, off in (
        ("mean", lambda: glow.set_mean(True), lambda: glow.set_mean(False)),
        ("aligned", lambda: glow.set_aligned_by("pulse"), lambda: glow.set_aligned_by("trigger")),
        ("fade", lambda: glow.set_half_life(3), lambda: glow.set_half_life(None)),
        ("stepped", lambda: glow.set_of("stepped"), lambda: glow.set_of("all")),
    ):
        on()
        settle(window)
        save(window.middle, folder / f"{name}_glow_{part}.png")
        off()
    settle(window)
    findings, view = window.results.findings, window.middle.view
    found = findings.pulses.where(viewing.record, viewing.channel) if findings is not None else []
    if findings is not None and len(found):
        canvas = view.canvas
        spot = QPoint(
            round(canvas.x_of(float(findings.pulses.time[found[0]]))),
            round(canvas.y_of(float(findings.pulses.amplitude[found[0]]) / 2)),
        )
        QTest.mouseClick(canvas.viewport(), Qt.MouseButton.LeftButton, pos=spot)
        settle(window)
        view.passing.walk_button.click()  # type: ignore[attr-defined]
        settle(window)
        save(window, folder / f"{name}_passing.png")
        view.passing.close_button.click()  # type: ignore[attr-defined]


def figure_pictures(window: DeskWindow, folder: Path, name: str, settle: Settle, save: Save) -> None:
    """Render the findings panel with its first claims opened, and each figure small and large."""
    panel = window.findings_panel
    for row in (3, 1):
        if row < panel.list.model().rowCount():
            panel.list.toggle(row)
    for number, (figure, _) in enumerate(panel.figures.items()):
        panel.pages.setCurrentIndex(number + 1)
        settle(window)
        save(panel, folder / f"{name}_small_{figure}.png")
        panel.open_large()
        settle(window)
        large = next(w for w in window.findChildren(FigureWindow) if w.isVisible())
        save(large, folder / f"{name}_large_{figure}.png")
        large.close()
        settle(window)
