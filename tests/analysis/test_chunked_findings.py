"""What is measured in chunked and compressed samples is what is measured in plain ones, to the last bit."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import h5py
import pytest

from pulsewright import file_blocks
from pulsewright.opening import open_session
from pulsewright_analysis.findings import measure
from pulsewright_analysis.findings_json import as_json

SAMPLE = Path(__file__).parents[2] / "sample_sessions" / "tank_faults.h5"


def told(path: Path) -> dict[str, Any]:
    with open_session(path) as session:
        body = as_json(measure(session))
    body["session"]["file"] = ""
    return body


@pytest.mark.parametrize("chunks", [(5, 12, 900), (36, 1, 2048)])
@pytest.mark.parametrize("small_row", [0, file_blocks.SMALL_ROW], ids=["unpacked", "by HDF5"])
def test_findings_are_those_of_the_plain_file(
    chunks: tuple[int, int, int], small_row: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file_blocks, "SMALL_ROW", small_row)
    packed = tmp_path / "packed.h5"
    shutil.copy(SAMPLE, packed)
    with h5py.File(packed, "r+") as file:
        samples = file["samples"][...]
        del file["samples"]
        file.create_dataset("samples", data=samples, chunks=chunks, compression="gzip", shuffle=True)
    assert told(packed) == told(SAMPLE)
