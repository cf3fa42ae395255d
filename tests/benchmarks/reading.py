"""How fast samples come out of a file, beside a plain positioned read; and min/max beside tsdownsample.

Run: ``python tests/benchmarks/reading.py [--records 300 1000] [--repeats 7]``. The file in the system's cache, medians.
Reading for measuring is what `streaming.pieces` does, on one thread; opening checks the whole header once. What no
core's own cache holds cannot be looked through faster than NumPy's minimum alone, which reads it once.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from desk_sessions import CHANNELS, LENGTH, write_walk
from numpy.typing import NDArray

from pulsewright.opening import open_session
from pulsewright.session import Session
from pulsewright_analysis.streaming import pieces
from pulsewright_app.desk.views import ink_kernels

WANTED_SHARE = 0.6
WANTED_TIMES = 3.0
PIXELS = 800
_PLAIN = 4 << 20


def median_seconds(work: Callable[[], object], repeats: int) -> float:
    """Return the median time of some work, after one that is not counted."""
    work()
    taken = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return statistics.median(taken)


def in_turns(works: dict[str, Callable[[], object]], repeats: int) -> dict[str, float]:
    """Return the median times of several works that take turns, so that other load meets all of them alike."""
    taken: dict[str, list[float]] = {name: [] for name in works}
    for turn in range(repeats + 1):
        for name, work in works.items():
            begin = time.perf_counter()
            work()
            if turn:  # the first one may compile
                taken[name].append(time.perf_counter() - begin)
    return {name: statistics.median(each) for name, each in taken.items()}


def plainly(path: Path, size: int) -> None:
    """Read so many bytes of a file into one buffer, piece by piece."""
    buffer = bytearray(_PLAIN)
    number = os.open(path, os.O_RDONLY)
    try:
        for place in range(0, size, _PLAIN):
            os.preadv(number, [memoryview(buffer)[: min(_PLAIN, size - place)]], place)
    finally:
        os.close(number)


def read_for_measuring(session: Session) -> None:
    """Read every sample in the pieces that measuring works on."""
    for _ in pieces(session, range(CHANNELS), np.arange(session.records)):
        pass


def opened(path: Path) -> None:
    """Open a session and close it again."""
    with open_session(path):
        pass


def reading(records: int, repeats: int) -> None:
    """Print the speeds of reading; the two take turns, so that another's load falls on both."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "walk.h5"
        write_walk(path, records)
        size = records * CHANNELS * LENGTH * 2
        with open_session(path) as session:
            works = (lambda: read_for_measuring(session), lambda: plainly(path, size), lambda: opened(path))
            taken = [[median_seconds(work, 1) for work in works] for _ in range(repeats)]
        ours, plain, opening = (statistics.median(times) for times in zip(*taken, strict=True))
    print(
        f"reading {size / 1e6:.0f} MB: ours {size / ours / 1e9:.2f} GB/s, plain {size / plain / 1e9:.2f} GB/s, "
        f"{100 * plain / ours:.0f} % of it (at least {100 * WANTED_SHARE:g}); opening takes {1e3 * opening:.1f} ms, "
        f"with it {100 * plain / (ours + opening):.0f} %"
    )


def decimation(samples: int, traces: int, repeats: int) -> None:
    """Print how long min and max by columns of pixels take."""
    from tsdownsample import MinMaxDownsampler

    block = np.random.default_rng(3).normal(0, 3000, (traces, samples)).astype(np.int16)
    step, cores = PIXELS / samples, os.cpu_count() or 1
    theirs = MinMaxDownsampler()
    block.flags.writeable = False

    def ours(some: NDArray[np.int16]) -> None:
        low, high = np.empty(PIXELS), np.empty(PIXELS)
        for trace in some:
            ink_kernels.stretches(trace, 0.0, step, 0.0, 1.0, low, high)

    def their(at_once: bool) -> None:
        for trace in block:
            theirs.downsample(trace, n_out=2 * PIXELS, parallel=at_once)

    print(f"min/max of {samples:,} int16 samples into {PIXELS} columns, µs a record:")
    with ThreadPoolExecutor(cores) as pool:
        shared = np.array_split(block, cores)
        works: dict[str, Callable[[], object]] = {
            "ours, one core": lambda: ours(block),
            f"ours, records shared by {cores} cores": lambda: list(pool.map(ours, shared)),
            "tsdownsample, one core": lambda: their(False),
            "tsdownsample, all cores": lambda: their(True),
            "NumPy's minimum alone, one core": lambda: [trace.min() for trace in block],
        }
        taken = {name: 1e6 / traces * seconds for name, seconds in in_turns(works, repeats).items()}
    peer = min(each for name, each in taken.items() if "tsdownsample" in name)
    for name, time_taken in taken.items():
        told = f": {peer / time_taken:.1f} times as fast as tsdownsample at its best (at least {WANTED_TIMES:g})"
        print(f"  {name}: {time_taken:.1f}{told if 'ours' in name else ''}")


def main() -> None:
    """Print all figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, nargs="+", default=[300, 1000])
    parser.add_argument("--repeats", type=int, default=7)
    given = parser.parse_args()
    for records in given.records:
        reading(records, given.repeats)
    for samples, traces in ((25_000, 200), (100_000, 100), (1_000_000, 10)):
        decimation(samples, traces, given.repeats)


if __name__ == "__main__":
    main()
