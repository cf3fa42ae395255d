"""Missed triggers, slips and repeated records of whole sessions, also where a record or a module is silent or wrong."""

import numpy as np
import pytest

from pulsewright import Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure
from pulsewright_analysis.lattice import Lattice, find_lattice

SETTINGS = layered(option={"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us"})


def without(sent, *lost):
    """Return the pings that were kept."""
    return [k for k in range(sent) if k not in lost]


def changed(session, codes, **more):
    """Return the session with other samples, and other trigger times or offsets where given."""
    given = {"trigger_time": session.trigger_time, "trigger_offset": session.trigger_offset} | more
    return Session.from_samples(codes, session.channels, session.sample_rate, session.pre_trigger, **given)


def summary(sequence):
    """Return missed triggers and slips as plain tuples."""
    missed = [(gap.after_record, gap.count) for gap in sequence.missed]
    return missed, [(slip.module, slip.from_record, slip.by) for slip in sequence.slips]


def test_a_common_loss_after_a_slip_is_still_a_missed_trigger(make_tank):
    first, second = without(40, 25, 38, 39), without(40, 10, 25, 39)
    sequence = measure(make_tank([first, second]), SETTINGS).sequence
    assert summary(sequence) == ([(24, 1)], [("M2", 10, 1)])


def test_two_losses_of_one_module_are_counted_up(make_tank):
    sequence = measure(make_tank([range(32), without(34, 7, 20)]), SETTINGS).sequence
    assert summary(sequence) == ([], [("M2", 7, 1), ("M2", 19, 2)])


def test_modules_that_each_lost_one_are_in_step_again(make_tank):
    sequence = measure(make_tank([without(33, 20), without(33, 7)]), SETTINGS).sequence
    assert summary(sequence)[0] == []
    assert {slip.module for slip in sequence.slips} == {"M1", "M2"}
    together = np.all(sequence.in_step, axis=1)
    assert np.array_equal(np.flatnonzero(~together), np.arange(7, 20))


@pytest.mark.parametrize("timed", [True, False])
def test_a_stale_record_is_no_missed_trigger(make_tank, timed):
    session = make_tank([range(24), range(24)])
    codes = session.codes().copy()
    for record in (5, 11, 18):
        codes[record] = codes[record - 1]
    times = session.trigger_time if timed else None
    sequence = measure(changed(session, codes, trigger_time=times), SETTINGS).sequence
    assert summary(sequence) == ([], [])
    assert sequence.repeated == ((4, 5), (10, 11), (17, 18))


def test_a_module_stale_alone_is_named_and_its_record_not_compared(make_tank):
    session = make_tank([range(24), range(24)])
    codes = session.codes().copy()
    codes[11, 2:] = codes[10, 2:]
    findings = measure(changed(session, codes), SETTINGS)
    assert summary(findings.sequence) == ([], [])
    assert findings.sequence.repeated == ((10, 11),)
    assert [c.records for c in findings.alignment.channels] == [24, 24, 23, 23]


@pytest.mark.parametrize("keep", [2, 3])
def test_left_out_records_do_not_change_the_walk(make_tank, keep):
    left_out = [r for r in range(48) if r % keep]
    option = {"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us"}
    sequence = measure(make_tank([range(48)] * 2), layered(option=option, review={"left_out": left_out})).sequence
    assert summary(sequence) == ([], [])
    if sequence.increment is not None:
        assert abs(sequence.increment.value - 10e-6) < 3 * sequence.increment.u


def test_a_silent_module_without_times_has_no_voice(make_tank):
    session = make_tank([without(25, 10), without(25, 10)])
    codes = session.codes().copy()
    codes[:, 2:] = np.random.default_rng(0).normal(0, 40, codes[:, 2:].shape).astype(np.int16)
    sequence = measure(changed(session, codes, trigger_time=None), SETTINGS).sequence
    assert summary(sequence) == ([(9, 1)], [])


def test_a_module_silent_just_beside_the_loss(make_tank):
    session = make_tank([without(25, 10), without(25, 10)])
    codes = session.codes().copy()
    codes[10, 2:] = np.random.default_rng(0).normal(0, 40, codes[10, 2:].shape).astype(np.int16)
    sequence = measure(changed(session, codes, trigger_time=None), SETTINGS).sequence
    assert summary(sequence) == ([(9, 1)], [])


