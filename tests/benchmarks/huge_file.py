"""A file of 20 GB on the desk and under `measure`: how soon it is seen, and how much memory it takes.

Run by hand: ``python tests/benchmarks/huge_file.py [--gigabytes 20] [--measure]``. The file is made in a temporary
folder: pulses in 64 records spread over it, and nothing in the others, which take no room on the disk. The desk (Qt's
offscreen platform) has shown and measured a small session before, so that libraries are loaded; the header of the large
file is in the system's cache. Memory is what is private to this process and resident (/proc, smaps_rollup), above what
it was before the large file was opened. The peer is a plain h5py program that opens the file and reads one record.

With ``--measure`` the whole file is measured after that in a process of its own.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import h5py
import numpy as np
from desk_sessions import CHANNELS, LENGTH, write_walk

WANTED_S, WANTED_MIB = 0.5, 300.0
WRITTEN = 64


def write_huge(path: Path, gigabytes: float) -> int:
    """Write the file, and return how many records it has."""
    small = path.with_name("small.h5")
    write_walk(small, WRITTEN)
    records = int(gigabytes * 1e9 / (CHANNELS * LENGTH * 2))
    with h5py.File(small) as given, h5py.File(path, "w", libver="earliest") as file:
        file.attrs.update(dict(given.attrs))
        given.copy("channels", file)
        samples = file.create_dataset("samples", (records, CHANNELS, LENGTH), "<i2", fillvalue=None)
        for place, record in enumerate(np.linspace(0, records - 1, WRITTEN).astype(int).tolist()):
            samples[record] = given["samples"][place]
        file["triggers/time"] = np.arange(records) * 1.1e-3
        file["triggers/offset"] = np.zeros(records)
    return records


def private_mib() -> float:
    """Return the resident memory that this process shares with nobody."""
    lines = Path("/proc/self/smaps_rollup").read_text().splitlines()
    return sum(int(line.split()[1]) for line in lines if line.startswith(("Private_Clean", "Private_Dirty"))) / 1024


class Highest:
    """The highest private memory seen while something goes on."""

    def __init__(self) -> None:
        self._before = private_mib()
        self.rise = 0.0
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def _watch(self) -> None:
        while not self._ended.wait(0.05):
            self.rise = max(self.rise, private_mib() - self._before)

    def end(self) -> float:
        self._ended.set()
        self._thread.join()
        return self.rise


def on_the_desk(path: Path, small: Path) -> None:
    """Open, step, overlay, zoom and measure for a while, and print what that took."""
    from PySide6.QtCore import Qt
    from PySide6.QtTest import QTest
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.style import prepare
    from pulsewright_app.desk.window import DeskWindow

    application = QApplication(["pulsewright"])
    prepare(application)
    window = DeskWindow()
    window.resize(1600, 900)
    window.show()

    def until(true: Callable[[], bool], longest: float = 120.0) -> None:
        end = time.monotonic() + longest
        while not true() and time.monotonic() < end:
            application.processEvents()
            time.sleep(0.001)

    def key(which: Qt.Key, held: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        QTest.keyClick(window.middle.view.canvas, which, held)

    window.open_path(small)
    until(lambda: window.results.findings is not None and not window.background.busy)
    key(Qt.Key.Key_3, Qt.KeyboardModifier.AltModifier)
    until(lambda: not window.background.busy)
    key(Qt.Key.Key_1, Qt.KeyboardModifier.AltModifier)
    window.close_session()
    until(lambda: False, 0.5)
    h5py.File(path).close()  # the header is in the system's cache
    painted: list[float] = []

    def paint(*_: Any) -> None:
        if window.document.session is not None and window.document.session.file == path:
            painted.append(time.perf_counter())

    window.middle.views["single"].canvas.above.append(paint)
    memory, began = Highest(), time.perf_counter()
    window.open_path(path)
    until(lambda: bool(painted))
    print(f"first painted record: {painted[0] - began:.3f} s after it was asked for (wanted: below {WANTED_S:g} s)")
    steps = []
    for record in np.linspace(1, window.document.session.records - 1, 40).astype(int).tolist():
        painted.clear()
        began = time.perf_counter()
        window.viewing.go_to(record)
        until(lambda: bool(painted))
        steps.append(painted[0] - began)
    print(f"going to a record anywhere, until it is painted: median {1e3 * float(np.median(steps)):.0f} ms")
    until(lambda: window.results.findings is not None, 10.0)
    print(f"first findings, of a part: {'there' if window.results.findings is not None else 'not within 10 s'}")
    for view in (Qt.Key.Key_3, Qt.Key.Key_4, Qt.Key.Key_2, Qt.Key.Key_1):
        key(view, Qt.KeyboardModifier.AltModifier)
        until(lambda: False, 4.0)
    key(Qt.Key.Key_Period, Qt.KeyboardModifier.ControlModifier)
    print(f"private memory of the desk rose by at most {memory.end():.0f} MiB (wanted: below {WANTED_MIB:g} MiB)")
    window.close()


def measured(path: Path) -> None:
    """Measure the whole file, and print what that took."""
    from pulsewright.opening import open_session
    from pulsewright_analysis.findings import measure

    with open_session(path.with_name("small.h5")) as session:
        measure(session)  # what is compiled and loaded once
    memory, began = Highest(), time.perf_counter()
    with open_session(path) as session:
        findings = measure(session)
    print(f"measured whole: {len(findings.records)} records in {time.perf_counter() - began:.0f} s")
    print(f"private memory rose by at most {memory.end():.0f} MiB (wanted: below {WANTED_MIB:g} MiB)")


def peer(path: Path) -> float:
    """Return the seconds that plain h5py takes to open the file and read a record of it."""
    began = time.perf_counter()
    with h5py.File(path) as file:
        file["samples"][0]
    return time.perf_counter() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--gigabytes", type=float, default=20.0)
    parser.add_argument("--measure", action="store_true")
    parser.add_argument("--part", choices=["desk", "measure"], help=argparse.SUPPRESS)
    parser.add_argument("--session", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.part == "desk":
        on_the_desk(asked.session, asked.session.with_name("small.h5"))
        return
    if asked.part == "measure":
        measured(asked.session)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "huge.h5"
        records = write_huge(path, asked.gigabytes)
        taken = path.stat().st_blocks * 512
        print(f"{path.stat().st_size / 1e9:.1f} GB, {records} records × {CHANNELS} × {LENGTH}")
        print(f"of which {taken / 1e6:.0f} MB on the disk")
        print(f"peer: h5py opens it and reads a record in {1e3 * peer(path):.1f} ms")
        sys.stdout.flush()
        own = {f"XDG_{kind}_HOME": folder for kind in ("DATA", "CONFIG", "CACHE")}  # nobody's reviews and settings
        for part in ("desk", "measure") if asked.measure else ("desk",):
            subprocess.run(
                [sys.executable, __file__, "--part", part, "--session", str(path)], check=True, env=os.environ | own
            )


if __name__ == "__main__":
    main()
