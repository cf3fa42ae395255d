"""How soon the desk shows an afterglow: coarse, exact, at another zoom, and how soon it is called off.

Run by hand: ``python tests/benchmarks/desk_coarse.py [--repeats 5]``. Sessions of 2,000 × 12 × 25,000 and of 200 ×
1,000,000 samples are made in a temporary folder. Everything is by real keys and wheels on the full desk, 1600 × 900, on
Qt's offscreen platform, and counts from the event to the end of the paint that shows the picture. The peer is NumPy's
`sum` over the same codes in memory, on one core. The first lines are while the session is still being measured.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from desk_sessions import write_walk
from long_records import write_drone

COARSE_MS = 100.0
FIRST_LOOK_S = 4.0
"""A person looks at the first screen for so long before the first session is asked for."""


class Watched:
    """A desk whose Afterglow tells when it painted what."""

    def __init__(self) -> None:
        from PySide6.QtWidgets import QApplication

        from pulsewright_app.desk.style import prepare
        from pulsewright_app.desk.window import DeskWindow

        self.application = QApplication(["pulsewright"])
        prepare(self.application)
        self.window = DeskWindow()
        self.window.resize(1600, 900)
        self.window.show()
        self.view: Any = self.window.middle.views["afterglow"]
        self.view.canvas.above.append(self._painted)
        self.first = self.exact = 0.0
        self.before: Any = None
        end = time.monotonic() + FIRST_LOOK_S
        while time.monotonic() < end:
            self.application.processEvents()
            time.sleep(0.01)

    def _painted(self, *_: Any) -> None:
        made = self.view.made
        if made is None or made.plan is self.before or not self.view._is_current:
            return  # nothing yet, or what was there before, stretched
        now = time.perf_counter()
        self.first = self.first or now
        if made.complete and self.view.making is None:
            self.exact = self.exact or now

    def until(self, true: Callable[[], bool], longest: float = 120.0) -> None:
        end = time.monotonic() + longest
        while not true():
            assert time.monotonic() < end, "it takes for ever"
            self.application.processEvents()
            time.sleep(0.0005)

    def settle(self) -> None:
        """Wait until what was asked for last is drawn: a wheel zooms from what is on the screen."""
        self.until(lambda: self.view.at_rest and not self.window.background.busy)

    def key(self, number: int) -> None:
        from PySide6.QtCore import Qt
        from PySide6.QtTest import QTest

        QTest.keyClick(self.window.middle.view.canvas, Qt.Key(Qt.Key.Key_0 + number), Qt.KeyboardModifier.AltModifier)

    def wheel(self, notches: int) -> None:
        from PySide6.QtCore import QPoint, QPointF, Qt
        from PySide6.QtGui import QWheelEvent

        viewport = self.window.middle.view.canvas.viewport()
        spot = viewport.rect().center()
        event = QWheelEvent(
            QPointF(spot), QPointF(viewport.mapToGlobal(spot)), QPoint(), QPoint(0, 120 * notches),
            Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
        )  # fmt: skip
        self.application.sendEvent(viewport, event)

    def taken(self, event: Callable[[], None]) -> tuple[float, float]:
        """Return the milliseconds from an event to the first picture, and to the exact one."""
        self.first = self.exact = 0.0
        self.before = None if self.view.made is None else self.view.made.plan
        began = time.perf_counter()
        event()
        self.until(lambda: self.exact > 0)
        return 1e3 * (self.first - began), 1e3 * (self.exact - began)

    def called_off(self) -> float:
        """Return the milliseconds from leaving the view, just after it began, until nobody works on it."""
        self.view.forget()
        self.key(3)
        for _ in range(3):
            self.application.processEvents()
        began = time.perf_counter()
        self.key(1)
        self.until(lambda: self.view.making is None or self.view.KEY not in self.window.background._jobs)
        return 1e3 * (time.perf_counter() - began)


def told(name: str, pairs: list[tuple[float, float]]) -> None:
    first, exact = (statistics.median(pair[kind] for pair in pairs) for kind in (0, 1))
    print(f"{name}: first picture {first:.0f} ms (wanted: at most {COARSE_MS:g}), exact {exact:.0f} ms")
    sys.stdout.flush()


def look(desk: Watched, path: Path, repeats: int) -> None:
    """Open a session and time everything."""
    window = desk.window
    window.open_path(path)
    desk.until(lambda: window.document.session is not None and window.document.session.file == path)
    desk.until(lambda: window.results.busy)
    told("while it is measured", [desk.taken(lambda: desk.key(3))])
    desk.until(lambda: not window.background.busy)
    desk.key(1)
    again = []
    for _ in range(repeats):
        desk.view.forget()
        desk.until(lambda: not window.background.busy)
        again.append(desk.taken(lambda: desk.key(3)))
        desk.key(1)
    told("measured, made anew", again)
    desk.key(3)
    desk.until(lambda: not window.background.busy)
    for notches in range(1, 7):
        zooms = []
        for _ in range(repeats):
            window.viewing.fit()
            desk.settle()
            zooms.append(desk.taken(lambda notches=notches: desk.wheel(notches)))
        told(f"zoomed in by {notches}", zooms)
    off = [desk.called_off() for _ in range(repeats)]
    print(f"called off: nobody works on it {statistics.median(off):.1f} ms after the key, {max(off):.1f} ms at most")


def peer(path: Path) -> float:
    """Return the milliseconds of NumPy's sum over the codes of one channel, in memory."""
    import numpy as np

    from pulsewright.opening import open_session

    with open_session(path) as session:
        codes = np.ascontiguousarray(session.channel_codes(0, 0, session.records))
    taken = []
    for _ in range(5):
        began = time.perf_counter()
        codes.sum()
        taken.append(1e3 * (time.perf_counter() - began))
    return statistics.median(taken)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ.update({f"XDG_{kind}_HOME": folder for kind in ("DATA", "CONFIG", "CACHE")})
        walk, drone = Path(folder) / "walk.h5", Path(folder) / "drone.h5"
        write_walk(walk, 2000)
        write_drone(drone, 200, 1_000_000)
        desk = Watched()
        for path in (walk, drone):
            print(f"{path.stem}; NumPy's sum over the channel: {peer(path):.0f} ms")
            look(desk, path, asked.repeats)
        desk.window.close()
        print(f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
