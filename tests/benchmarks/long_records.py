"""How fast records of a million samples are laid over each other again at another zoom, beside NumPy's minimum.

Run: ``python tests/benchmarks/long_records.py [--records 200] [--samples 1000000] [--repeats 5]``. One process, the
file in the system's cache, medians. The peer is NumPy's `min` and `max` of the same codes, in memory already.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.block_source import BlockSource, Codes, slice_of
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.store import write_session
from pulsewright_analysis.overlay import Raster
from pulsewright_app.glow import Accumulation, Alignment, GlowPlan

RATE = 25e6
WIDTH, HEIGHT = 1600, 800
MOST_MS = 80.0
SHARES = (1.0, 0.9, 0.5, 0.2, 0.05, 0.01, 0.002, 0.0005)
_POOL = 1 << 20


class Drone(BlockSource):
    """Records of a hum with noise and a pulse that walks, made where they are read, so that none need be kept."""

    def __init__(self, records: int, samples: int) -> None:
        self._shape = records, 1, samples
        random = np.random.default_rng(11)
        self._noise = np.round(random.normal(0.0, 150.0, _POOL + samples)).astype(np.int16)
        at = np.arange(samples) / samples
        self._hum = np.round(2500.0 * np.sin(2 * np.pi * 7.3 * at)).astype(np.int16)

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._shape

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample."""
        return np.dtype(np.int16)

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part, shape (records, channels, samples)."""
        length = self._shape[2]
        block = np.empty((len(records), 1, length), np.int16)
        for place, record in enumerate(records):
            begin = (record * 7919) % _POOL
            block[place, 0] = self._hum + self._noise[begin : begin + length]
            centre = int(length * (0.3 + 0.03 * (record % 12)))
            block[place, 0, centre : centre + length // 200] += 9000 if record % 2 == 0 else -9000
        return block[:, slice_of(channels), slice_of(samples)]


def median_ms(work: Callable[[], object], repeats: int) -> tuple[float, float]:
    """Return the median times of some work, milliseconds, after one that is not counted: of the clock, of all cores."""
    work()
    taken = []
    for _ in range(repeats):
        begin, used = time.perf_counter(), time.process_time()
        work()
        taken.append((1e3 * (time.perf_counter() - begin), 1e3 * (time.process_time() - used)))
    clock, cores = (statistics.median(times) for times in zip(*taken, strict=True))
    return clock, cores


def accumulated(session: Session, raster: Raster) -> NDArray[np.uint32]:
    """Return the counts of all records."""
    made = Accumulation(GlowPlan(session, 0, raster, Alignment(np.zeros(session.records))))
    made.add(np.arange(session.records))
    return made.picture().counts[0]


def zoomed(session: Session, share: float) -> Raster:
    """Return a raster of a share of the time, its edges at no round places."""
    duration = session.record_duration
    start = 0.6183 * (1.0 - share) * duration
    return Raster(WIDTH, HEIGHT, start, start + share * duration, -1.3, 1.3)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=200)
    parser.add_argument("--samples", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=5)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drone.h5"
        offsets = np.random.default_rng(4).uniform(0, 1 / RATE, given.records)
        source, channel = Drone(given.records, given.samples), Channel("H01", "M1", scale=1e-4)
        write_session(path, source, [channel], RATE, 0, trigger_offset=offsets)
        with open_session(path) as session:
            print(f"{given.records} records × {given.samples:,} int16 samples into {WIDTH} × {HEIGHT}")
            for share in SHARES:
                raster = zoomed(session, share)
                clock, cores = median_ms(partial(accumulated, session, raster), given.repeats)
                told = f"{clock:5.1f} ms (at most {MOST_MS:g}), {cores:5.1f} ms of all cores"
                print(f"{100 * share:6.2f} % of the time: exact after {told}")
            codes = session.channel_codes(0)
            clock, cores = median_ms(lambda: (codes.min(axis=1), codes.max(axis=1)), given.repeats)
            print(f"NumPy's min and max of all samples, in memory: {clock:.1f} ms, {cores:.1f} ms of all cores")


if __name__ == "__main__":
    main()
