"""What a person's gestures on very many records cost the desk: 100,000 records, all of them chosen.

Run by hand: ``python tests/benchmarks/desk_many_chosen.py [--records 100000]``. Each time is from the gesture to its
last pixel, with nothing measured beside it; a gesture that settings hang on is followed by a measuring in the
background, which is awaited before the next one. What the main thread itself worked is printed beside, because other
programs on the machine lengthen the other one.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Callable

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp()  # nobody's own reviews

import numpy as np

WANTED_MS = 100.0


def main(records: int) -> None:
    """Make the session in memory, put it on a desk, and print what each gesture cost."""
    from PySide6.QtCore import Qt
    from PySide6.QtWidgets import QApplication

    from pulsewright.session import Channel, Session
    from pulsewright_app.desk.style import prepare
    from pulsewright_app.desk.window import DeskWindow

    application = QApplication(["pulsewright"])
    prepare(application)
    pulse = 8000 * np.exp(-(((np.arange(64) - 30) / 3.0) ** 2) / 2)
    codes = np.round(np.random.default_rng(1).normal(0, 20, (records, 2, 64)) + pulse).astype(np.int16)
    codes[::7, 0, 28:32] = 32767
    channels = [Channel(name, "M1", scale=1e-4) for name in ("H01", "H02")]
    window = DeskWindow()
    window.resize(1600, 900)
    window.show()
    window.document.open(
        Session.from_samples(
            codes, channels, 1e6, 10, trigger_time=np.arange(records) * 1e-3, trigger_offset=np.zeros(records)
        )
    )

    def rest() -> None:
        end = time.monotonic() + 1.0
        while time.monotonic() < end or window.background.busy:
            application.processEvents()
            time.sleep(0.003)

    panel, document = window.records_panel, window.document

    def note() -> None:
        panel.table.selectAll()
        panel.reason.setText("the pump ran")
        panel.note_button.click()

    gestures: tuple[tuple[str, Callable[[], object]], ...] = (
        ("choose all", panel.table.selectAll),
        ("flag all (F)", panel.toggle_flags),
        ("go forward, all flagged", window.viewing.step),
        ("next flagged", window.actions_by_name["next_flag"].trigger),
        ("choose all again", panel.table.selectAll),
        ("unflag all", panel.toggle_flags),
        ("undo", document.undo),
        ("note on all", note),
        ("copy all", lambda: (panel.table.selectAll(), panel.table.copy())),
        ("sort by flag", lambda: panel.table.sortByColumn(1, Qt.SortOrder.AscendingOrder)),
        ("leave out every second", lambda: document.leave_out_many(range(0, records, 2), "touched")),
        ("go forward, half left out", window.viewing.step),
        ("show the Map", lambda: window.viewing.set_view("map")),
        ("go forward in the Map", window.viewing.step),
    )
    rest()
    print(f"{records} records; wanted: {WANTED_MS:g} ms each")
    for name, gesture in gestures:
        start, worked = time.perf_counter(), time.thread_time()
        gesture()
        application.processEvents()
        took, own = (time.perf_counter() - start) * 1e3, (time.thread_time() - worked) * 1e3
        print(f"{name:28s}{took:8.1f} ms, of which worked {own:8.1f} ms")
        rest()
    window.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=100_000)
    main(parser.parse_args().records)
