"""A gate that is read again block by block gives the numbers of one that is held, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright.session import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis import gate_samples
from pulsewright_analysis.assessment import assess
from pulsewright_analysis.findings_json import as_json
from pulsewright_analysis.gate_samples import HeldSamples, StreamedSamples, held_or_streamed, whole
from pulsewright_analysis.sine import fit_shared_frequency, harmonic_distortion

RATE, LENGTH = 1e6, 600


def humming(records: int = 9, channels: int = 3) -> Session:
    random, time = np.random.default_rng(4), np.arange(LENGTH) / RATE
    turn = 2 * np.pi * 41.3e3 * time + random.uniform(0, 6, records)[:, None, None]
    codes = np.round(9000 * np.sin(turn) + random.normal(0, 40, (records, channels, LENGTH))).astype(np.int16)
    codes[4, 1, 100] = 32767
    inputs = [Channel(f"H{c + 1:02d}", f"M{c + 1}", scale=1e-4, offset=0.01 * c) for c in range(channels)]
    return Session.from_samples(codes, inputs, RATE, 100, trigger_offset=np.zeros(records))


@pytest.fixture
def streamed() -> StreamedSamples:
    session, records = humming(), np.array([0, 1, 2, 4, 5, 8])
    first = np.array([10, 12, 3]) + np.zeros((len(records), 1), dtype=np.int64)
    return StreamedSamples(session, (0, 1, 2), records, first, 500)


@pytest.mark.parametrize("read_bytes", [1, 2 * 3 * LENGTH * 2, 8 << 20])
def test_what_is_read_is_what_the_session_holds(
    streamed: StreamedSamples, read_bytes: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gate_samples, "READ_BYTES", read_bytes)
    held, clipped = held_or_streamed(streamed)
    assert isinstance(held, HeldSamples)
    assert held.shape == streamed.shape == (6, 3, 500)
    for place, record in enumerate(streamed.records.tolist()):
        for k, first in enumerate((10, 12, 3)):
            wanted = streamed.session.values(record, record + 1, [k])[0, 0, first : first + 500]
            np.testing.assert_array_equal(held.samples[place, k], wanted)
    assert np.argwhere(clipped).tolist() == [[3, 1]]  # record 4, whose sample 100 is an end code


@pytest.mark.parametrize("block_bytes", [1, 2 * 3 * 500 * 8, 1 << 30])
def test_a_sine_fit_is_the_same_whatever_the_blocks(
    streamed: StreamedSamples, block_bytes: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gate_samples, "BLOCK_BYTES", block_bytes)
    samples = whole(streamed)
    held, again = fit_shared_frequency(samples, RATE), fit_shared_frequency(streamed, RATE)
    for name in vars(held):
        np.testing.assert_array_equal(getattr(again, name), getattr(held, name), err_msg=name)
    own = np.array([True, False, True])
    np.testing.assert_array_equal(
        harmonic_distortion(streamed.of_channels(own), RATE, held.frequency),
        harmonic_distortion(samples[:, own], RATE, held.frequency),
    )


def test_only_few_samples_are_held(streamed: StreamedSamples, monkeypatch: pytest.MonkeyPatch) -> None:
    assert isinstance(held_or_streamed(streamed)[0], HeldSamples)
    monkeypatch.setattr(gate_samples, "HELD_BYTES", 6 * 3 * 500 * 8 - 1)
    assert held_or_streamed(streamed)[0] is streamed


def test_findings_are_the_same_to_the_bit_held_or_streamed(monkeypatch: pytest.MonkeyPatch) -> None:
    session, settings = humming(), layered(option={"alignment_method": "sine"})
    held = as_json(assess(session, settings).findings)
    monkeypatch.setattr(gate_samples, "HELD_BYTES", 1 << 16)
    monkeypatch.setattr(gate_samples, "BLOCK_BYTES", 1 << 14)
    assert as_json(assess(session, settings).findings) == held
    assert held["alignment"]["method"] == "sine"
