"""Missed triggers: alarms in clean sessions, and the share of the missed found where and as many as they were.

Run by hand: ``python tests/benchmarks/missed_triggers.py [--sessions 3000]``. Sessions of 200 records with gaps of one
to three triggers at random places, a position scatter of up to a twelfth of the increment and pulses of 30 dB whose
positions and polarities are simulated, not their samples. Exit code 1 where a clean session gives an alarm or fewer
than 99.5 % of the missed are found, apart from those that no witness present can see.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product

import numpy as np

from pulsewright_analysis import witnesses
from pulsewright_analysis.lattice import Lattice, find_lattice, stops_on
from pulsewright_analysis.trigger_numbers import number_triggers
from pulsewright_analysis.witnesses import Statements

RECORDS = 200
INCREMENT = 10e-6
PERIOD = 0.05
POSITION_U = 20e-9
"""Of a pulse of ten samples at 5 MHz and 30 dB."""
WORKERS = 2
LEAST_FOUND = 0.995
KINDS = tuple(product((None, 12, 37), (True, False), (True, False)))
"""Cycle, whether trigger times are known, whether the polarity alternates."""


@dataclass
class Tally:
    """Sums over sessions; `hidden` are the missed that no witness present can see."""

    clean: int = 0
    alarms: int = 0
    lossy: int = 0
    missed: int = 0
    found: int = 0
    hidden: int = 0
    extra: int = 0

    def add(self, other: Tally) -> None:
        """Add another tally."""
        for name in vars(other):
            setattr(self, name, getattr(self, name) + getattr(other, name))


def session(rng: np.random.Generator, lossy: bool, kind: tuple[int | None, bool, bool]) -> Tally:
    """Simulate one session, count its triggers, and compare with the truth."""
    cycle, timed, alternating = kind
    lost = _lost(rng) if lossy else set()
    trigger = np.array([k for k in range(RECORDS + len(lost)) if k not in lost])
    truth = {g: int(n) - 1 for g, n in enumerate(np.diff(trigger)) if n > 1}
    told = _told(rng, trigger, cycle, timed, alternating)
    numbering = number_triggers(np.arange(RECORDS), {0: told}, ("M1",), 0, True)
    said = {gap.after_record: gap.count for gap in numbering.missed}
    if not lossy:
        return Tally(clean=1, alarms=bool(said))
    seen = {g: n for g, n in truth.items() if timed or cycle is None or n % cycle or (alternating and n % 2)}
    return Tally(
        lossy=1,
        missed=sum(seen.values()),
        found=sum(n for g, n in seen.items() if said.get(g) == n),
        hidden=sum(truth.values()) - sum(seen.values()),
        extra=sum(1 for g in said if g not in truth),
    )


def _lost(rng: np.random.Generator) -> set[int]:
    """Return one to four gaps of one to three triggers, at random inside the run."""
    lost: set[int] = set()
    for _ in range(int(rng.integers(1, 5))):
        first = int(rng.integers(1, RECORDS - 1))
        lost |= set(range(first, first + int(rng.integers(1, 4))))
    return lost


def _told(
    rng: np.random.Generator, trigger: np.ndarray, cycle: int | None, timed: bool, alternating: bool
) -> Statements:
    """Return what the witnesses say of one session's positions, polarities and times."""
    records = np.arange(len(trigger))
    increment = INCREMENT * float(rng.choice([-1, 1]))
    scatter = INCREMENT / 12 * rng.uniform(0, 1)
    stop = trigger % cycle if cycle else trigger
    spread = float(np.hypot(scatter, POSITION_U))
    position = 3e-3 + increment * stop + spread * rng.standard_normal(len(trigger))
    sign = np.where(trigger % 2 == 0, 1, -1) if alternating else np.ones(len(trigger), dtype=np.int64)
    time = PERIOD * trigger + 1e-6 * rng.standard_normal(len(trigger)) if timed else np.full(len(trigger), np.nan)
    lattice = find_lattice(position, np.full(len(trigger), POSITION_U))
    counts = witnesses.time_counts(time, records, witnesses.usual_period(time, records))
    places, found_cycle = np.full(len(records) - 1, witnesses.UNKNOWN), None
    if isinstance(lattice, Lattice):
        found_cycle = lattice.cycle
        stops = stops_on(lattice, position)
        stops[witnesses.out_of_place(stops, records, found_cycle)] = -1
        places = witnesses.position_counts(stops, records, found_cycle, counts)
    polarity = witnesses.polarity_counts(sign, records, witnesses.alternates(sign, records), counts)
    return Statements(places, polarity, counts, found_cycle)


def run_kind(number: int, sessions: int) -> Tally:
    """Run as many clean and as many lossy sessions of one kind; the seed is the kind's number."""
    rng = np.random.default_rng([303, number])
    total = Tally()
    for lossy in (False, True):
        for _ in range(sessions):
            total.add(session(rng, lossy, KINDS[number]))
    return total


def main() -> int:
    """Print a line for each kind and the sum, and return the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=3000, help="clean sessions, and as many lossy ones")
    each = -(-parser.parse_args().sessions // len(KINDS))
    total = Tally()
    print(f"{'cycle':>5} {'times':>7} {'polarity':11} {'alarms':>12} {'found':>16} {'hidden':>6} {'extra':>5}")
    with ProcessPoolExecutor(WORKERS) as pool:
        for kind, tally in zip(KINDS, pool.map(run_kind, range(len(KINDS)), [each] * len(KINDS)), strict=True):
            cycle, timed, alternating = kind
            words = ("known" if timed else "unknown", "alternating" if alternating else "constant")
            print(f"{cycle or 'none':>5} {words[0]:>7} {words[1]:11} {_figures(tally)}")
            total.add(tally)
    print(f"{'all':>25} {_figures(total)}")
    share = total.found / max(total.missed, 1)
    print(f"alarms in {total.clean} clean sessions: {total.alarms}; found of the missed: {100 * share:.2f} %")
    return 1 if total.alarms or share < LEAST_FOUND else 0


def _figures(tally: Tally) -> str:
    return (
        f"{f'{tally.alarms} of {tally.clean}':>12} {f'{tally.found} of {tally.missed}':>16} {tally.hidden:6d} "
        f"{tally.extra:5d}"
    )


if __name__ == "__main__":
    sys.exit(main())
