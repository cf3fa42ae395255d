"""Cable delays that are given in place of the file's: what they move, and what they leave. Expected values: algebra."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from pulsewright import Session
from pulsewright.errors import SettingError
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure

PINGS = [range(24), range(24)]
MOVED = 37e-9


def skew(session: Session, channel: int, **delays: float) -> float:
    found = measure(session, layered(option={"delays": delays})).alignment.channels[channel].skew
    assert found is not None
    return found.value


def test_a_skew_moves_by_minus_the_change_of_its_channels_delay(make_tank: Callable[..., Session]) -> None:
    session = make_tank(PINGS, late=20e-9)
    before = skew(session, 3)
    assert skew(session, 3, H04=MOVED) == pytest.approx(before - MOVED, abs=1e-15)
    assert skew(session, 3, H04=-MOVED) == pytest.approx(before + MOVED, abs=1e-15)
    assert skew(session, 3, H01=MOVED) == pytest.approx(before + MOVED, abs=1e-15)  # that of the reference
    assert skew(session, 3, H02=MOVED) == pytest.approx(before, abs=1e-15)


def test_every_position_moves_and_nothing_else_does(make_tank: Callable[..., Session]) -> None:
    session = make_tank(PINGS)
    before, after = measure(session), measure(session, layered(option={"delays": {"H02": MOVED}}))
    assert len(after.pulses) == len(before.pulses)
    own = before.pulses.channel == 1
    assert after.pulses.time[own] == pytest.approx(before.pulses.time[own] - MOVED, abs=1e-15)
    assert np.array_equal(after.pulses.time[~own], before.pulses.time[~own])
    assert np.array_equal(after.pulses.time_u, before.pulses.time_u)  # its doubt is `delay_u`, given apart
    assert np.array_equal(after.pulses.amplitude, before.pulses.amplitude)
    assert after.timing.trigger_period == before.timing.trigger_period


def test_a_delay_replaces_the_files_and_leaves_the_session_as_it_was(make_tank: Callable[..., Session]) -> None:
    session = make_tank(PINGS).with_delays([("H04", 5e-9)])
    assert skew(session, 3, H04=MOVED) == skew(make_tank(PINGS), 3, H04=MOVED)
    assert [channel.delay for channel in session.channels] == [0.0, 0.0, 0.0, 5e-9]
    told = measure(session, layered(option={"delays": {"H01": MOVED}})).session
    assert told.delays == (MOVED, 0.0, 0.0, 5e-9)


def test_the_same_delays_make_no_other_session(make_tank: Callable[..., Session]) -> None:
    session = make_tank(PINGS)
    assert session.with_delays([("H01", 0.0)]) is session


def test_a_channel_that_is_not_there_is_named(make_tank: Callable[..., Session]) -> None:
    with pytest.raises(SettingError, match="delays: the session has no channel 'H99'; its channels are H01, H02, "):
        measure(make_tank(PINGS), layered(option={"delays": {"H99": MOVED}}))
