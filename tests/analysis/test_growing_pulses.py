"""Pulses that are put together batch by batch, and lie in files, are those that are made at once and held."""

from __future__ import annotations

import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pulsewright import long_columns
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.settings import Settings
from pulsewright_analysis import correlation, gate_samples, growing_pulses, repeats, streaming
from pulsewright_analysis.alignment import measure_alignment
from pulsewright_analysis.findings import measure
from pulsewright_analysis.findings_json import as_json
from pulsewright_analysis.levels import measure_levels
from pulsewright_analysis.polarity import measure_polarity
from pulsewright_analysis.pulses import measure_pulses
from pulsewright_analysis.sequence import measure_sequence

SAMPLE = Path(__file__).parents[2] / "sample_sessions" / "tank_faults.h5"


def told() -> dict[str, Any]:
    with open_session(SAMPLE) as session:
        return as_json(measure(session))


def test_batches_and_files_change_no_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    at_once = told()
    assert len(at_once["pulses"]) > 100
    monkeypatch.setattr(growing_pulses, "BATCH", 1)
    monkeypatch.setattr(long_columns, "LONG_BYTES", 0)
    monkeypatch.setattr(long_columns, "ROWS_AT_ONCE", 7)
    monkeypatch.setattr(repeats, "ADDED_AT_ONCE", 5)
    assert told() == at_once


def short_records(number: int) -> Session:
    """Four channels with a pulse each; invented, and no check of any number."""
    random = np.random.default_rng(3)
    samples = random.normal(0, 60, (number, 4, 256))
    samples += 9000 * np.exp(-(((np.arange(256) - 120) / 5.0) ** 2))
    channels = [Channel(f"H{c + 1}", "M1", scale=1e-4) for c in range(4)]
    times = np.arange(number) * 1e-3
    return Session.from_samples(
        np.round(samples).astype(np.int16), channels, 25e6, 20, trigger_time=times, trigger_offset=np.zeros(number)
    )


def highest_bytes(number: int) -> int:
    session, channels, records = short_records(number), [0, 1, 2, 3], np.arange(number)
    levels = measure_levels(session, channels, records)
    measure_pulses(session, channels, records[:2], levels, Settings())
    tracemalloc.start()
    try:
        assert len(measure_pulses(session, channels, records, levels, Settings())) == 4 * number
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_memory_grows_by_little_for_each_pulse(monkeypatch: pytest.MonkeyPatch) -> None:
    """All columns of a pulse are some 270 bytes: held, they alone would be more than the limit here."""
    monkeypatch.setattr(long_columns, "LONG_BYTES", 1 << 12)
    monkeypatch.setattr(growing_pulses, "BATCH", 512)
    monkeypatch.setattr(streaming, "BLOCK_BYTES", 1 << 19)
    few, many = 1000, 4000
    assert (highest_bytes(many) - highest_bytes(few)) / (4 * (many - few)) < 100


def highest_bytes_after(number: int) -> int:
    """What polarity, sequence and alignment of so many records' pulses take beyond the pulses themselves."""
    session, channels, records = short_records(number), [0, 1, 2, 3], np.arange(number)
    levels, settings = measure_levels(session, channels, records), Settings(alignment_method="correlation")
    pulses = measure_pulses(session, channels, records, levels, settings)
    tracemalloc.start()
    try:
        polarity = measure_polarity(pulses, number, 4)
        sequence, _ = measure_sequence(session, channels, records, pulses, polarity, settings)
        alignment, _, _ = measure_alignment(session, channels, records, levels, pulses, sequence, settings)
        assert len(alignment.pairs) == 6
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_what_is_made_of_the_pulses_takes_little_for_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Held, what is made comes to some 90 bytes a pulse; how much one block takes differs by 15 from run to run."""
    monkeypatch.setattr(streaming, "BLOCK_BYTES", 1 << 19)
    monkeypatch.setattr(long_columns, "LONG_BYTES", 1 << 14)
    monkeypatch.setattr(long_columns, "ROWS_AT_ONCE", 512)
    monkeypatch.setattr(gate_samples, "HELD_BYTES", 0)
    monkeypatch.setattr(repeats, "ADDED_AT_ONCE", 64)
    monkeypatch.setattr(gate_samples, "READ_BYTES", 1 << 16)
    monkeypatch.setattr(correlation, "SPECTRA_BYTES", 1 << 16)
    few, many = 2000, 4000
    assert (highest_bytes_after(many) - highest_bytes_after(few)) / (4 * (many - few)) < 30
