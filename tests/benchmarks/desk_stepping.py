"""How long a step takes on the desk, from the key to the last pixel: 300 distinct records of 12 × 25,000 samples.

Run by hand: ``python tests/benchmarks/desk_stepping.py [--records 300] [--wide]``. The desk is complete,
1600 × 900, with found pulses and two marker pairs shown; Page Down is pressed, and the clock stops when everything that
changed, panels included, is painted. Once at single and once at double density, each in a process of its own, on Qt's
offscreen platform, which paints every pixel as a screen without graphics card would. The time that the main thread
itself worked is printed beside, because other programs on the machine lengthen the other one.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from desk_sessions import write_walk

WANTED_MS = {1: 16.7, 2: 33.0}
SIZE = (1600, 900)
WARM_UP = 20


def step_through(path: Path, records: int, wide: bool, profile: str, neighbours: int) -> None:
    """Open the session on a desk, press Page Down until the end, and print how long each step took."""
    import numpy as np
    from PySide6.QtCore import QCoreApplication, QEvent, QObject, Qt
    from PySide6.QtTest import QTest
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.style import prepare
    from pulsewright_app.desk.window import DeskWindow

    application = QApplication(["pulsewright"])
    prepare(application)
    window = DeskWindow()
    window.resize(*SIZE)
    window.show()
    window.open_path(path)
    _rest(window)
    session, findings = window.document.session, window.results.findings
    assert session is not None
    assert findings is not None
    hand = window.middle.view.hand
    hand.add(120e-6, 3.0)
    hand.add(400e-6, 5.0)
    if wide:
        for dock in window.docks.values():
            dock.hide()
    _rest(window)
    if neighbours:
        window.viewing.set_neighbours(neighbours)
        window.viewing.set_view("stacked")
        _rest(window)
    canvas = window.middle.view.canvas

    class Painted(QObject):
        count = 0

        def eventFilter(self, watched: QObject, event: QEvent) -> bool:
            if event.type() == QEvent.Type.Paint:
                self.count += 1
            return False

    painted = Painted()
    canvas.viewport().installEventFilter(painted)
    canvas.setFocus()

    def one() -> tuple[float, float]:
        before = painted.count
        began, worked = time.perf_counter(), time.thread_time()
        QTest.keyClick(canvas, Qt.Key.Key_PageDown)
        QCoreApplication.processEvents()
        while painted.count == before or _pending(window):
            QCoreApplication.processEvents()
        return 1e3 * (time.perf_counter() - began), 1e3 * (time.thread_time() - worked)

    for _ in range(WARM_UP):
        one()
    profiler = None
    if profile:
        import cProfile

        profiler = cProfile.Profile()
        profiler.enable()
    times, work = np.array([one() for _ in range(records - WARM_UP - 1)]).T
    if profiler is not None:
        profiler.disable()
        profiler.dump_stats(profile)
    assert window.viewing.record == records - 1
    plot, density = canvas.plot_rect(), canvas.devicePixelRatioF()
    median, worst = np.percentile(times, (50, 95))
    print(
        f"density {density:g}: {len(times)} steps, plot {plot.width():.0f} × {plot.height():.0f}, "
        f"{len(findings.pulses.record)} pulses found: "
        f"median {median:.1f} ms, 95th percentile {worst:.1f} ms, longest {times.max():.1f} ms "
        f"(wanted: 95th at most {WANTED_MS[round(density)]:g} ms); "
        f"main thread at work: median {np.median(work):.1f} ms, 95th {np.percentile(work, 95):.1f} ms",
        flush=True,
    )
    window.close()


def _pending(window: object) -> bool:
    view = window.middle.view  # type: ignore[attr-defined]
    return bool(view._timer.isActive())


def _rest(window: object) -> None:
    """Let the background finish and everything be drawn."""
    from PySide6.QtCore import QCoreApplication

    quiet = 0
    while quiet < 10:
        QCoreApplication.processEvents()
        time.sleep(0.02)
        quiet = 0 if window.background.busy else quiet + 1  # type: ignore[attr-defined]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=300)
    parser.add_argument(
        "--wide", action="store_true", help="without the panels, so that the plot is as wide as it gets"
    )
    parser.add_argument("--profile", default="", help="write what cProfile saw to this file, by density")
    parser.add_argument("--stacked", type=int, default=0, help="with so many neighbours in Stacked instead of Single")
    parser.add_argument("--density", type=int, choices=(1, 2), help="this one only")
    parser.add_argument("--session", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.session is not None:
        step_through(asked.session, asked.records, asked.wide, asked.profile, asked.stacked)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "walk.h5"
        write_walk(path, asked.records)
        for density in (1, 2) if asked.density is None else (asked.density,):
            command = [sys.executable, __file__, "--session", str(path), "--records", str(asked.records)]
            command += ["--stacked", str(asked.stacked)]
            command += ["--wide"] if asked.wide else []
            command += ["--profile", f"{asked.profile}.{density}"] if asked.profile else []
            places = {"XDG_DATA_HOME": folder, "XDG_CONFIG_HOME": folder}  # nobody's reviews and settings
            subprocess.run(command, check=True, env={**os.environ, **places, "QT_SCALE_FACTOR": str(density)})


if __name__ == "__main__":
    main()
