"""Missed triggers by position, polarity and time, alone and together."""

import numpy as np
import pytest

from pulsewright_analysis import witnesses
from pulsewright_analysis.lattice import Lattice, find_lattice, stops_on
from pulsewright_analysis.witnesses import Statements, decide


def kept(sent: int, lost: set[int]) -> np.ndarray:
    """Return the numbers of the triggers that were kept."""
    return np.array([k for k in range(sent) if k not in lost])


def flawless(triggers: np.ndarray, cycle: int | None, with_time: bool = True) -> Statements:
    """Return what flawless witnesses say of the kept triggers."""
    records = np.arange(len(triggers))
    stop = triggers if cycle is None else triggers % cycle
    sign = np.where(triggers % 2 == 0, 1, -1)
    period = 0.05 if with_time else None
    return Statements(
        witnesses.position_counts(stop, records, cycle),
        witnesses.polarity_counts(sign, records, True),
        witnesses.time_counts(0.05 * triggers, records, period),
        cycle,
    )


@pytest.mark.parametrize("cycle", [None, 12, 5])
@pytest.mark.parametrize("with_time", [True, False])
def test_one_and_three_lost(cycle, with_time):
    triggers = kept(40, {7, 20, 21, 22})
    told = flawless(triggers, cycle, with_time)
    decisions = [decide(told, gap) for gap in range(len(triggers) - 1)]
    assert {gap: d.count for gap, d in enumerate(decisions) if d.count} == {6: 1, 18: 3}
    assert decisions[6].seen_in == (("position", "polarity", "time") if with_time else ("position", "polarity"))
    assert not any(d.against for d in decisions)


def test_a_whole_cycle_lost_is_seen_by_time_alone():
    triggers = kept(40, set(range(10, 22)))
    decision = decide(flawless(triggers, 12), 9)
    assert (decision.count, decision.seen_in, decision.against) == (12, ("time",), ())
    assert decide(flawless(triggers, 12, with_time=False), 9).count == 0


def test_two_lost_leave_polarity_unmoved():
    decision = decide(flawless(kept(20, {4, 5}), None), 3)
    assert (decision.count, decision.seen_in) == (2, ("position", "time"))


def test_disagreement_names_who_is_against():
    told = flawless(kept(20, set()), None)
    told.time[5] = 1
    decision = decide(told, 5)
    assert decision.count == 0
    assert decision.against == ("time",)


def test_a_silent_record_hides_no_lost_trigger():
    triggers = kept(20, {9})
    stop = triggers.copy()
    stop[8] = -1
    counts = witnesses.position_counts(stop, np.arange(len(triggers)), None)
    assert counts.tolist().count(1) == 1
    assert counts[7] == witnesses.UNKNOWN
    assert counts[8] == 1


def test_polarity_patterns():
    records = np.arange(8)
    assert witnesses.alternates(np.array([1, -1] * 4), records) is True
    assert witnesses.alternates(np.ones(8, dtype=int), records) is False
    assert witnesses.alternates(np.array([1, 1, -1, -1, 1, 1, -1, -1]), records) is None
    assert witnesses.alternates(np.zeros(8, dtype=int), records) is None


@pytest.mark.parametrize("increment", [10e-6, -10e-6])
@pytest.mark.parametrize("cycle", [None, 12])
def test_lattice_is_found_without_being_told(increment, cycle):
    rng = np.random.default_rng(4)
    triggers = kept(60, {11, 30, 31})
    stop = triggers if cycle is None else triggers % cycle
    u = np.full(len(triggers), 50e-9)
    position = 1e-4 + increment * stop + rng.normal(0, 50e-9, len(triggers))
    position[17] = np.nan
    lattice = find_lattice(position, u)
    assert isinstance(lattice, Lattice)
    assert lattice.cycle == cycle
    assert abs(lattice.increment - increment) < 3 * lattice.line.slope_u
    known = np.arange(len(triggers)) != 17
    assert np.array_equal(np.diff(lattice.stop[known]), np.diff(stop[known]))
    assert lattice.stop[17] == -1
    elsewhere = stops_on(lattice, position + 3.7e-6)
    assert np.array_equal(np.diff(elsewhere[known]), np.diff(stop[known]))


def test_a_still_pulse_has_no_lattice():
    rng = np.random.default_rng(4)
    found = find_lattice(1e-4 + rng.normal(0, 1e-8, 30), np.full(30, 1e-8))
    assert isinstance(found, str)
    assert "does not walk" in found


def test_random_places_are_no_lattice():
    rng = np.random.default_rng(4)
    found = find_lattice(rng.uniform(0, 1e-3, 40), np.full(40, 1e-8))
    assert isinstance(found, str)
