"""Cells of the honesty table for pulses: four positions and the width."""

from __future__ import annotations

import numpy as np
from honesty_table import Cell, Floats, Outcome, outcome
from numpy.typing import NDArray
from simulated import gaussian, noise_of, pulse_bounds

from pulsewright import Channel, Session
from pulsewright.settings import Position, Settings
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.levels import measure_levels
from pulsewright_analysis.pulses import measure_pulses
from pulsewright_analysis.results import Pulses
from pulsewright_analysis.validity import PULSE_REGIONS

WIDTHS = (3, 5, 10, 30, 100, 300)
DECIBELS = (20, 25, 30, 40, 50, 60)
POSITIONS: tuple[Position, ...] = ("midpoint", "leading", "centroid", "peak")


def cells() -> list[Cell]:
    """Return every cell: widths × ratios × noises in sessions of 200 records, and a few of 8 and of 50."""
    grid = [Cell("pulse", w, d, n, 200) for n in ("white", "band") for w in WIDTHS for d in DECIBELS]
    return grid + [Cell("pulse", 10, d, n, r) for n in ("white", "band") for d in (30, 50) for r in (8, 50)]


def run(cell: Cell, runs: int) -> list[Outcome]:
    """Measure `runs` pulses, in as many sessions as their records ask for, each with its own levels."""
    rng = np.random.default_rng(cell.seed)
    parts = [_session_errors(cell, rng) for _ in range(-(-runs // cell.records))]
    total = len(parts) * cell.records
    bounds = pulse_bounds(cell.samples, cell.ratio, cell.noise)
    found = []
    for name in (*POSITIONS, "width"):
        error, u, half = (np.concatenate([part[name][k] for part in parts]) for k in range(3))
        inside = PULSE_REGIONS[name].includes(cell.samples, cell.ratio)
        found.append(outcome(cell, name, inside, total, (error, u, error - half, error + half), bounds[name]))
    return found


def _session_errors(cell: Cell, rng: np.random.Generator) -> dict[str, tuple[Floats, Floats, Floats]]:
    """Return error, u and half the 95 % interval of each quantity for one session's pulses, in samples."""
    length = int(max(256, 10 * cell.samples + 160))
    centre = length / 2 + rng.uniform(-0.5, 0.5, cell.records)
    clean = gaussian(np.arange(length) - centre[:, None], cell.samples)
    volts = clean + noise_of(rng, clean.shape, cell.noise) / cell.ratio
    # five codes to the noise, or a sixteen-bit converter's own steps where those are coarser
    code = max(0.2 / cell.ratio, 1 / 20000)
    channel = Channel("H01", "M1", scale=code)
    session = Session.from_samples(
        np.round(volts / code).astype(np.int16)[:, None, :], [channel], 1.0, trigger_offset=np.zeros(cell.records)
    )
    records = np.arange(cell.records)
    pulses = measure_pulses(session, [0], records, measure_levels(session, [0], records), Settings())
    only = _single(pulses, cell.records)
    truths = {"leading": centre - cell.samples / 2, "width": np.full(cell.records, float(cell.samples))}
    errors = {}
    for name in (*POSITIONS, "width"):
        value, u = (pulses.width, pulses.width_u) if name == "width" else (pulses.times[name], pulses.times_u[name])
        error, spread = np.full(cell.records, np.nan), np.full(cell.records, np.nan)
        error[pulses.record[only]] = value[only] - truths.get(name, centre)[pulses.record[only]]
        spread[pulses.record[only]] = u[only]
        errors[name] = (error, spread, half_width_95(spread))
    return errors


def _single(pulses: Pulses, records: int) -> NDArray[np.bool_]:
    """Return which pulses are the only ones of their record; a record with a false pulse counts as not measured."""
    result: NDArray[np.bool_] = np.bincount(pulses.record, minlength=records)[pulses.record] == 1
    return result
