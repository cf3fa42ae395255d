"""A small honesty table: a few cells of each kind at few runs, the limits widened for that number of runs.

The whole table is printed by tests/benchmarks/honesty.py. Truth is simulated; coverage and bias are judged as JCGM
100:2008 defines them, and the scatter of skews against the Cramér–Rao bound. So widened, the limits are passed by
intervals that are short by a quarter at 150 runs of a cell, by a fifth at 250 and by a sixth at 800.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

import honesty
import honesty_table
import missed_triggers
import simulated
from honesty_table import Cell

FOUR_STANDARD_ERRORS = 4.0
"""Of some 150 figures none passes this by chance more than once in 100 changes of the seeds."""

SMALL = [
    *[(Cell("pulse", w, d, n, 100), 800) for n in ("white", "band") for w in (3, 10, 100) for d in (20, 30, 50)],
    (Cell("pulse", 10, 30, "white", 8), 800),
    *[(Cell("correlation", w, 30, n, 8, g), 150) for n in ("white", "band") for w in (3, 30) for g in (1.0, 0.2)],
    (Cell("correlation", 3, 20, "white", 8, 0.2), 100),
    (Cell("correlation", 10, 30, "white", 200), 100),
    *[(Cell("sine", p, 20, "white", 8), 150) for p in (3, 10, 300)],
    *[(Cell("sine", p, 30, "band", 8), 150) for p in (5, 100)],
    *[(Cell("increment", 0, d, "white", r), 250) for r in (8, 200) for d in (21.6, 40)],
    (Cell("increment", 0, 30, "band", 200), 250),
    *[(Cell("jitter", 0, 20, "white", r), 250) for r in (8, 200)],
    (Cell("jitter", 0, 0, "white", 30), 250),
    *[(Cell("period", 0, 40, "periods", r), 250) for r in (8, 200)],
]


def name_of(cell: Cell) -> str:
    return f"{cell.kind}-{cell.samples}-{cell.decibels}dB-{cell.noise}-{cell.records}-{cell.gain}"


@pytest.mark.parametrize(("cell", "runs"), SMALL, ids=[name_of(cell) for cell, _ in SMALL])
def test_inside_its_region_a_method_keeps_its_word(cell, runs):
    for outcome in honesty.run_cell(cell, runs):
        assert outcome.faults(FOUR_STANDARD_ERRORS) == [], outcome


@pytest.mark.parametrize("noise", ["white", "band"])
def test_ordinary_signals_are_inside_every_region_but_the_peak_s(noise):
    """Ten samples a pulse and 30 dB; sines from 20 dB; gains of 5:1; and the table has a cell outside each region."""
    cells = [
        Cell("pulse", 10, 30, noise, 100),
        Cell("correlation", 10, 30, noise, 8, 0.2),
        Cell("sine", 10, 20, noise, 8),
    ]
    found = {o.quantity: o.inside for cell in cells for o in honesty.run_cell(cell, 8)}
    assert found.pop("peak") in (True, False)
    assert len(found) == 6
    assert all(found.values())


def test_outside_its_region_a_pulse_has_no_number():
    for outcome in honesty.run_cell(Cell("pulse", 10, 20, "white", 100), 200):
        assert not outcome.inside
        assert outcome.measured == 0


def test_a_wrong_u_is_noticed(monkeypatch):
    """The check itself can fail: with half the noise told to the correlation, its intervals are too short."""
    monkeypatch.setattr("honesty_skews.autocovariance_of", lambda kind: 0.25 * simulated.autocovariance_of(kind))
    monkeypatch.setattr("pulsewright_analysis.skew_contrasts.BEYOND_CHANCE", 1 - 1e-12)
    (outcome,) = honesty.run_cell(Cell("correlation", 10, 30, "white", 8), 150)
    assert any("coverage" in fault for fault in outcome.faults(FOUR_STANDARD_ERRORS))


def test_the_table_s_own_arithmetic():
    cell = Cell("sine", 10, 20, "white", 8)
    error = np.array([1.0, -1.0, 3.0, np.nan])
    u = np.ones(4)
    result = honesty_table.outcome(cell, "sine", True, 4, (error, u, error - 2, error + 2), 1.0, bounded=True)
    assert result.measured == 3
    assert result.coverage == pytest.approx(2 / 3)
    assert result.bias == pytest.approx(1.0)
    assert result.over_bound == pytest.approx(np.sqrt(11 / 3))
    assert "<--" in honesty_table.line_of(result)


@pytest.mark.parametrize("kind", missed_triggers.KINDS)
def test_missed_triggers_are_found_and_clean_sessions_stay_silent(kind):
    rng = np.random.default_rng(7)
    total = missed_triggers.Tally()
    for lossy in (False, True):
        for _ in range(15):
            total.add(missed_triggers.session(rng, lossy, kind))
    assert total.alarms == 0
    assert total.extra == 0
    assert total.missed > 0
    assert total.found >= 0.98 * total.missed
