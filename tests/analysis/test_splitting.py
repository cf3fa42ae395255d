"""A capture split at level crossings whose instants are known by algebra."""

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.errors import SettingError
from pulsewright_analysis import splitting
from pulsewright_analysis.level_crossings import CrossingFinder
from pulsewright_analysis.splitting import SplitSettings, split

RATE = 1e6
PERIOD = 1000.25
"""Of the ramps below, samples: each crossing lies at another place between two samples."""


def ramps(count=8, first=100.4, width=40.0, length=8200):
    """Triangles that rise through 0 at ``first + n·PERIOD`` and fall through it `width` samples later."""
    sample = np.arange(length, dtype=np.float64)
    values = np.full(length, -1.0)
    for number in range(count):
        place = sample - (first + number * PERIOD)
        values = np.maximum(values, np.minimum(place, width - place) / 10)
    return values.astype(np.float32)


def capture(values, **more):
    channels = more.pop("channels", None) or [Channel("H01", "M1")]
    rows = np.repeat(values[None, None, :], len(channels), axis=1)
    return Session.from_samples(rows, channels, RATE, 0, **more)


def settings(**more):
    return SplitSettings(**({"channel": "H01", "level": 0.0, "rising": True, "before": 20e-6, "after": 180e-6} | more))


# algebra: the straight line through the two samples is the ramp itself
def test_instants_are_where_the_ramps_cross():
    found = split(capture(ramps()), settings(hold_off=50e-6))
    crossing = 100.4 + PERIOD * np.arange(8)
    session = found.session
    assert (session.records, session.record_length, session.pre_trigger) == (8, 200, 20)
    np.testing.assert_array_equal(found.sample, np.ceil(crossing))
    np.testing.assert_allclose(session.trigger_offset[:, 0] * RATE, np.ceil(crossing) - crossing, atol=1e-4)
    np.testing.assert_allclose(session.trigger_time[:, 0] * RATE, crossing - crossing[0], atol=2e-4)
    assert session.trigger_time[0, 0] == 0.0
    # the crossing lies at 0 on each record's own time axis
    for record in range(8):
        height = np.interp(0.0, session.times(record, 0), session.values(record, record + 1)[0, 0])
        assert height == pytest.approx(0.0, abs=1e-4)


def test_falling_crossings_come_a_width_later():
    found = split(capture(ramps()), settings(rising=False))
    crossing = 140.4 + PERIOD * np.arange(8)
    np.testing.assert_allclose(found.sample - found.session.trigger_offset[:, 0] * RATE, crossing, atol=1e-4)


def test_a_sample_on_the_level_is_the_trigger_itself():
    values = np.array([-1, -1, 0, 1, 1, 0, -1, -2, -1, 1, 1, 1], dtype=np.int16)
    rising = split(capture(values), settings(before=0, after=1e-6))
    np.testing.assert_array_equal(rising.sample, [2, 9])
    np.testing.assert_allclose(rising.session.trigger_offset[:, 0], [0.0, 0.5e-6])
    falling = split(capture(values), settings(before=0, after=1e-6, rising=False))
    np.testing.assert_array_equal(falling.sample, [5])


def test_scale_and_offset_count():
    codes = np.rint(ramps(8) * 1000).astype(np.int16)
    turned = [Channel("H01", "M1", scale=-1e-3, offset=0.25)]
    found = split(capture(codes, channels=turned), settings(level=0.25, rising=False))
    np.testing.assert_array_equal(found.sample, np.ceil(100.4 + PERIOD * np.arange(8)))


@pytest.mark.parametrize("hysteresis", [0.0, 1.5])
def test_the_same_whatever_the_block(monkeypatch, hysteresis):
    values = np.random.default_rng(3).normal(size=3000).astype(np.float32)
    asked = settings(level=0.5, before=12e-6, after=9e-6, hold_off=6e-6, hysteresis=hysteresis)
    whole = split(capture(values), asked)
    assert whole.session.records > 10
    assert min(whole.held_off, len(whole.in_dead_time)) > 0
    for block in (1, 2, 7, 1024, 2999):
        monkeypatch.setattr(splitting, "LOOKED_AT_ONCE", block)
        part = split(capture(values), asked)
        np.testing.assert_array_equal(part.sample, whole.sample)
        np.testing.assert_array_equal(part.session.trigger_offset, whole.session.trigger_offset)
        np.testing.assert_array_equal(part.in_dead_time, whole.in_dead_time)
        assert (part.held_off, part.before_start, part.past_end) == (
            whole.held_off, whole.before_start, whole.past_end,
        )  # fmt: skip


def crossings_one_by_one(values, level, hysteresis):
    """Walk through the samples as a comparator does."""
    armed, found = False, []
    for number, value in enumerate(values):
        if armed and value >= level:
            found.append(number)
            armed = False
        armed |= value < level - hysteresis
    return found


