"""How much faster two local workers do a campaign than one, with the same results to the bit.

Run: ``python tests/benchmarks/campaign_scaling.py [--sessions 64] [--repeats 3] [--records 10]``. Sessions are copies
of the samples, of 36 short records; with ``--records``, each has so many records of 12 × 25,000 samples: one file under
many names. The start and the end of the workers are on the clock both times, but the process that loads what they need
is started once, with the first; compiled code and files are warm. Beside it stands what a plain loop got from two
processes in the same moments: where that is far below 2, others use the cores, and the row says nothing about
campaigns.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from desk_sessions import write_walk

from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.running import run_campaign
from pulsewright_app.samples import sample

SOURCES = ("tank_walk", "tank_faults", "tank_slip")


def made(folder: Path, sessions: int, records: int = 0) -> Path:
    """Return a folder of so many sessions, each a copy of a sample, or of so many long records."""
    runs = folder / "runs"
    runs.mkdir()
    if records:
        write_walk(folder / "long.h5", records)
    for number in range(sessions):
        if records:
            (runs / f"run{number:04d}.h5").hardlink_to(folder / "long.h5")
            continue
        shutil.copy(sample(f"{SOURCES[number % len(SOURCES)]}.h5"), runs / f"run{number:04d}.h5")
    return runs


def timed(runs: Path, claims: Path, to: Path, workers: int) -> tuple[float, list[object]]:
    """Return the seconds of a campaign from nothing, the start of its workers included, and what it stored."""
    to.unlink(missing_ok=True)
    with ResultsFile(to) as results:
        begin = time.perf_counter()
        run_campaign(runs, claims, results, workers=workers)
        seconds = time.perf_counter() - begin
        return seconds, [results.rows(table) for table in ("sessions", "quantities", "verdicts")]


def counted(steps: int) -> int:
    """Add numbers up in plain Python: what one core can do alone."""
    total = 0
    for number in range(steps):
        total += number
    return total


def plain_ratio(steps: int = 15_000_000) -> float:
    """Return how many times as much two processes of a plain loop did as one, in the same time."""
    taken = []
    for processes in (1, 2):
        running = [multiprocessing.Process(target=counted, args=(steps,)) for _ in range(processes)]
        begin = time.perf_counter()
        for process in running:
            process.start()
        for process in running:
            process.join()
        taken.append(time.perf_counter() - begin)
    return 2 * taken[0] / taken[1]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=64)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--records", type=int, default=0)
    given = parser.parse_args()
    claims = sample("tank_faults.h5").with_suffix(".claims.toml")
    with tempfile.TemporaryDirectory() as folder:
        runs = made(Path(folder), given.sessions, given.records)
        to = Path(folder) / "r.sqlite"
        timed(runs, claims, to, 2)  # compiles, and warms the file cache
        ratios: list[float] = []
        plains: list[float] = []
        same = True
        for _ in range(given.repeats):
            plain = [plain_ratio()]
            one, first = timed(runs, claims, to, 1)
            plain.append(plain_ratio())
            two, second = timed(runs, claims, to, 2)
            plain.append(plain_ratio())
            same = same and first == second
            ratios.append(one / two)
            plains.append(statistics.mean(plain))
            print(
                f"{given.sessions} sessions: one worker {one:.1f} s, two workers {two:.1f} s, {one / two:.2f} times; "
                f"a plain loop before, between and after: {', '.join(f'{ratio:.2f}' for ratio in plain)}",
                flush=True,
            )
    print(f"median {statistics.median(ratios):.2f} times, plain loops {statistics.median(plains):.2f} times; ", end="")
    print(f"results {'the same to the bit' if same else 'DIFFER'}")
    print(f"cores {os.cpu_count()}, load before the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
