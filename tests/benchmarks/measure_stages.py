"""How long each stage of measuring takes, its share of the whole, and how soon a cancel is answered.

Run: ``python tests/benchmarks/measure_stages.py [--records 2000] [--repeats 3]``. The session has twelve channels of
25,000 samples; it is written to a temporary folder, 0.6 MB a record. Compiled code and the file are warm.
Its peer is NumPy's sum over the same samples, read block by block.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from desk_sessions import CHANNELS, LENGTH, write_walk
from plain_sum import seconds_of_a_sum

from pulsewright.opening import open_session
from pulsewright.session import Session
from pulsewright_analysis import findings
from pulsewright_analysis.findings import Cancelled, measure
from pulsewright_analysis.streaming import threads

STAGES = {
    "measure_levels": "noise and levels",
    "measure_pulses": "pulses",
    "measure_polarity": "polarity",
    "measure_sequence": "sequence and repeated records",
    "measure_alignment": "alignment",
    "measure_jitter": "jitter",
    "measure_timing": "timing",
    "measure_health": "health",
}
HALF = 0.5
CANCELS = 16


class Clocked:
    """Stands in for a stage of `measure`, and adds up its time and its processor time."""

    def __init__(self, stage: Callable[..., object]) -> None:
        self._stage = stage
        self.seconds = self.processor = 0.0

    def __call__(self, *given: object, **named: object) -> object:
        begin, worked = time.perf_counter(), time.process_time()
        made = self._stage(*given, **named)
        self.seconds += time.perf_counter() - begin
        self.processor += time.process_time() - worked
        return made


def staged(session: Session) -> dict[str, tuple[float, float]]:
    """Return seconds and processor seconds of each stage, and of the whole under ``all``."""
    kept = {name: getattr(findings, name) for name in STAGES}
    clocks = {name: Clocked(stage) for name, stage in kept.items()}
    try:
        for name, clock in clocks.items():
            setattr(findings, name, clock)
        whole = Clocked(measure)
        whole(session)
    finally:
        for name, stage in kept.items():
            setattr(findings, name, stage)
    return {name: (clock.seconds, clock.processor) for name, clock in (clocks | {"all": whole}).items()}


def answers(session: Session, whole: float) -> list[float]:
    """Return the seconds from a cancel to its answer, at moments spread over the whole of measuring."""
    taken = []
    for share in np.linspace(0.01, 0.97, CANCELS):
        begin = time.perf_counter()
        moment = begin + share * whole

        def cancelled(moment: float = moment) -> bool:
            return time.perf_counter() >= moment

        try:
            measure(session, cancelled=cancelled)
        except Cancelled:
            taken.append(time.perf_counter() - moment)
    return taken


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=2000)
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "walk.h5"
        write_walk(path, given.records)
        with open_session(path) as session:
            measure(session)
            runs = [staged(session) for _ in range(given.repeats)]
            medians = {name: [statistics.median(run[name][k] for run in runs) for k in (0, 1)] for name in runs[0]}
            whole, processor = medians.pop("all")
            late = answers(session, whole)
            peer = seconds_of_a_sum(session)
    size = given.records * CHANNELS * LENGTH * 2
    print(f"{given.records} x {CHANNELS} x {LENGTH}: {whole:.2f} s, {processor:.2f} s of processors, ", end="")
    print(f"{size / whole / 1e9:.2f} GB/s; {threads()} threads, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    for name, (seconds, worked) in medians.items():
        above = "  above half" if seconds > HALF * whole else ""
        print(
            f"  {STAGES[name]:30s} {seconds:7.3f} s {100 * seconds / whole:5.1f} %   processors {worked:7.3f} s{above}"
        )
    rest = whole - sum(seconds for seconds, _ in medians.values())
    print(f"  {'the rest':30s} {rest:7.3f} s {100 * rest / whole:5.1f} %")
    print(f"NumPy's sum of the same samples: {peer:.2f} s of a processor; measuring {processor / peer:.1f} times that")
    print(
        f"cancel, {len(late)} moments: answered within {1e3 * statistics.median(late):.1f} ms (median), "
        f"{1e3 * float(np.percentile(late, 90)):.1f} ms (nine in ten), {1e3 * max(late):.1f} ms (the latest)"
    )


if __name__ == "__main__":
    main()
