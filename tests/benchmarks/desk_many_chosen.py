"""What a person's gestures on very many records cost the desk: 100,000 records, all of them chosen.

Run by hand: ``python tests/benchmarks/desk_many_chosen.py [--records 100000] [--only WORD]``. Each time is from the
gesture to its last pixel, with nothing measured beside it; a gesture that settings hang on is followed by a measuring
in the background, which is awaited before the next one. What the main thread itself worked is printed beside, because
other programs on the machine lengthen the other one, and so is the longest event that it worked at afterwards, as what
was made in the background arrives.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp()  # nobody's own reviews

import numpy as np

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

WANTED_MS = 100.0
_CLAIMS = '[[claims]]\nname = "Nothing is clipped"\nkind = "no_clipped_sample"\n'

Gestures = tuple[tuple[str, Callable[[], object]], ...]


def write(path: Path, records: int) -> None:
    """Write a session of two channels whose pulse walks and comes back, every seventh record clipped, and a claim."""
    from pulsewright.session import Channel
    from pulsewright.store import write_session

    random, place = np.random.default_rng(1), np.arange(records) % 8
    away = np.arange(64) - 26.0 - 1.5 * place[:, np.newaxis] - random.normal(0, 0.05, (records, 1))
    pulse = 8000 * np.exp(-((away / 3.0) ** 2) / 2)
    codes = np.round(random.normal(0, 20, (records, 2, 64)) + pulse[:, np.newaxis]).astype(np.int16)
    codes[::7, 1, 28:32] = 32767
    channels = [Channel(name, "M1", scale=1e-4) for name in ("H01", "H02")]
    write_session(
        path, codes, channels, 1e6, 10, trigger_time=np.arange(records) * 1e-3, trigger_offset=np.zeros(records)
    )
    path.with_suffix(".claims.toml").write_text(_CLAIMS, encoding="utf-8")


class Bench:
    """A desk, and the clock that each gesture on it is measured by."""

    def __init__(self, records: int, folder: Path, only: str) -> None:
        from PySide6.QtWidgets import QApplication

        from pulsewright_app.desk.style import prepare
        from pulsewright_app.desk.window import DeskWindow

        self.application, self.records, self.only = QApplication(["pulsewright"]), records, only
        prepare(self.application)
        write(folder / "many.h5", records)
        self.window: DeskWindow = DeskWindow()
        self.window.resize(1600, 900)
        self.window.show()
        self.window.open_path(folder / "many.h5")
        while self.window.results.lacking or not self.window.results.findings:
            self.application.processEvents()
        self.rest()

    def rest(self) -> float:
        """Await what goes on in the background; return the longest event of it, milliseconds of the main thread."""
        end, longest = time.monotonic() + 1.0, 0.0
        while time.monotonic() < end or self.window.background.busy:
            worked = time.thread_time()
            self.application.processEvents()
            longest = max(longest, time.thread_time() - worked)
            time.sleep(0.003)
        return longest * 1e3

    def measure(self, gestures: Gestures) -> None:
        """Print what each gesture cost."""
        for name, gesture in gestures:
            if self.only not in name:
                continue
            start, worked = time.perf_counter(), time.thread_time()
            gesture()
            self.application.processEvents()
            took, own = (time.perf_counter() - start) * 1e3, (time.thread_time() - worked) * 1e3
            after = self.rest()
            print(f"{name:32s}{took:8.1f} ms, of which worked {own:8.1f} ms; then at most {after:8.1f} ms", flush=True)


def choosing(bench: Bench) -> Gestures:
    """Return the gestures on the table of the records with all of them chosen."""
    window, records = bench.window, bench.records
    panel, document = window.records_panel, window.document

    def note() -> None:
        panel.table.selectAll()
        panel.reason.setText("the pump ran")
        panel.note_button.click()

    return (
        ("choose all", panel.table.selectAll),
        ("flag all (F)", panel.toggle_flags),
        ("go forward, all flagged", window.viewing.step),
        ("next flagged", window.actions_by_name["next_flag"].trigger),
        ("next against a claim", window.actions_by_name["next_against"].trigger),
        ("choose all again", panel.table.selectAll),
        ("unflag all", panel.toggle_flags),
        ("undo", document.undo),
        ("redo", document.redo),
        ("undo once more", document.undo),
        ("note on all", note),
        ("undo the notes", document.undo),
        ("redo the notes", document.redo),
        ("copy all", lambda: (panel.table.selectAll(), panel.table.copy())),
        ("leave out every second", lambda: document.leave_out_many(range(0, records, 2), "touched")),
        ("go forward, half left out", window.viewing.step),
        ("take them in by undo", document.undo),
    )


def sorting(bench: Bench) -> Gestures:
    """Return sorting by each column and filtering, with every record flagged and noted."""
    from PySide6.QtCore import Qt

    from pulsewright_app.desk.panels.record_table import HEADINGS

    window = bench.window
    table, line = window.records_panel.table, window.middle.rail_row.filter_row.line

    def sort(column: int) -> Callable[[], object]:
        return lambda: table.sortByColumn(column, Qt.SortOrder.DescendingOrder)

    def write(text: str) -> Callable[[], object]:
        return lambda: (line.setText(text), line.textEdited.emit(text))

    def apply(text: str) -> Callable[[], object]:
        return lambda: (line.setText(text), line.returnPressed.emit())

    return (
        *((f"sort by {heading.lower()}", sort(column)) for column, heading in enumerate(HEADINGS)),
        ("type a letter of a filter", write("polarity p")),
        ("filter by polarity", apply("polarity positive")),
        ("filter by note", apply('note has "pump" and flagged')),
        ("take the filter away", apply("")),
        ("another channel", lambda: window.viewing.set_channel(1)),
        ("the first channel", lambda: window.viewing.set_channel(0)),
    )


def rejecting(bench: Bench) -> Gestures:
    """Return the gestures on pulses, which change what is measured."""
    window = bench.window
    panel, document = window.records_panel, window.document

    def take_back() -> None:
        document.take_pulses_back(sorted(document.rejected)[:300])

    return (
        ("show the figure of positions", lambda: window.findings_panel.show_figure("positions")),
        ("the figure of positions, large", window.open_figure),
        ("choose all for rejecting", panel.table.selectAll),
        ("reject a pulse of each", panel.toggle_pulses),
        ("undo the rejecting", document.undo),
        ("redo the rejecting", document.redo),
        ("take 300 back", take_back),
        ("undo taking back", document.undo),
        ("take all back", panel.toggle_pulses),
    )


def looking(bench: Bench) -> Gestures:
    """Return the views, and the table of a pair over all records."""
    window = bench.window

    def pair() -> None:
        window.document.follow(window.document.add_pair(16e-6, 18e-6, 0, 0, 0, 0), (0, 0))
        window.show_series()

    return (
        ("show the Map", lambda: window.viewing.set_view("map")),
        ("go forward in the Map", window.viewing.step),
        ("show a pair over all records", pair),
        ("copy that table", lambda: window._pages["series"].table.copy()),
        ("choose all of it", lambda: window._pages["series"].table.selectAll()),
        ("copy what is chosen", lambda: window._pages["series"].table.copy()),
    )


def leaving(bench: Bench) -> Gestures:
    """Return closing a session just after a pulse of every third record was rejected."""
    window = bench.window
    places = [(record, 0, 16) for record in range(0, bench.records, 3)]

    def close() -> None:
        window.document.reject_pulses(places, "rejected on the desk")
        start = time.thread_time()
        window.close_session()
        print(f"{'':32s}of which closing {(time.thread_time() - start) * 1e3:8.1f} ms")

    return (("close, a third rejected", close),)


def main(records: int, only: str) -> None:
    """Put the session on a desk, and print what each gesture cost."""
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(records, Path(folder), only)
        print(f"{records} records; wanted: {WANTED_MS:g} ms each")
        for gestures in (choosing, sorting, rejecting, looking, leaving):
            bench.measure(gestures(bench))
        bench.window.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=100_000)
    parser.add_argument("--only", default="", help="only gestures whose name contains this")
    given = parser.parse_args()
    main(given.records, given.only)
