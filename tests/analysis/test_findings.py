"""Whole sessions of known truth, and input that cannot be measured."""

import warnings

import numpy as np
import pytest

from pulsewright import Channel, PulsewrightError, Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import Cancelled, measure

SETTINGS = layered(option={"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us"})
TRUE_INCREMENT = 10e-6


def within(quantity, truth, factor=3.0):
    """Return whether a quantity is within `factor` u of the truth."""
    return quantity is not None and abs(quantity.value - truth) <= factor * quantity.u


def test_clean_session(make_tank):
    findings = measure(make_tank([range(32), range(32)]), SETTINGS)
    sequence = findings.sequence
    assert sequence.missed == ()
    assert sequence.slips == ()
    assert sequence.cycle == 8
    assert sequence.alternates is True
    assert within(sequence.increment, TRUE_INCREMENT)
    assert within(sequence.extent, 7 * TRUE_INCREMENT)
    assert within(findings.timing.trigger_period, 0.05)
    assert findings.timing.longest_record_samples == 250_000
    assert all(within(c.skew, 0.0) for c in findings.alignment.channels)
    assert findings.reasons == ()


def test_late_channel_and_modules(make_tank):
    alignment = measure(make_tank([range(32), range(32)], late=12e-9), SETTINGS).alignment
    assert alignment.method == "correlation"
    assert within(alignment.channels[3].skew, 12e-9)
    assert alignment.channels[3].skew.value > 5 * alignment.channels[3].skew.u
    assert within(alignment.within_modules, 12e-9)
    assert within(alignment.between_modules[0].skew, 6e-9)


def test_gate_is_found_around_the_strongest_pulse(make_tank):
    settings = layered(option={"span": "5 us .. 30 us"})
    alignment = measure(make_tank([range(32), range(32)], late=12e-9), settings).alignment
    assert within(alignment.channels[3].skew, 12e-9)


@pytest.mark.parametrize("shared_time", [False, True])
def test_slip_of_one_module(make_tank, shared_time):
    pings = [k for k in range(33) if k != 14]
    findings = measure(make_tank([range(32), pings], shared_time=shared_time), SETTINGS)
    (slip,) = findings.sequence.slips
    assert (slip.module, slip.from_record, slip.by) == ("M2", 14, 1)
    assert findings.sequence.missed == ()
    assert np.array_equal(np.flatnonzero(~np.all(findings.sequence.in_step, axis=1)), np.arange(14, 32))
    assert [c.records for c in findings.alignment.channels] == [32, 32, 14, 14]


def test_untimed_triggers_enter_the_difference_of_modules(make_tank):
    timed = measure(make_tank([range(32), range(32)]), SETTINGS).alignment
    untimed = measure(make_tank([range(32), range(32)], timed=False), SETTINGS).alignment
    assert timed.largest_between.u < 1e-9
    assert untimed.largest_between.u > 200e-9 / np.sqrt(6)
    assert untimed.channels[1].skew.u < 1e-9


def test_left_out_records_are_not_missed_triggers(make_tank):
    settings = layered(
        option={"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us"}, review={"left_out": [4, 9]}
    )
    findings = measure(make_tank([range(32), range(32)]), settings)
    assert findings.sequence.missed == ()
    assert len(findings.records) == 30
    assert not np.any(np.isin(findings.pulses.record, [4, 9]))


def test_repeated_record(make_tank):
    session = make_tank([range(20), range(20)])
    codes = session.codes().copy()
    codes[11] = codes[10]
    stale = Session.from_samples(codes, session.channels, session.sample_rate, 100, trigger_time=session.trigger_time)
    assert measure(stale, SETTINGS).sequence.repeated == ((10, 11),)


