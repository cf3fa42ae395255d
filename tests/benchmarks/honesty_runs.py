"""Cells of the honesty table for what is told by a run of records: increment, jitter and trigger period."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from honesty_table import Cell, Floats, Outcome, outcome

from pulsewright import Channel, Session
from pulsewright.quantity import Quantity
from pulsewright.settings import Settings
from pulsewright_analysis.jitter import measure_jitter
from pulsewright_analysis.lattice import Lattice, find_lattice
from pulsewright_analysis.results import Sequence
from pulsewright_analysis.sequence import increment_of
from pulsewright_analysis.timing import measure_timing
from pulsewright_analysis.validity import INCREMENT_REGION, JITTER_REGION, PERIOD_REGION

STEP = 10e-6
PERIOD = 0.05
RECORDS = (8, 30, 200)


def cells() -> list[Cell]:
    """Return the cells of the three kinds."""
    # 21.6 dB is a scatter of a twelfth of the increment
    steps = [Cell("increment", 0, d, "white", r) for r in RECORDS for d in (21.6, 30, 40, 60)]
    steps += [Cell("increment", 0, 30, "band", r) for r in RECORDS]
    jitters = [Cell("jitter", 0, d, "white", r) for r in RECORDS for d in (-6, 0, 6, 20)]
    periods = [Cell("period", 0, d, n, r) for n in ("stamps", "periods") for r in RECORDS for d in (40, 60)]
    return steps + jitters + periods


def run(cell: Cell, runs: int) -> list[Outcome]:
    """Measure `runs` sessions."""
    rng = np.random.default_rng(cell.seed)
    simulate, inside, truth, bound = _plan(cell)
    error, u, low, high = (np.full(runs, np.nan) for _ in range(4))
    for k in range(runs):
        found = simulate(cell, rng)
        if found is not None:
            error[k], u[k] = found.value - truth, found.u
            low[k], high[k] = (end - truth for end in found.interval95)
    return [outcome(cell, cell.kind, inside, runs, (error, u, low, high), bound)]


Simulation = Callable[[Cell, np.random.Generator], Quantity | None]


def _plan(cell: Cell) -> tuple[Simulation, bool, float, float | None]:
    """Return how to simulate a cell, whether it lies inside, the truth, and the bound where there is a plain one."""
    records = cell.records
    number = np.arange(records) - (records - 1) / 2
    if cell.kind == "increment":
        bound = STEP / cell.ratio / float(np.sqrt(np.sum(number**2))) if cell.noise == "white" else None
        inside = INCREMENT_REGION.includes(records, cell.ratio, correlated=cell.noise == "band")
        return _increment, inside, STEP, bound
    if cell.kind == "jitter":
        whole = np.hypot(1.0, 1 / cell.ratio)
        bound = STEP / 100 * float(whole**2) / np.sqrt(2 * records)
        return _jitter, JITTER_REGION.includes(records, cell.ratio), STEP / 100, bound
    spread = PERIOD / cell.ratio
    stamps = cell.noise == "stamps"
    bound = spread / float(np.sqrt(np.sum(number**2))) if stamps else spread / float(np.sqrt(records - 1))
    return _period, not stamps and PERIOD_REGION.includes(records), PERIOD, bound


def _increment(cell: Cell, rng: np.random.Generator) -> Quantity | None:
    scatter = rng.standard_normal(cell.records)
    if cell.noise == "band":
        # a stage's slow wandering: each record's error is half the last one's, and a new part
        for k in range(1, cell.records):
            scatter[k] = 0.5 * scatter[k - 1] + np.sqrt(0.75) * scatter[k]
    lattice = _walk(STEP / cell.ratio * scatter, 1e-9)
    return increment_of(lattice, Settings()) if isinstance(lattice, Lattice) else None


def _walk(errors: Floats, u: float) -> Lattice | str:
    position = 100e-6 + STEP * np.arange(len(errors)) + errors
    return find_lattice(position, np.full(len(errors), u))


def _jitter(cell: Cell, rng: np.random.Generator) -> Quantity | None:
    """Return the jitter of a walk: a hundredth of its step, beside the measurement's own as the cell says."""
    jitter, own = STEP / 100, STEP / 100 / cell.ratio
    errors = jitter * rng.standard_normal(cell.records) + own * rng.standard_normal(cell.records)
    lattice = _walk(errors, own)
    if not isinstance(lattice, Lattice):
        return None
    step = increment_of(lattice, Settings())
    sequence = _sequence(lattice.line.residual, np.full(cell.records, own), None, step)
    return measure_jitter(sequence, 1e-6)[0].std


def _period(cell: Cell, rng: np.random.Generator) -> Quantity | None:
    """Return the period of triggers whose stamps, or whose single periods, scatter."""
    errors = PERIOD / cell.ratio * rng.standard_normal(cell.records)
    time = PERIOD * np.arange(cell.records) + (np.cumsum(errors) if cell.noise == "periods" else errors)
    session = Session.from_samples(
        np.zeros((cell.records, 1, 16), dtype=np.int16), [Channel("H01", "M1", scale=1e-4)], 1e6, trigger_time=time
    )
    nothing = np.full(cell.records, np.nan)
    sequence = _sequence(nothing, nothing, PERIOD)
    return measure_timing(session, np.arange(cell.records), sequence, Settings())[0].trigger_period


def _sequence(
    residual: Floats, residual_u: Floats, period: float | None, increment: Quantity | None = None
) -> Sequence:
    """Return a sequence that holds nothing but residuals, a period, and the increment that was taken off."""
    none = np.full(len(residual), -1, dtype=np.int64)
    return Sequence(
        channel=0,
        increment=increment,
        start=None,
        extent=None,
        cycle=None,
        alternates=None,
        pattern=None,
        period=period,
        missed=(),
        slips=(),
        repeated=(),
        sent=None,
        pulse=none,
        stop=none,
        residual=residual,
        residual_u=residual_u,
        out_of_place=(),
        in_step=np.ones((len(residual), 1), dtype=bool),
    )
