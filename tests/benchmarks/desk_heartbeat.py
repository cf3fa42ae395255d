"""How long the desk's window ever fails to answer: the largest gap between two beats of its event loop.

Run by hand: ``python tests/benchmarks/desk_heartbeat.py [--records 2000] [--runs 3]``. A session of 2,000 × 12 ×
25,000 samples (1.2 GB) is made in a temporary folder. After the desk's first paint the beats are counted over opening
it, stepping, overlaying all records, zooming, measuring and cancelling, by real keys and wheels, while two more
workers of the desk measure the same samples without a pause; they have begun before the session is opened. Each run
is a process of its own, on Qt's offscreen platform.

Beside it beats a peer: an event loop of its own that has nothing to do. Its gaps are what the machine keeps from
anybody at that moment, and are told beside those of the desk, as is the time that the desk's thread itself worked.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from desk_sessions import write_walk

WANTED_MS = 100.0
BEAT_MS = 2
LONGEST = 600.0
AT_IT = 0.15
"""Share of measuring from which on a worker counts as busy: all samples go through code that is loaded by then."""
PEER_TELLS = 5e-3
"""Shorter gaps of the peer are not worth a line, seconds."""


class Gap(NamedTuple):
    """Between two beats: when the first one was and how long, seconds of the machine's clock, and worked meanwhile."""

    began: float
    lasted: float = 0.0
    worked: float = 0.0


class Heart:
    """Beats in the event loop and keeps the largest gap of each phase."""

    def __init__(self) -> None:
        from PySide6.QtCore import Qt, QTimer

        self.gaps: dict[str, Gap] = {}
        self.phase = ""
        self._last, self._worked = time.monotonic(), time.thread_time()
        self._timer = QTimer()
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(BEAT_MS)
        self._timer.timeout.connect(self._beat)
        self._timer.start()

    def _beat(self) -> None:
        now, worked = time.monotonic(), time.thread_time()
        gap = Gap(self._last, now - self._last, worked - self._worked)
        if self.phase and gap.lasted > self.gaps.get(self.phase, gap._replace(lasted=0.0)).lasted:
            self.gaps[self.phase] = gap
        self._last, self._worked = now, worked


