"""A session file that another program wrote from the description of the layout alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import h5py
import numpy as np


def write_with_h5py_only(path: Path) -> Any:
    """Write twelve hydrophones on three modules, using nothing of this project; return the samples."""
    random = np.random.default_rng(12)
    samples = random.integers(-1500, 1500, (4, 12, 64)).astype("int16")
    with h5py.File(path, "w") as file:
        file.attrs["layout"] = "pulsewright-session"
        file.attrs["layout_version"] = 1
        file.attrs["sample_rate"] = 25e6
        file.attrs["pre_trigger"] = 16
        file.attrs["title"] = "Tank, plate at stop 4"
        file.attrs["notes"] = ""
        file.attrs["source"] = "written by hand"
        file.attrs["created"] = "2031-04-12T09:30:00Z"
        file["samples"] = samples
        file["channels/name"] = [f"H{number:02d}" for number in range(1, 13)]
        file["channels/module"] = [f"M{number // 4 + 1}" for number in range(12)]
        file["channels/unit"] = ["V"] * 12
        file["channels/scale"] = np.full(12, 0.5e-3)
        file["channels/offset"] = np.linspace(-0.01, 0.01, 12)
        file["channels/lowest_code"] = np.full(12, -2048)
        file["channels/highest_code"] = np.full(12, 2047)
        file["channels/delay"] = np.linspace(0.0, 22e-9, 12)
        file["modules/name"] = ["M1", "M2", "M3"]
        file["triggers/time"] = np.arange(4)[:, None] * np.full(3, 1.024e-3)
        file["triggers/offset"] = np.array(
            [[0.0, 1e-9, 2e-9], [3e-9, np.nan, 39.9e-9], [np.nan] * 3, [5e-9, 6e-9, 7e-9]]
        )
    return samples


def test_it_opens_with_the_times_and_values_of_the_description(tmp_path: Path) -> None:
    samples = write_with_h5py_only(tmp_path / "by_hand.h5")

    from pulsewright.opening import open_session

    with open_session(tmp_path / "by_hand.h5") as session:
        assert session.modules == ("M1", "M2", "M3")
        assert [channel.name for channel in session.channels] == [f"H{n:02d}" for n in range(1, 13)]
        np.testing.assert_array_equal(session.codes(), samples)
        # code · scale + offset, written out for the last channel
        np.testing.assert_allclose(session.values()[:, 11], samples[:, 11] * 0.5e-3 + 0.01, rtol=0, atol=1e-15)
        # t = (i − pre_trigger) / sample_rate + offset[r, module of c] − delay[c], written out
        np.testing.assert_allclose(
            session.times(1, 11), (np.arange(64) - 16) / 25e6 + 39.9e-9 - 22e-9, rtol=0, atol=1e-18
        )
        # … and Ts/2 where the offset is NaN: module M2 in record 1
        delay = session.channels[4].delay
        np.testing.assert_allclose(session.times(1, 4), (np.arange(64) - 16) / 25e6 + 20e-9 - delay, rtol=0, atol=1e-18)
        np.testing.assert_allclose(session.trigger_time[:, 2], np.arange(4) * 1.024e-3)
