"""Large sessions for the desk's benchmarks: twelve hydrophones, a pulse that walks and turns its sign, in noise."""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np

CHANNELS, LENGTH, PRE_TRIGGER, RATE = 12, 25_000, 2_500, 25e6
CYCLE = 24
"""Records after which the target plate is where it was."""
_NOISE, _AMPLITUDE, _WIDTH = 150.0, 9000.0, 0.4e-6
_BLOCK = 50
_POOL = 1 << 20


def write_walk(path: Path, records: int) -> None:
    """Write a session of `records` × 12 × 25,000 int16 samples, no two records alike, block by block.

    Noise comes out of one pool at another place for each record and channel, which is fast, and distinct.
    """
    random = np.random.default_rng(20)
    pool = np.round(random.normal(0.0, _NOISE, _POOL + LENGTH)).astype(np.int16)
    time = (np.arange(LENGTH) - PRE_TRIGGER) / RATE
    with h5py.File(path, "w", libver="earliest") as file:
        file.attrs.update({"layout": "pulsewright-session", "layout_version": 1, "sample_rate": RATE})
        file.attrs.update(
            {"pre_trigger": PRE_TRIGGER, "title": "A long walk", "notes": "", "source": "", "created": ""}
        )
        samples = file.create_dataset("samples", (records, CHANNELS, LENGTH), "<i2")
        for first in range(0, records, _BLOCK):
            numbers = range(first, min(first + _BLOCK, records))
            block = np.empty((len(numbers), CHANNELS, LENGTH), np.int16)
            for place, record in enumerate(numbers):
                starts = random.integers(0, _POOL, CHANNELS)
                for channel in range(CHANNELS):
                    block[place, channel] = pool[starts[channel] : starts[channel] + LENGTH]
                block[place] += _pulse(time, record)
            samples[first : first + len(numbers)] = block
        names = [f"H{channel + 1:02d}" for channel in range(CHANNELS)]
        file["channels/name"] = np.array(names, dtype=h5py.string_dtype())
        file["channels/module"] = np.array([f"M{1 + c // 4}" for c in range(CHANNELS)], dtype=h5py.string_dtype())
        file["channels/unit"] = np.array(["V"] * CHANNELS, dtype=h5py.string_dtype())
        for name, value in (("scale", 1e-4), ("offset", 0.0), ("delay", 0.0)):
            file[f"channels/{name}"] = np.full(CHANNELS, value)
        file["channels/lowest_code"] = np.full(CHANNELS, -32768)
        file["channels/highest_code"] = np.full(CHANNELS, 32767)
        file["triggers/time"] = np.arange(records) * 1.1e-3
        file["triggers/offset"] = np.zeros(records)


def _pulse(time: np.ndarray, record: int) -> np.ndarray:
    """Return the pulse of a record: out and back along the tank, its sign turned at each record."""
    place = record % CYCLE
    centre = 200e-6 + 10e-6 * min(place, CYCLE - place)
    sign = 1 if record % 2 == 0 else -1
    return np.round(sign * _AMPLITUDE * np.exp(-(((time - centre) / _WIDTH) ** 2))).astype(np.int16)
