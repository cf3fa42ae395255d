"""Seeded random gestures on the desk: whatever a hand may do in any order. Shared by a test and a benchmark."""

from __future__ import annotations

import random
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QCoreApplication, QEvent, QPoint, QPointF, Qt, QtMsgType, qInstallMessageHandler
from PySide6.QtGui import QDesktopServices, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QFileDialog, QLineEdit, QWidget

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

LEFT, RIGHT = Qt.MouseButton.LeftButton, Qt.MouseButton.RightButton
NOTHING_HELD, SHIFT = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier
HARMLESS = ("This plugin does not support",)
"""What the offscreen platform says of itself, and no window of ours can help."""
LEAVING = {"quit", "close", "another", "open"}
"""Actions that leave the desk or its session, or ask the system's own dialog; a few are done in other ways."""
FILTERS = (
    "polarity negative", "residual > 3 u", "gap > 60 ms", "flagged or noted", "record 3 .. 9", "not left out",
    "polarity", "residual > ", "gap > 3 V", "((", "brighter", "", "record 99 .. 2", "missed before",
)  # fmt: skip
TYPED = ("0", "12", "99999", "1.2 s", "-3 ms", "soon", "")
SAMPLES = ("tank_faults", "tank_walk", "tank_slip", "tank_sine")


class Faults:
    """Everything that went wrong while it listens: exceptions, and what Qt complains of."""

    def __init__(self) -> None:
        self.exceptions: list[str] = []
        self.warnings: list[str] = []
        self._hooks = sys.excepthook, sys.unraisablehook
        sys.excepthook = lambda kind, error, trace: self.exceptions.append(
            "".join(traceback.format_exception(kind, error, trace))
        )
        sys.unraisablehook = lambda hooked: self.exceptions.append(
            "".join(traceback.format_exception(hooked.exc_type, hooked.exc_value, hooked.exc_traceback))
        )
        self._handler = qInstallMessageHandler(self._heard)

    def _heard(self, kind: QtMsgType, _: Any, text: str) -> None:
        if kind != QtMsgType.QtDebugMsg and not text.startswith(HARMLESS):
            self.warnings.append(text)

    def stop(self) -> None:
        """Listen no more."""
        sys.excepthook, sys.unraisablehook = self._hooks
        qInstallMessageHandler(self._handler)


def without_dialogs(folder: Path, patch: Callable[[Any, str, Any], None]) -> None:
    """Let the system's own dialogs answer at once, and nothing be opened outside."""
    patch(QFileDialog, "getOpenFileName", lambda *_, **__: ("", ""))
    patch(QFileDialog, "getOpenFileNames", lambda *_, **__: ([], ""))
    patch(QFileDialog, "getExistingDirectory", lambda *_, **__: str(folder / "numbers"))
    patch(QFileDialog, "getSaveFileName", lambda *_, **__: (str(folder / f"saved{random.randrange(4)}"), ""))
    patch(QDesktopServices, "openUrl", lambda _: True)


