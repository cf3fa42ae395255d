"""Opening a session of 20 GB, and reading a record anywhere in it, reads what is needed of the file and no more.

Source of what is expected: the system's own count of the bytes that a process has read (proc(5), rchar).
"""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np
import pytest

from pulsewright.opening import open_session
from pulsewright.session import Channel
from pulsewright.store import write_session

RECORDS, CHANNELS, LENGTH = 33_333, 12, 25_000
A_RECORD = CHANNELS * LENGTH * 2


def bytes_read() -> int:
    return int(Path("/proc/self/io").read_text().split()[1])


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="what a process has read is told by Linux alone")
def test_only_the_header_and_the_records_asked_for_are_read(tmp_path: Path) -> None:
    path = tmp_path / "huge.h5"
    channels = [
        Channel(f"H{c + 1:02d}", f"M{1 + c // 4}", lowest_code=-2000, highest_code=2000) for c in range(CHANNELS)
    ]
    write_session(path, np.zeros((1, CHANNELS, LENGTH), np.int16), channels, 25e6, 2500)
    with open_session(path) as small:  # what is loaded once
        small.codes(0, 1)
    last = np.full((CHANNELS, LENGTH), 7, np.int16)
    with h5py.File(path, "r+") as file:
        for name in ("samples", "triggers/time", "triggers/offset"):
            if name in file:
                del file[name]
        file.create_dataset("samples", (RECORDS, CHANNELS, LENGTH), "<i2")[RECORDS - 1] = last
        file["triggers/time"] = np.arange(RECORDS) * 1.1e-3
        file["triggers/offset"] = np.zeros((RECORDS, 3))
    assert path.stat().st_size > 19.9e9
    before = bytes_read()
    with open_session(path) as session:
        np.testing.assert_array_equal(session.codes(RECORDS - 1, RECORDS)[0], last)
        assert not session.codes(RECORDS // 2, RECORDS // 2 + 1).any()
    tables = RECORDS * 8 * 4  # the triggers, which the checks of the file's structure go through several times
    assert bytes_read() - before < 2 * A_RECORD + 12 * tables + (1 << 20)
