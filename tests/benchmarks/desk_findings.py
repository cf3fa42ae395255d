"""How soon the desk shows findings after a session is opened: the first ones, partial or not, and the final ones.

Run by hand: ``python tests/benchmarks/desk_findings.py [--only WORD]``. A desk that has measured a sample once opens
each sample, and sessions of other shapes: many records, very many short ones, few of a million samples. The time that
the processors worked meanwhile, for whatever the desk does, is printed beside: other programs lengthen the other one.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp()  # nobody's own reviews

import numpy as np

if TYPE_CHECKING:
    from pulsewright.session import Session
    from pulsewright_app.desk.window import DeskWindow

WANTED_S = 1.0
LONGEST = 300.0
SAMPLES = ("tank_faults", "tank_walk", "tank_slip", "tank_sine")
SHAPES = ((1_000, 12, 25_000), (3_000, 12, 500), (20_000, 12, 100), (30, 12, 250_000), (12, 12, 1_000_000))


def walking(records: int, channels: int, length: int) -> Session:
    """Return a session in memory: a pulse that walks over twelve stops and turns its sign at each record, in noise."""
    from pulsewright.session import Channel, Session

    random, at = np.random.default_rng(1), np.arange(length)
    pool = np.round(random.normal(0, 50, (channels, length + 4_000))).astype(np.int16)
    codes = np.empty((records, channels, length), np.int16)
    for record in range(records):
        shift = 37 * record % 4_000
        codes[record] = pool[:, shift : shift + length]
        sign, away = 1 if record % 2 == 0 else -1, at - length * (0.3 + 0.02 * (record % 12))
        near = np.abs(away) < 30
        codes[record][:, near] += np.round(sign * 9_000 * np.exp(-((away[near] / 4) ** 2))).astype(np.int16)
    named = [Channel(f"H{c + 1:02d}", f"M{c // 4 + 1}", scale=1e-4) for c in range(channels)]
    times = np.arange(records) * 1e-3 * max(1, length / 25_000)
    return Session.from_samples(codes, named, 25e6, length // 10, trigger_time=times, trigger_offset=np.zeros(records))


def look(window: DeskWindow, name: str, put_on: Callable[[], object]) -> None:
    """Open a session, and print when its first and its final findings were there."""
    from PySide6.QtWidgets import QApplication

    window.close_session()
    began, worked = time.perf_counter(), time.process_time()
    put_on()
    first, partial = 0.0, False
    while not first or window.results.busy or window.background.busy:
        QApplication.processEvents()
        if not first and window.results.findings is not None:
            first, partial = time.perf_counter() - began, window.results.partial
            worked = time.process_time() - worked
        if first and not (window.results.partial or window.results.busy):
            break
        assert time.perf_counter() < began + LONGEST, "nothing is ever found"
    final = time.perf_counter() - began
    told = "partial" if partial else "final"
    print(f"{name:24} first ({told}) {first:5.2f} s, processors {worked:5.2f} s; final {final:6.2f} s", flush=True)


def main() -> None:
    from PySide6.QtWidgets import QApplication

    from pulsewright_app.desk.style import prepare
    from pulsewright_app.desk.window import DeskWindow
    from pulsewright_app.samples import sample

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="")
    only = parser.parse_args().only
    prepare(QApplication(["pulsewright"]))
    window = DeskWindow()
    window.resize(1600, 900)
    window.show()
    print(f"wanted: first findings of any session, and final ones of the samples, in {WANTED_S:g} s")
    for name in (SAMPLES[0], *SAMPLES):
        if only in name:
            look(window, name, lambda name=name: window.open_path(sample(f"{name}.h5")))
    for shape in SHAPES:
        name = " × ".join(f"{size:,}" for size in shape)
        if only in name:
            session = walking(*shape)
            look(window, name, lambda session=session: window.document.open(session))
    window.close()


if __name__ == "__main__":
    main()
