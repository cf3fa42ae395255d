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
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.block_source import BlockSource, Codes, slice_of
from pulsewright.cache import Cache, key_of
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.store import write_session
from pulsewright_analysis.overlay import Raster
from pulsewright_analysis.pyramid import Pyramid, make_pyramid
from pulsewright_app.glow import Accumulation, GlowPlan
from pulsewright_app.glow_alignment import Alignment
from pulsewright_app.glow_ink import inked

RATE = 25e6
WIDTH, HEIGHT = 1600, 800
MOST_MS, COARSE_MS = 80.0, 33.0
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


def write_drone(path: Path, records: int, samples: int) -> None:
    """Write a session of such records."""
    offsets = np.random.default_rng(4).uniform(0, 1 / RATE, records)
    channel = Channel("H01", "M1", scale=1e-4)
    write_session(path, Drone(records, samples), [channel], RATE, 0, trigger_offset=offsets)


@dataclass(frozen=True)
class Taken:
    """Milliseconds of one accumulation: to the inked coarse picture, to the exact counts, and of all cores together."""

    coarse: float
    exact: float
    cores: float


def accumulated(session: Session, raster: Raster, pyramid: Pyramid | None) -> tuple[Taken, NDArray[np.uint32]]:
    """Return how long the overlay of all records took, and its counts."""
    plan = GlowPlan(session, 0, raster, Alignment(np.zeros(session.records)), overview=lambda: pyramid)
    made, coarse = Accumulation(plan), []

    def outlined() -> None:
        inked(made.picture(), ("#102030",), logarithmic=True)
        coarse.append(time.perf_counter())

    begin, used = time.perf_counter(), time.process_time()
    made.add(np.arange(session.records), outlined=outlined)
    counts = made.picture().counts[0]
    end, cores = time.perf_counter(), time.process_time()
    return Taken(*(1e3 * some for some in ((coarse or [end])[0] - begin, end - begin, cores - used))), counts


def medians(session: Session, raster: Raster, pyramids: list[Pyramid | None], repeats: int) -> list[Taken]:
    """Return the medians with each of the pyramids, which take turns; all must give the same counts."""
    first = [accumulated(session, raster, pyramid)[1] for pyramid in pyramids]
    if not all(np.array_equal(first[0], other) for other in first):
        raise SystemExit("the counts are not the same")
    turns = [[accumulated(session, raster, pyramid)[0] for pyramid in pyramids] for _ in range(repeats)]
    return [
        Taken(*(statistics.median(getattr(taken, name) for taken in each) for name in ("coarse", "exact", "cores")))
        for each in zip(*turns, strict=True)
    ]


def median_ms(work: Callable[[], object], repeats: int) -> float:
    """Return the median time of some work, milliseconds, after one that is not counted."""
    work()
    taken = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        taken.append(1e3 * (time.perf_counter() - begin))
    return statistics.median(taken)


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
        write_drone(path, given.records, given.samples)
        with open_session(path) as session:
            print(f"{given.records} records × {given.samples:,} int16 samples into {WIDTH} × {HEIGHT}, milliseconds")
            making = median_ms(lambda: make_pyramid(session, 0), 3)
            pyramid = make_pyramid(session, 0)
            assert pyramid is not None
            print(f"blocks of {pyramid.block} samples, {pyramid.nbytes / 1e6:.1f} MB, made in {making:.0f}")
            keeping(Path(folder) / "cache", session, pyramid)
            print("of the time | by samples: exact, all cores | by blocks: coarse, exact, all cores")
            for share in SHARES:
                raster = zoomed(session, share)
                plain, blocks = medians(session, raster, [None, pyramid], given.repeats)
                told = f"{100 * share:7.2f} %   | {plain.exact:6.1f} {plain.cores:6.1f}"
                if blocks.coarse < blocks.exact:
                    told += f"                | {blocks.coarse:6.1f} {blocks.exact:6.1f} {blocks.cores:6.1f}"
                print(told)
            codes = session.channel_codes(0)
            peer = median_ms(lambda: (codes.min(axis=1), codes.max(axis=1)), given.repeats)
            print(f"NumPy's min and max of all samples, in memory, one core: {peer:.1f}")
            print(f"at most {MOST_MS:g} exact and {COARSE_MS:g} coarse are wanted at any zoom")


def keeping(folder: Path, session: Session, pyramid: Pyramid) -> None:
    """Print how long the blocks take to be kept and to be found again."""
    cache, key = Cache(folder), key_of(session, "blocks")
    assert key is not None
    kept = median_ms(lambda: cache.keep(key, {"low": pyramid.low, "high": pyramid.high}), 3)
    found = median_ms(lambda: (key_of(session, "blocks"), cache.load(key)), 3)
    print(f"kept in {kept:.0f}, found again in {found:.0f}, the file's quick digest included")


if __name__ == "__main__":
    main()
