"""How much faster two local workers do a campaign than one, with the same results to the bit.

Run: ``python tests/benchmarks/campaign_scaling.py [--sessions 64] [--repeats 3]``
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.running import run_campaign
from pulsewright_app.samples import sample

SOURCES = ("tank_walk", "tank_faults", "tank_slip")


def made(folder: Path, sessions: int) -> Path:
    """Return a folder of so many sessions, each a copy of a sample."""
    runs = folder / "runs"
    runs.mkdir()
    for number in range(sessions):
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


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=64)
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args()
    claims = sample("tank_faults.h5").with_suffix(".claims.toml")
    with tempfile.TemporaryDirectory() as folder:
        runs = made(Path(folder), given.sessions)
        to = Path(folder) / "r.sqlite"
        timed(runs, claims, to, 2)  # compiles, and warms the file cache
        ratios, same = [], True
        for _ in range(given.repeats):
            one, first = timed(runs, claims, to, 1)
            two, second = timed(runs, claims, to, 2)
            same = same and first == second
            ratios.append(one / two)
            print(f"{given.sessions} sessions: one worker {one:.1f} s, two workers {two:.1f} s, {one / two:.2f} times")
    print(f"median {statistics.median(ratios):.2f} times; results {'the same to the bit' if same else 'DIFFER'}")
    print(f"cores {os.cpu_count()}, load before the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
