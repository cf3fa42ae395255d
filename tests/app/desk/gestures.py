"""Gestures on the views, and what can be read off them: shared by the desk's tests."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QImage, QWheelEvent
from PySide6.QtWidgets import QAbstractButton, QApplication, QLabel, QWidget

from pulsewright_app.desk.memory import SEARCHES
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

Settle = Callable[[DeskWindow], None]
VIEWS = ("single", "stacked", "afterglow", "map")
LEFT = Qt.MouseButton.LeftButton


def shown_windows() -> list[QWidget]:
    """The windows that can be seen; PySide6 6.11 dies of garbage that is found and deleted while it lists them."""
    SEARCHES.rest()
    try:
        return [window for window in QApplication.topLevelWidgets() if window.isVisible()]
    finally:
        SEARCHES.resume()


def canvas_of(desk: DeskWindow) -> Canvas:
    return desk.middle.view.canvas


def at(desk: DeskWindow, time: float, height: float | None = None) -> QPoint:
    """The pixel of a time, and of a height or the plot's middle."""
    canvas = canvas_of(desk)
    y = canvas.plot_rect().center().y() if height is None else canvas.y_of(height)
    return QPoint(round(canvas.x_of(time)), round(y))


def picture(desk: DeskWindow) -> QImage:
    return canvas_of(desk).viewport().grab().toImage()


def colours_of(image: QImage) -> np.ndarray:
    """The picture as an array (height, width, 3) of red, green and blue."""
    plain = image.convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(plain.constBits(), dtype=np.uint8).reshape(plain.height(), plain.bytesPerLine())
    return rows[:, : 3 * plain.width()].reshape(plain.height(), plain.width(), 3).astype(int)


def spots(chosen: np.ndarray) -> set[tuple[int, int]]:
    """The (x, y) of the pixels that were chosen."""
    return {(int(x), int(y)) for y, x in np.argwhere(chosen)}


def pixels(image: QImage, colour: str) -> set[tuple[int, int]]:
    """The pixels of exactly this colour."""
    return spots(np.all(colours_of(image) == QColor(colour).getRgb()[:3], axis=2))


def inked(desk: DeskWindow, colour: str) -> set[tuple[int, int]]:
    """The pixels of the plot that lie on the way from the page to this colour: lines are drawn smoothly."""
    plot = canvas_of(desk).plot_rect().toAlignedRect()
    page, wanted = (np.array(QColor(c).getRgb()[:3], dtype=float) for c in (LIGHT.plot, colour))
    away, way = colours_of(picture(desk)) - page, wanted - page
    share = away @ way / (way @ way)
    chosen = (share > 0.35) & (np.abs(away - share[..., None] * way).max(axis=2) < 12)
    inside = np.zeros_like(chosen)
    inside[plot.top() + 1 : plot.bottom(), plot.left() + 1 : plot.right()] = True
    return spots(chosen & inside)


def labelled(desk: DeskWindow, name: str) -> str:
    """The text of the label that a screen reader calls `name`."""
    return next(label.text() for label in desk.findChildren(QLabel) if label.accessibleName() == name)


def turn(
    desk: DeskWindow, where: QPoint, notches: int, shift: bool = False, held: Any = None, timestamp: int = 0
) -> None:
    canvas = canvas_of(desk)
    if held is None:
        held = Qt.KeyboardModifier.ShiftModifier if shift else Qt.KeyboardModifier.NoModifier
    event = QWheelEvent(
        QPointF(where), QPointF(canvas.viewport().mapToGlobal(where)), QPoint(), QPoint(0, 120 * notches),
        Qt.MouseButton.NoButton, held, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    event.setTimestamp(timestamp)
    QApplication.sendEvent(canvas.viewport(), event)


def point(qtbot: Any, desk: DeskWindow, where: QPoint) -> None:
    """Move the mouse there; by way of another spot, because a mouse that is there already does not move."""
    for spot in (where + QPoint(6, 6), where):
        qtbot.mouseMove(canvas_of(desk).viewport(), spot)


def drag(qtbot: Any, desk: DeskWindow, start: QPoint, end: QPoint) -> None:
    viewport = canvas_of(desk).viewport()
    qtbot.mousePress(viewport, LEFT, pos=start)
    for share in (0.3, 0.7, 1.0):
        qtbot.mouseMove(viewport, start + (end - start) * share)
    qtbot.mouseRelease(viewport, LEFT, pos=end)


def pulse_of(desk: DeskWindow, record: int, channel: int) -> tuple[float, float]:
    findings = desk.results.findings
    assert findings is not None
    found = findings.pulses.where(record, channel)[0]
    return float(findings.pulses.time[found]), float(findings.pulses.time_u[found])


def button(desk: QWidget, text: str) -> QAbstractButton:
    return next(b for b in desk.findChildren(QAbstractButton) if b.text() == text and b.isVisible())


def message(desk: DeskWindow) -> str:
    return desk.message_bar.label.text() if desk.message_bar.isVisible() else ""


def all_findings(desk: DeskWindow, qtbot: Any) -> str:
    qtbot.mouseClick(button(desk, "Copy all"), LEFT)
    return QApplication.clipboard().text()


def press(desk: DeskWindow, qtbot: Any, keys: str) -> None:
    """Press the keys of an action where the keyboard is."""
    target = desk.focusWidget() or desk
    combination = next(a for a in desk.actions() if a.shortcut().toString() == keys).shortcut()[0]
    qtbot.keyClick(target, combination.key(), combination.keyboardModifiers())