@pytest.mark.parametrize("silent", [9, 10])
def test_a_loss_beside_a_silent_record_counts_once(make_tank, silent):
    session = make_tank([without(25, 10), without(25, 10)])
    codes = session.codes().copy()
    codes[silent] = np.random.default_rng(0).normal(0, 40, codes[silent].shape).astype(np.int16)
    sequence = measure(changed(session, codes), SETTINGS).sequence
    assert summary(sequence) == ([(9, 1)], [])


def test_exchanged_records_are_named_not_counted(make_tank):
    session = make_tank([range(32), range(32)])
    codes = session.codes().copy()
    codes[[12, 13]] = codes[[13, 12]]
    sequence = measure(changed(session, codes), SETTINGS).sequence
    assert summary(sequence) == ([], [])
    assert sequence.out_of_place == (12, 13)


def test_there_and_back_is_no_walk_that_starts_over(make_tank):
    turn = [0, 1, 2, 3, 4, 5, 6, 7, 6, 5, 4, 3, 2, 1]
    pings = [turn[k % len(turn)] for k in range(56)]
    session = make_tank([pings, pings])
    times = np.repeat((np.arange(56) * 0.05)[:, None], 2, axis=1)
    findings = measure(changed(session, session.codes(), trigger_time=times), SETTINGS)
    assert findings.sequence.missed == ()
    assert findings.sequence.increment is None
    assert any("No increment" in reason for reason in findings.reasons)


def test_a_wrong_given_increment_is_refused(make_tank):
    option = {"span": "50 us .. 150 us", "increment": "1 ns"}
    sequence = measure(make_tank([range(32), range(32)]), layered(option=option)).sequence
    assert sequence.increment is None
    assert sequence.missed == ()


def test_an_extra_pulse_on_one_module_is_no_slip(make_tank):
    session = make_tank([range(32), range(32)])
    codes = session.codes().copy()
    place = np.arange(codes.shape[-1])
    codes[:, 2:] += (4000 * np.exp(-(((place - 370) / 5) ** 2) / 2)).astype(np.int16)
    sequence = measure(changed(session, codes, trigger_time=None), SETTINGS).sequence
    assert summary(sequence) == ([], [])


def test_positions_against_a_reference_pulse_do_not_need_timed_triggers(make_tank):
    session = make_tank([range(48), range(48)], timed=False)
    option = {"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us"}
    plain = measure(session, layered(option=option)).sequence
    counted = measure(session, layered(option=option | {"reference_pulse": "5 us .. 30 us"})).sequence
    assert plain.increment is not None
    assert counted.increment is not None
    assert counted.start is not None
    assert abs(counted.increment.value - 10e-6) < 3 * counted.increment.u
    assert abs(counted.start.value - 45e-6) < 3 * counted.start.u
    assert counted.start.u < 5e-9
    assert plain.increment.u > 5 * counted.increment.u


def test_a_missing_reference_pulse_leaves_no_position(make_tank):
    option = {"span": "50 us .. 150 us", "reference_pulse": "150 us .. 155 us"}
    sequence = measure(make_tank([range(24), range(24)]), layered(option=option)).sequence
    assert sequence.increment is None


def test_a_few_alternating_records_are_not_said_to_follow_no_pattern(make_tank):
    findings = measure(make_tank([range(6), range(6)]), SETTINGS)
    assert findings.sequence.alternates is True
    assert not any("pattern" in reason for reason in findings.reasons)


@pytest.mark.parametrize(("kept", "timed", "told"), [(1, True, False), (2, True, False), (3, False, True)])
def test_few_records_are_not_said_to_have_no_trigger_times(make_tank, kept, timed, told):
    session = make_tank([range(kept), range(kept)])
    times = session.trigger_time if timed else None
    reasons = measure(changed(session, session.codes(), trigger_time=times), SETTINGS).reasons
    assert ("The session has no trigger times, so gaps in time cannot be seen." in reasons) is told
    assert any(reason.startswith("Fewer than three trigger times") for reason in reasons) is not told
    assert not any("only 1 records" in reason for reason in reasons)


def test_the_commonest_step_is_found_among_many_records():
    """Expected: by construction, in a hundred thousand records; a table of each step against each would be 80 GB."""
    rng = np.random.default_rng(4)
    stop = np.arange(100_000) % 12
    position = 60e-6 + 2e-6 * stop + 1e-9 * rng.standard_normal(100_000)
    lattice = find_lattice(position, np.full(100_000, 1e-9))
    assert isinstance(lattice, Lattice)
    assert lattice.cycle == 12
    assert lattice.increment == pytest.approx(2e-6, abs=1e-11)