@pytest.mark.parametrize("hysteresis", [0.0, 0.5, 2.0])
def test_hysteresis_is_that_of_a_comparator(hysteresis):
    values = np.random.default_rng(4).normal(size=4000)
    finder = CrossingFinder(0.2, rising=True, hysteresis=hysteresis)
    for block in np.split(values, [1, 2, 700, 701, 3000]):
        finder.look_at(block)
    np.testing.assert_array_equal(finder.found()[0], crossings_one_by_one(values, 0.2, hysteresis))
    assert finder.seen == (values.min(), values.max())


def test_triggers_in_dead_time_are_told():
    # with 980 samples after and 20 before, a record takes 1000: every second of pulses 999 apart comes too soon
    near = np.full(8200, -1.0, dtype=np.float32)
    for number in range(8):
        near[100 + 999 * number : 110 + 999 * number] = 1.0
    found = split(capture(near), settings(after=980e-6))
    np.testing.assert_array_equal(found.sample, 100 + 999 * np.arange(0, 8, 2))
    np.testing.assert_array_equal(found.in_dead_time, 100 + 999 * np.arange(1, 8, 2))
    just = split(capture(near), settings(after=979e-6))
    assert (just.session.records, len(just.in_dead_time)) == (8, 0)


def test_no_sample_is_in_two_records():
    values = np.random.default_rng(5).normal(size=5000).astype(np.float32)
    found = split(capture(values), settings(before=7e-6, after=5e-6))
    assert found.session.records > 200
    assert np.diff(found.sample).min() == 12
    for record, sample in enumerate(found.sample[:50]):
        np.testing.assert_array_equal(found.session.codes(record, record + 1)[0, 0], values[sample - 7 : sample + 5])


def test_records_past_the_ends_are_told():
    found = split(capture(ramps()), settings(before=101e-6 + 0.5e-6, after=1e-4))
    assert (found.before_start, found.past_end, found.session.records) == (1, 0, 7)
    assert found.session.trigger_time[0, 0] == 0.0
    found = split(capture(ramps(length=7200)), settings(before=101e-6, after=1e-4))
    assert (found.before_start, found.past_end, found.session.records) == (0, 1, 7)


TWO = [Channel("H01", "M1"), Channel("H02", "M1", delay=3e-9), Channel("H05", "M2"), Channel("H09", "M3")]


def test_modules_that_sample_at_other_instants_keep_their_times():
    offsets = np.array([[0.1e-6, 0.9e-6, np.nan]])
    values = np.arange(500, dtype=np.int16) - 100
    session = capture(values, channels=TWO, trigger_offset=offsets)
    found = split(session, settings(level=0.4, before=5e-6, after=10e-6)).session
    # H01 crosses 0.6 samples before its sample 101; M2's samples lie 0.8 later, so its sample 100 comes first
    np.testing.assert_allclose(found.trigger_offset[0, :2], [0.6e-6, 0.4e-6], atol=1e-12)
    assert np.isnan(found.trigger_offset[0, 2])
    np.testing.assert_array_equal(found.codes()[0, :, 5], [1, 1, 0, 1])
    # what each channel shows at each instant is what it showed in the capture
    shift = 100.4e-6 + 0.1e-6
    for channel in range(3):
        np.testing.assert_allclose(
            found.times(0, channel) + shift, session.times(0, channel)[96:111] - (1e-6 if channel == 2 else 0)
        )
    np.testing.assert_array_equal(found.channel_codes(2), found.codes()[:, 2])


def test_a_shared_instant_serves_every_module():
    session = capture(ramps(), channels=TWO, trigger_offset=np.array([0.5e-6]))
    found = split(session, settings()).session
    assert found.shared_offset and found.shared_time
    assert np.isfinite(found.trigger_offset).all()


WRONG = {
    "split already": (lambda: Session.from_samples(np.zeros((2, 1, 9)), [Channel("H01", "M1")], RATE), {}),
    "no channel 'H03'": (lambda: capture(ramps()), {"channel": "H03"}),
    "H01 never rises through 5 V; its values go from −1 V to 1.99 V": (lambda: capture(ramps()), {"level": 5.0}),
    "longer than the capture": (lambda: capture(ramps()), {"after": 1.0}),
    "after: 0 s is no length; it must be above 0 s": (lambda: capture(ramps()), {"after": 0}),
    "before: −1 s is no length; it must be from 0 s up": (lambda: capture(ramps()), {"before": -1.0}),
    "hysteresis: −1 is below 0": (lambda: capture(ramps()), {"hysteresis": -1.0}),
    "none of the 1 triggers": (lambda: capture(ramps(1)), {"before": 150e-6}),
}


@pytest.mark.parametrize("words", WRONG)
def test_what_cannot_be_split_is_said(words):
    make, more = WRONG[words]
    with pytest.raises(SettingError, match=words):
        split(make(), settings(**more))
