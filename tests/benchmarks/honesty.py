"""The honesty table: do the 95 % intervals hold 95 %, is there a bias, how far is the scatter from the bound?

Run by hand: ``python tests/benchmarks/honesty.py [--runs 10000] [--only KIND]``. The seeds are the cells' own
conditions, the regions those of `pulsewright_analysis.validity`, declared before the run. Exit code 1 where a cell
inside its region is outside the limits.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import honesty_pulses
import honesty_runs
import honesty_skews
from honesty_table import HEADING, Cell, Outcome, line_of

WORKERS = 2
ROOMS = {
    "pulse": honesty_pulses,
    "correlation": honesty_skews,
    "sine": honesty_skews,
    "increment": honesty_runs,
    "jitter": honesty_runs,
    "period": honesty_runs,
}


def all_cells(only: str | None = None) -> list[Cell]:
    """Return the cells of every kind, or of one."""
    found = honesty_pulses.cells() + honesty_skews.cells() + honesty_runs.cells()
    return [cell for cell in found if only in (None, cell.kind)]


def run_cell(cell: Cell, runs: int) -> list[Outcome]:
    """Run one cell, in whichever process."""
    return ROOMS[cell.kind].run(cell, runs)


def main() -> int:
    """Print the table and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=10_000, help="runs a cell")
    parser.add_argument("--only", choices=sorted(ROOMS), help="one kind of quantity")
    asked = parser.parse_args()
    cells = all_cells(asked.only)
    began = time.monotonic()
    inside = outside = 0
    print(HEADING)
    # the processes start afresh, so that each takes one thread: two that share the cores out again only wait
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with ProcessPoolExecutor(WORKERS, mp_context=get_context("spawn")) as pool:
        for outcomes in pool.map(run_cell, cells, [asked.runs] * len(cells)):
            for result in outcomes:
                inside += result.inside
                outside += bool(result.faults())
                print(line_of(result), flush=True)
    print(f"{asked.runs} runs a cell, {time.monotonic() - began:.0f} s")
    print(f"cells inside: {inside}, outside the limits: {outside}")
    return 1 if outside else 0


if __name__ == "__main__":
    sys.exit(main())
