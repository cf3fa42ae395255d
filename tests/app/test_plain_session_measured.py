"""A session file that plain h5py wrote from the description of the layout is measured like any other."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np

STEP = 2.5e-6


def write_walk(path: Path) -> None:
    """Write 20 records of a Gaussian pulse that moves by 2.5 µs, two modules, nothing of this project used."""
    rng = np.random.default_rng(8)
    offset = rng.uniform(0, 39e-9, (20, 2))
    time = (np.arange(2000) - 100) / 25e6
    with h5py.File(path, "w") as file:
        file.attrs["layout"] = "pulsewright-session"
        file.attrs["layout_version"] = 1
        file.attrs["sample_rate"] = 25e6
        file.attrs["pre_trigger"] = 100
        for name in ("title", "notes", "source", "created"):
            file.attrs[name] = ""
        samples = np.empty((20, 4, 2000), dtype="int16")
        for record in range(20):
            for channel in range(4):
                place = 10e-6 + STEP * record
                seen = time + offset[record, channel // 2]
                pulse = 0.5 * np.exp(-(((seen - place) / 0.4e-6) ** 2) / 2)
                samples[record, channel] = np.round((pulse + 0.003 * rng.standard_normal(2000)) / 1e-4)
        file["samples"] = samples
        file["channels/name"] = ["H01", "H02", "H03", "H04"]
        file["channels/module"] = ["M1", "M1", "M2", "M2"]
        file["channels/unit"] = ["V"] * 4
        file["channels/scale"] = np.full(4, 1e-4)
        for name in ("offset", "delay"):
            file[f"channels/{name}"] = np.zeros(4)
        file["channels/lowest_code"] = np.full(4, -8192)
        file["channels/highest_code"] = np.full(4, 8191)
        file["triggers/time"] = np.arange(20) * 1.024e-3
        file["triggers/offset"] = offset


def test_it_measures(tmp_path: Path) -> None:
    path = tmp_path / "by_hand.h5"
    write_walk(path)
    code = "import sys; from pulsewright_app.cli import run; sys.argv = ['pulsewright', *sys.argv[1:]]; run()"
    command = [sys.executable, "-c", code, "measure", str(path), "--json"]
    found = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    increment = found["sequence"]["increment"]
    assert abs(increment["value"] - STEP) < 3 * increment["u"]
    assert found["sequence"]["missed_total"] == 0
    assert found["sequence"]["alternates"] is False
    assert abs(found["timing"]["trigger_period"]["value"] - 1.024e-3) < 1e-9
    for channel in found["alignment"]["channels"]:
        assert abs(channel["skew"]["value"]) <= 3.5 * channel["skew"]["u"]