class Peer:
    """An event loop in a process of its own that does nothing but beat, and writes down its gaps over 5 ms."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__, "--beat-alone"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self._process.stdout is not None
        self._process.stdout.readline()  # it beats

    def gaps(self) -> list[Gap]:
        """End it, and return what it wrote."""
        told, _ = self._process.communicate("enough\n")
        return [Gap(*map(float, line.split())) for line in told.splitlines()]


def beat_alone() -> None:
    """Be the peer, until a line comes in."""
    from PySide6.QtCore import QCoreApplication, QSocketNotifier, Qt, QTimer

    application = QCoreApplication([])
    last, gaps = time.monotonic(), []

    def beat() -> None:
        nonlocal last
        now = time.monotonic()
        if now - last > PEER_TELLS:
            gaps.append((last, now - last))
        last = now

    timer = QTimer()
    timer.setTimerType(Qt.TimerType.PreciseTimer)
    timer.setInterval(BEAT_MS)
    timer.timeout.connect(beat)
    timer.start()
    ended = QSocketNotifier(sys.stdin.fileno(), QSocketNotifier.Type.Read)
    ended.activated.connect(application.quit)
    print("beating", flush=True)
    application.exec()
    for began, lasted in gaps:
        print(began, lasted)


def measure_for_ever(path: Path, job: Any, at_it: threading.Event) -> None:
    """Be a busy worker of the desk: measure the session, block by block, again and again."""
    from pulsewright.opening import open_session
    from pulsewright.settings import Settings
    from pulsewright_analysis.assessment import assess
    from pulsewright_analysis.findings import Cancelled

    with open_session(path) as session, contextlib.suppress(Cancelled):
        while not job.cancelled():
            assess(session, Settings(), lambda share, _: at_it.set() if share > AT_IT else None, job.cancelled, "")


def gestures(window: Any, path: Path, phase: Callable[[str], None]) -> Iterator[Callable[[], bool] | float]:
    """Do everything in turn; yield seconds to wait, or what must be true before going on."""
    from PySide6.QtCore import QPoint, QPointF, Qt
    from PySide6.QtGui import QWheelEvent
    from PySide6.QtTest import QTest
    from PySide6.QtWidgets import QApplication

    def key(which: Qt.Key, held: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        QTest.keyClick(window.middle.view.canvas, which, held)

    def wheel(notches: int) -> None:
        viewport = window.middle.view.canvas.viewport()
        spot = viewport.rect().center()
        event = QWheelEvent(
            QPointF(spot), QPointF(viewport.mapToGlobal(spot)), QPoint(), QPoint(0, 120 * notches),
            Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
        )  # fmt: skip
        QApplication.sendEvent(viewport, event)

    alt, control, results = Qt.KeyboardModifier.AltModifier, Qt.KeyboardModifier.ControlModifier, window.results
    phase("opening")
    window.open_path(path)
    yield lambda: window.document.session is not None
    yield 1.0
    phase("stepping")
    for _ in range(200):
        key(Qt.Key.Key_PageDown)
        yield 0.01
    phase("measuring")
    yield lambda: not results.busy
    yield 0.5
    phase("stepping, measured")
    for _ in range(100):
        key(Qt.Key.Key_PageDown)
        yield 0.01
    for number, name in ((2, "stacked"), (3, "overlaying"), (4, "map"), (1, "single")):
        phase(name)
        key(Qt.Key(Qt.Key.Key_0 + number), alt)
        yield 0.5
        for _ in range(20):
            key(Qt.Key.Key_PageDown)
            yield 0.02
        yield lambda: not window.background.busy
        phase(f"zooming, {name}")
        for notches in (1, 1, 1, 1, 1, 1, -1, -1, -1):
            wheel(notches)
            yield 0.1
        yield lambda: not window.background.busy
        key(Qt.Key.Key_W)
        yield 0.3
    phase("measuring and cancelling")
    for wait in (0.05, 0.3, 1.0):
        key(Qt.Key.Key_F5)
        yield wait
        key(Qt.Key.Key_Period, control)
        yield 0.3
    phase("channels")
    for _ in range(4):
        key(Qt.Key.Key_Down, control)
        yield 0.2


def one_run(path: Path) -> None:
    """Open a desk, do everything, and print the largest gaps."""
    from PySide6.QtCore import QTimer
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.style import prepare
    from pulsewright_app.desk.window import DeskWindow
    from pulsewright_app.desk.work import Background

    application = QApplication(["pulsewright"])
    prepare(application)
    window = DeskWindow()
    window.resize(1600, 900)
    window.show()
    for _ in range(20):  # the first screen is painted
        application.processEvents()
        time.sleep(0.01)
    others = Background(threads=2)
    at_it = [threading.Event(), threading.Event()]
    for number, event in enumerate(at_it):
        others.start(f"Busy {number}", lambda job, event=event: measure_for_ever(path, job, event), lambda _: None)
    while not all(event.is_set() for event in at_it):  # the libraries are loaded, and they measure
        application.processEvents()
        time.sleep(0.01)
    peer = Peer()
    heart = Heart()
    began = time.perf_counter()

    def phase(name: str) -> None:
        heart.phase = name

    script = gestures(window, path, phase)
    waiting: Callable[[], bool] | None = None

    def go_on() -> None:
        nonlocal waiting
        if waiting is not None and not waiting():
            assert time.perf_counter() - began < LONGEST, f"{heart.phase} takes for ever"
            QTimer.singleShot(20, go_on)
            return
        waiting = None
        wait = next(script, None)
        if wait is None:
            application.quit()
        elif callable(wait):
            waiting = wait
            QTimer.singleShot(0, go_on)
        else:
            QTimer.singleShot(round(1000 * wait), go_on)

    QTimer.singleShot(0, go_on)
    application.exec()
    heart.phase = ""
    others.close()
    tell(heart, peer.gaps(), time.perf_counter() - began)
    window.close()


def tell(heart: Heart, peer: list[Gap], lasted: float) -> None:
    """Print the largest gap, and that of each phase with what the peer and the thread itself did meanwhile."""
    name, largest = max(heart.gaps.items(), key=lambda item: item[1].lasted)
    print(
        f"largest gap {1e3 * largest.lasted:.0f} ms, {name} (wanted: at most {WANTED_MS:g} ms), {lasted:.0f} s in all"
    )
    print(f"largest gap of the peer {1e3 * max((gap.lasted for gap in peer), default=PEER_TELLS):.0f} ms")
    print("phase: gap, ms; its thread worked meanwhile, ms; largest gap of the peer about that time, ms")
    for phase, gap in heart.gaps.items():
        about = [p.lasted for p in peer if p.began < gap.began + gap.lasted and gap.began < p.began + p.lasted]
        print(f"{phase}: {1e3 * gap.lasted:.0f}; {1e3 * gap.worked:.0f}; {1e3 * max(about, default=PEER_TELLS):.0f}")
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=2000)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--session", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--beat-alone", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.beat_alone:
        beat_alone()
        return
    if asked.session is not None:
        one_run(asked.session)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "walk.h5"
        write_walk(path, asked.records)
        for _ in range(asked.runs):
            with tempfile.TemporaryDirectory() as own:
                places = {"XDG_DATA_HOME": own, "XDG_CONFIG_HOME": own}  # nobody's reviews and settings
                subprocess.run([sys.executable, __file__, "--session", str(path)], check=True, env=os.environ | places)


if __name__ == "__main__":
    main()