def test_opposite_and_noisy_and_clipped_channels(make_tank):
    session = make_tank([range(20), range(20)])
    codes = session.codes().copy()
    codes[:, 2] *= -1
    codes[:, 1] += np.random.default_rng(0).normal(0, 200, codes[:, 1].shape).astype(np.int16)
    codes[7, 3] = np.clip(codes[7, 3].astype(int) * 3, -9800, 9800)
    channels = [Channel(c.name, c.module, "V", c.scale, 0.0, -9800, 9800) for c in session.channels]
    changed = Session.from_samples(
        codes,
        channels,
        session.sample_rate,
        100,
        trigger_time=session.trigger_time,
        trigger_offset=session.trigger_offset,
    )
    findings = measure(changed, SETTINGS)
    assert findings.polarity.opposite == (2,)
    assert [h.noisy for h in findings.health] == [False, True, False, False]
    assert [h.clipped_records for h in findings.health] == [(), (), (), (7,)]
    assert within(findings.alignment.channels[2].skew, 0.0)


def test_lost_triggers_count_against_those_sent(make_tank):
    settings = layered(option={"span": "50 us .. 150 us", "alignment_span": "5 us .. 25 us", "sent": "34"})
    pings = [k for k in range(33) if k != 5]
    findings = measure(make_tank([pings, pings]), settings)
    assert findings.sequence.missed_total == 1
    assert any("1 is lost before the first or after the last record" in reason for reason in findings.reasons)


UNMEASURABLE = {
    "constant": np.full((6, 2, 200), 7, dtype=np.int16),
    "one record": np.random.default_rng(0).normal(0, 30, (1, 2, 200)).astype(np.int16),
    "one sample": np.random.default_rng(0).normal(0, 30, (6, 2, 1)).astype(np.int16),
    "four samples": np.random.default_rng(0).normal(0, 30, (6, 2, 4)).astype(np.int16),
    "noise": np.random.default_rng(0).normal(0, 30, (6, 2, 200)).astype(np.int16),
    "full scale": np.where(np.random.default_rng(0).random((6, 2, 200)) > 0.5, 32767, -32768).astype(np.int16),
    "float": np.random.default_rng(0).normal(0, 3, (6, 2, 200)).astype(np.float32),
    "ramp": np.tile(np.arange(200, dtype=np.int16), (6, 2, 1)),
}


@pytest.mark.parametrize("samples", UNMEASURABLE.values(), ids=UNMEASURABLE.keys())
@pytest.mark.parametrize("method", ["auto", "sine", "correlation"])
def test_what_cannot_be_measured_is_none_with_a_reason(samples, method):
    channels = [Channel("H01", "M1", scale=1e-3), Channel("H02", "M2", scale=1e-3)]
    session = Session.from_samples(samples, channels, 1e6, 0)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        findings = measure(session, layered(option={"alignment_method": method}))
    assert findings.reasons
    assert findings.sequence.increment is None


@pytest.mark.parametrize(
    ("option", "word"),
    [
        ({"channel": "H99"}, "H99"),
        ({"channels": "H01,H02", "reference": "H03"}, "H03"),
        ({"records": "0:99"}, "32 records"),
        ({"left_out": list(range(32))}, "left out"),
    ],
)
def test_wrong_settings_are_said(make_tank, option, word):
    with pytest.raises(PulsewrightError, match=word):
        measure(make_tank([range(32), range(32)]), layered(option=option))


@pytest.mark.parametrize("span", ["1 s .. 2 s", "50 us .. 50.1 us", "-9 s .. -8 s"])
def test_span_without_samples(make_tank, span):
    findings = measure(make_tank([range(8), range(8)]), layered(option={"span": span, "alignment_span": span}))
    assert len(findings.pulses) == 0
    assert findings.alignment.channels == ()
    assert any("No alignment" in reason for reason in findings.reasons)


def test_cancelling_and_progress(make_tank):
    session = make_tank([range(8), range(8)])
    shares: list[float] = []
    measure(session, SETTINGS, progress=lambda share, _: shares.append(share))
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    with pytest.raises(Cancelled):
        measure(session, SETTINGS, cancelled=lambda: len(shares) > 0)
