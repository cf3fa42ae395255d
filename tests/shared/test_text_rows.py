"""Text of many blocks: read from any row on, packed or not, the same comes out."""

from __future__ import annotations

import bz2
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from pulsewright.formats import text_lines
from pulsewright.formats.recognising import open_recording

VALUES = np.random.default_rng(5).integers(-9999, 9999, (4000, 2))


@pytest.fixture(params=["plain", "bz2", "utf-16", "remarks", "returns"])
def tank(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """4,000 rows in blocks of a kilobyte."""
    monkeypatch.setattr(text_lines, "BLOCK", 1 << 10)
    remark = "# the carriage moves\n" if request.param == "remarks" else ""
    lines = [f"{a};{b}\n{remark if row % 7 == 0 else ''}" for row, (a, b) in enumerate(VALUES.tolist())]
    text = "H01;H02\n" + "".join(lines)
    path = tmp_path / "tank.csv"
    if request.param == "returns":
        text = text.replace("\n", "\r\n")
    content = text.encode("utf-16" if request.param == "utf-16" else "utf-8")
    path.write_bytes(bz2.compress(content) if request.param == "bz2" else content)
    return path


def test_rows_are_the_same_wherever_reading_begins(tank: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_recording(tank, {"record_length": "100", "sample_rate": "1 MHz"}) as reading:
        session = reading.checked()
        expected = VALUES.reshape(40, 100, 2).transpose(0, 2, 1)
        np.testing.assert_array_equal(session.codes(), expected)
        for first, stop in ((30, 33), (2, 3), (3, 9), (9, 40), (0, 1), (39, 40)):
            np.testing.assert_array_equal(session.codes(first, stop), expected[first:stop])
        np.testing.assert_array_equal(session.stretch_codes(17, 20, 90), expected[17, :, 20:90])


def test_packed_text_is_unpacked_twice_however_small_the_pieces(tank: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once to look through it, once to read: not from its beginning for every piece."""
    opened: list[int] = []
    whole = text_lines.TextFile.blocks

    def counted(self: text_lines.TextFile, place: int = 0) -> Iterator[tuple[int, bytes]]:
        opened.append(place)
        return whole(self, place)

    monkeypatch.setattr(text_lines.TextFile, "blocks", counted)
    with open_recording(tank, {"record_length": "100", "sample_rate": "1 MHz"}) as reading:
        for record in range(40):
            reading.session.codes(record, record + 1)
    assert len(opened) == 2