class Hands:
    """Does one random gesture after another on a desk.

    Parameters
    ----------
    desk : DeskWindow
        With a session on it.
    seed : int
        Of everything that is random.
    """

    def __init__(self, desk: DeskWindow, seed: int) -> None:
        self._desk, self._random = desk, random.Random(seed)
        self.done: Counter[str] = Counter()
        self.last: list[str] = []
        """The last gestures, for whoever looks for what went wrong."""

    def do(self) -> None:
        """Do one gesture, and let the desk answer it."""
        kinds = (
            (self._key, 30), (self._action, 14), (self._drag, 14), (self._click, 10), (self._double_click, 3),
            (self._wheel, 10), (self._filter, 3), (self._number, 2), (self._resize, 2), (self._rail, 5),
            (self._choose, 3), (self._type, 3), (self._session, 1), (self._page_click, 4),
        )  # fmt: skip
        gesture = self._random.choices([kind for kind, _ in kinds], [weight for _, weight in kinds])[0]
        told = gesture()
        name = gesture.__name__.strip("_")
        self.done[name] += 1
        self.last = [*self.last[-40:], f"{name} {told}"]
        self._answer()

    def _answer(self) -> None:
        """Let what was asked for happen; sometimes all of it, before the next gesture comes."""
        until = time.monotonic() + self._random.choice((0.0, 0.0, 0.0, 0.02))
        QCoreApplication.processEvents()
        while time.monotonic() < until:
            QCoreApplication.processEvents()
            time.sleep(0.001)
        # an event loop that runs does this by itself; one that is only asked now and then does not
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)

    # -- on the view ----------------------------------------------------------------------------------------

    @property
    def _viewport(self) -> QWidget:
        viewport: QWidget = self._desk.middle.view.canvas.viewport()
        return viewport

    def _spot(self, widget: QWidget) -> QPoint:
        return QPoint(self._random.randrange(max(widget.width(), 1)), self._random.randrange(max(widget.height(), 1)))

    def _click(self) -> str:
        spot = self._spot(self._viewport)
        QTest.mouseClick(self._viewport, self._random.choice((LEFT, LEFT, RIGHT)), NOTHING_HELD, spot)
        return str(spot.toTuple())

    def _double_click(self) -> str:
        spot = self._spot(self._viewport)
        QTest.mouseDClick(self._viewport, LEFT, self._random.choice((NOTHING_HELD, SHIFT)), spot)
        QTest.mouseRelease(self._viewport, LEFT, NOTHING_HELD, spot)
        return str(spot.toTuple())

    def _drag(self) -> str:
        viewport, button = self._viewport, self._random.choice((LEFT, LEFT, RIGHT))
        start, end = self._spot(viewport), self._spot(viewport)
        QTest.mousePress(viewport, button, NOTHING_HELD, start)
        for share in (0.3, 0.7, 1.0):
            QTest.mouseMove(viewport, start + (end - start) * share)
            QCoreApplication.processEvents()
        QTest.mouseRelease(viewport, button, NOTHING_HELD, end)
        return f"{start.toTuple()} {end.toTuple()}"

    def _wheel(self) -> str:
        viewport, spot = self._viewport, QPointF(self._spot(self._viewport))
        notches = self._random.choice((-5, -1, 1, 5, 12))
        held = self._random.choice((NOTHING_HELD, SHIFT))
        QApplication.sendEvent(
            viewport,
            QWheelEvent(
                spot, QPointF(viewport.mapToGlobal(spot.toPoint())), QPoint(), QPoint(0, 120 * notches),
                Qt.MouseButton.NoButton, held, Qt.ScrollPhase.NoScrollPhase, False,
            ),
        )  # fmt: skip
        return str(notches)

    # -- keys and actions -----------------------------------------------------------------------------------

    def _key(self) -> str:
        keys = Qt.Key
        key = self._random.choice(
            (
                keys.Key_PageDown, keys.Key_PageDown, keys.Key_PageUp, keys.Key_Home, keys.Key_End, keys.Key_Space,
                keys.Key_Left, keys.Key_Right, keys.Key_Backspace, keys.Key_W, keys.Key_M, keys.Key_F, keys.Key_G,
                keys.Key_X, keys.Key_Tab, keys.Key_Escape, keys.Key_Down, keys.Key_Delete,
            )
        )  # fmt: skip
        held = self._random.choice((NOTHING_HELD, NOTHING_HELD, SHIFT))
        QTest.keyClick(QApplication.focusWidget() or self._desk, key, held)
        return f"{key.name} {held.name}"

    def _action(self) -> str:
        name = self._random.choice(sorted(set(self._desk.actions_by_name) - LEAVING))
        action = self._desk.actions_by_name[name]
        if action.isEnabled():
            action.trigger()
        return name

    def _session(self) -> str:
        name = self._random.choice(SAMPLES)
        self._desk.open_path(sample(f"{name}.h5"))
        return name

    def _resize(self) -> str:
        size = self._random.choice(((1366, 768), (1500, 920), (900, 600), (2200, 1300)))
        self._desk.resize(*size)
        return str(size)

    # -- controls -------------------------------------------------------------------------------------------

    def _rail(self) -> str:
        rail = self._desk.middle.rail_row.rail
        spot = self._spot(rail)
        QTest.mousePress(rail, LEFT, NOTHING_HELD, spot)
        QTest.mouseMove(rail, self._spot(rail))
        QTest.mouseRelease(rail, LEFT, NOTHING_HELD, self._spot(rail))
        return str(spot.toTuple())

    def _write(self, line: QLineEdit, text: str) -> str:
        if line.isVisible() and line.isEnabled():
            line.setFocus()
            line.selectAll()
            QTest.keyClick(line, Qt.Key.Key_Delete)
            QTest.keyClicks(line, text)
            QTest.keyClick(line, Qt.Key.Key_Return)
        return text

    def _filter(self) -> str:
        return self._write(self._desk.middle.rail_row.filter_row.line, self._random.choice(FILTERS))

    def _number(self) -> str:
        return self._write(self._desk.middle.rail_row.number, self._random.choice(TYPED))

    def _visible(self, kind: type[QWidget]) -> list[Any]:
        places = (self._desk, *self._pages())
        return [w for place in places for w in place.findChildren(kind) if w.isVisible() and w.isEnabled()]

    def _pages(self) -> list[QWidget]:
        return [w for w in QApplication.topLevelWidgets() if w.isVisible() and w.parent() is self._desk]

    def _choose(self) -> str:
        boxes = self._visible(QComboBox)
        if not boxes:
            return "nothing"
        box = self._random.choice(boxes)
        box.setFocus()
        QTest.keyClick(box, self._random.choice((Qt.Key.Key_Down, Qt.Key.Key_Up, Qt.Key.Key_Home, Qt.Key.Key_End)))
        return str(box.accessibleName())

    def _type(self) -> str:
        lines = self._visible(QLineEdit)
        if not lines:
            return "nothing"
        line = self._random.choice(lines)
        return (
            f"{line.accessibleName()}: {self._write(line, self._random.choice((*FILTERS, *TYPED, '5 ns', 'H01,H02')))}"
        )

    def _page_click(self) -> str:
        """Click anywhere on a panel or on a page that is open beside the desk."""
        places = [dock.widget() for dock in self._desk.docks.values() if dock.isVisible()] + self._pages()
        if not places:
            return "nothing"
        place = self._random.choice(places)
        spot = self._spot(place)
        target = place.childAt(spot) or place
        if not target.isEnabled():
            return "nothing"
        QTest.mouseClick(target, LEFT, NOTHING_HELD, target.mapFrom(place, spot))
        return f"{place.accessibleName()} {spot.toTuple()}"
