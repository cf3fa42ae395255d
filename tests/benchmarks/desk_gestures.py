"""Thousands of random gestures on the desk: exceptions, complaints of Qt, and how memory grows.

Run by hand: ``python tests/benchmarks/desk_gestures.py [--gestures 3000] [--seed 7]``. The desk shows the samples, on
Qt's offscreen platform. Memory is this process's resident set, after the sample is opened anew, the desk is at rest and
the garbage is collected: it is what stays, not what the view that happens to be shown needs. The rise is the slope of a
straight line through all marks after the first third.
"""

from __future__ import annotations

import argparse
import gc
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[1] / "app" / "desk"))

WANTED_MIB = 5.0
"""The most that a thousand gestures may add."""
MARKS = 12
"""How often memory is looked at."""


def resident_mib() -> float:
    """Return the resident memory of this process (Linux, /proc)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / (1 << 20)


def rest(desk: Any, application: Any) -> None:
    """Let the background come to its end and what is no longer used be given back."""
    end = time.monotonic() + 120
    desk.viewing.play(False)
    while desk.background.busy and time.monotonic() < end:
        application.processEvents()
        time.sleep(0.005)
    for _ in range(3):
        application.processEvents()
        gc.collect()


def main() -> None:
    """Do the gestures and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--gestures", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=7)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_DATA_HOME"] = folder  # reviews of the samples are kept here
        from PySide6.QtWidgets import QApplication
        from random_hands import Faults, Hands, without_dialogs

        from pulsewright_app.desk.style import prepare
        from pulsewright_app.desk.window import DeskWindow
        from pulsewright_app.samples import sample

        application = QApplication([])
        prepare(application)
        without_dialogs(Path(folder), setattr)
        desk = DeskWindow()
        desk.show()
        desk.open_path(sample("tank_faults.h5"))
        rest(desk, application)
        listening, hands = Faults(), Hands(desk, given.seed)
        marks: list[tuple[int, float]] = []
        for number in range(1, given.gestures + 1):
            hands.do()
            if number % max(given.gestures // MARKS, 1) == 0:
                desk.open_path(sample("tank_faults.h5"))
                desk.viewing.set_view("single")
                rest(desk, application)
                marks.append((number, resident_mib()))
                print(
                    f"after {number} gestures: {marks[-1][1]:.0f} MiB, {len(listening.exceptions)} exceptions, "
                    f"{len(listening.warnings)} complaints of Qt",
                    flush=True,
                )
        listening.stop()
        desk.close()
    third = given.gestures // 3
    later = [mark for mark in marks if mark[0] >= third]
    rise = 1000 * statistics.linear_regression(*zip(*later, strict=True)).slope
    print(f"gestures: {dict(sorted(hands.done.items()))}")
    print(f"memory after the first third rises by {rise:.1f} MiB per 1,000 gestures (wanted: at most {WANTED_MIB:g})")
    for text in (*listening.exceptions[:3], *listening.warnings[:5]):
        print(text)


if __name__ == "__main__":
    main()
