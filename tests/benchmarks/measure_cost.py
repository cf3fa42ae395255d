"""What measuring costs against records, samples, channels and window size: processor time and private memory.

Run: ``python tests/benchmarks/measure_cost.py [--only samples]``. Each row is a process of its own, which measures
small sessions first, so that compilers and libraries count for nothing; then it measures the row's session twice, and
tells the processor time of the second and how far the private resident memory (RssAnon, looked at every 2 ms) rose
above where it stood before the first. The page cache is no private memory. Its peer is NumPy's sum over the same
samples, read block by block. At most 2.4 GB in a temporary folder.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from plain_sum import seconds_of_a_sum

from pulsewright.block_source import BlockSource, Codes
from pulsewright.opening import open_session
from pulsewright.session import Channel
from pulsewright.settings import Settings, layered
from pulsewright.store import write_session
from pulsewright_analysis.findings import measure

LIMIT_MIB = 300
RATE, POOL, CYCLE = 25e6, 1 << 20, 24


@dataclass(frozen=True)
class Row:
    """One session: its shape, what its records hold, and the window, microseconds, that its channels are aligned in."""

    records: int
    channels: int
    samples: int
    kind: str = "pulse"
    window: float | None = None


TABLES = {
    "records, a pulse in each": [Row(n, 12, 25_000) for n in (500, 1000, 2000, 4000)],
    "records, a sine in each": [Row(n, 12, 25_000, "sine") for n in (500, 1000, 2000)],
    "many short records": [Row(n, 12, 1_000) for n in (10_000, 20_000, 40_000, 100_000)],
    "samples, as many in all, a pulse": [
        Row(50_000_000 // (12 * n), 12, n) for n in (2_500, 25_000, 250_000, 1_000_000)
    ],
    "samples, as many records, a pulse": [Row(12, 12, n) for n in (125_000, 250_000, 500_000, 1_000_000, 2_000_000)],
    "samples, as many records, a sine": [Row(12, 12, n, "sine") for n in (125_000, 250_000, 500_000, 1_000_000)],
    "channels": [Row(1000, n, 25_000) for n in (2, 4, 8, 16)],
    "window of the alignment": [Row(1000, 12, 25_000, "pulse", n) for n in (2.5, 10.0, 40.0, 160.0, 640.0)],
}


class Made(BlockSource):
    """A walking pulse or a sine in noise from one pool, made when it is read."""

    def __init__(self, row: Row) -> None:
        self._row = row
        random = np.random.default_rng(20)
        self._pool = np.round(random.normal(0.0, 150.0, POOL + row.samples)).astype(np.int16)
        self._place = random.integers(0, POOL, (row.records, row.channels))
        self._sample = np.arange(row.samples)

    @property
    def shape(self) -> tuple[int, int, int]:
        return self._row.records, self._row.channels, self._row.samples

    @property
    def dtype(self) -> np.dtype:
        return np.dtype(np.int16)

    def part(self, records: range, channels: range, samples: range) -> Codes:
        begin, stop = samples.start, samples.stop
        made = np.empty((len(records), len(channels), len(samples)), np.int16)
        for i, record in enumerate(records):
            signal = self._signal(record)[begin:stop]
            for k, channel in enumerate(channels):
                place = self._place[record, channel]
                made[i, k] = self._pool[place + begin : place + stop] + signal
        return made

    def _signal(self, record: int) -> np.ndarray:
        if self._row.kind == "sine":
            return np.round(9000 * np.sin(2 * np.pi * 0.0401 * self._sample + record)).astype(np.int16)
        stop = record % CYCLE
        centre = self._row.samples * 0.45 + 10 * min(stop, CYCLE - stop)
        shape = np.exp(-(((self._sample - centre) / 10) ** 2))
        return np.round(9000 * (1 if record % 2 == 0 else -1) * shape).astype(np.int16)


def write(path: Path, row: Row) -> None:
    """Write a row's session."""
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 4 + 1}", scale=1e-4) for c in range(row.channels)]
    times = np.arange(row.records) * 2 * row.samples / RATE
    offsets = np.zeros(row.records)
    write_session(path, Made(row), channels, RATE, row.samples // 10, trigger_time=times, trigger_offset=offsets)


def settings_of(row: Row) -> Settings:
    """Return the settings of a row: a window around the pulse, as wide as asked for."""
    if row.window is None:
        return layered()
    middle = (0.45 - 0.1) * row.samples / RATE * 1e6 + 5
    low, high = middle - row.window / 2, middle + row.window / 2
    return layered(option={"alignment_span": f"{low:g} us .. {high:g} us", "alignment_method": "correlation"})


def private_mib() -> float:
    """Return this process's private resident memory, MiB."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("RssAnon")) / 1024


def peak_of(work: Callable[[], object]) -> float:
    """Return the highest private memory while the work runs, MiB."""
    highest, done = private_mib(), threading.Event()

    def watch() -> None:
        nonlocal highest
        while not done.wait(0.002):
            highest = max(highest, private_mib())

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        work()
    finally:
        done.set()
        watcher.join()
    return max(highest, private_mib())


def measured(path: Path, warm: list[Path], settings: Settings) -> dict[str, float]:
    """Return processor seconds, those of the peer, memory before, its peak, and how many pulses were found."""
    for each in warm:
        with open_session(each) as session:
            measure(session)
    found = {}

    def work() -> None:
        with open_session(path) as session:
            begin = time.process_time()
            found["pulses"] = len(measure(session, settings).pulses)
            found["seconds"] = time.process_time() - begin

    before = private_mib()
    peak = peak_of(work)
    work()
    with open_session(path) as session:
        return found | {"before": before, "peak": peak, "sum": seconds_of_a_sum(session)}


def print_row(row: Row, folder: Path) -> None:
    """Measure a row in a process of its own, and print it."""
    path = folder / "row.h5"
    write(path, row)
    told = subprocess.run(
        [sys.executable, __file__, "--row", json.dumps(asdict(row)), "--folder", str(folder)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    path.unlink()
    seen = json.loads(told.stdout)
    size = row.records * row.channels * row.samples
    window = "" if row.window is None else f"{row.window:g} µs"
    rise = seen["peak"] - seen["before"]
    print(
        f"  {row.records:7d} {row.channels:3d} {row.samples:9d} {window:>8s} {size * 2 / 1e6:7.0f} MB "
        f"{seen['pulses']:8.0f} {seen['seconds']:7.2f} s {1e9 * seen['seconds'] / size:7.2f} ns a sample "
        f"{seen['seconds'] / seen['sum']:6.1f} times a sum "
        f"{rise:6.0f} MiB{'  above the limit' if rise > LIMIT_MIB else ''}",
        flush=True,
    )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", help="the tables whose title holds this")
    parser.add_argument("--row", help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.row is not None:
        row, warm = Row(**json.loads(given.row)), [given.folder / f"{kind}.h5" for kind in ("pulse", "sine")]
        print(json.dumps(measured(given.folder / "row.h5", warm, settings_of(row))))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for kind in ("pulse", "sine"):
            write(folder / f"{kind}.h5", Row(12, 4, 5_000, kind))
        print("  records  ch   samples   window       size   pulses  processors                   memory")
        for title, rows in TABLES.items():
            if given.only in title:
                print(title)
                for row in rows:
                    print_row(row, folder)


if __name__ == "__main__":
    main()
