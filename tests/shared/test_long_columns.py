"""A column that lies in a file is what NumPy makes of its pieces, also where the disk has no room for it."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pulsewright import long_columns
from pulsewright.long_columns import LongColumn, in_blocks

PIECES = [np.arange(5.0), np.zeros(0), np.array([np.nan, -0.0]), np.arange(300.0), np.full(7, 1e-300)]


@pytest.fixture(autouse=True)
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


@pytest.mark.parametrize("limit", [0, 100, 1 << 20])
@pytest.mark.parametrize("dtype", [np.float64, np.int64, np.bool_])
def test_the_whole_is_the_pieces_one_after_another(
    limit: int, dtype: Any, scratch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(long_columns, "LONG_BYTES", limit)
    pieces = [np.nan_to_num(piece).astype(dtype) if dtype is not np.float64 else piece for piece in PIECES]
    column = LongColumn()
    for piece in pieces:
        column.add(piece)
    whole = column.whole()
    expected = np.concatenate(pieces)
    assert (whole.dtype, whole.tobytes()) == (expected.dtype, expected.tobytes())
    assert list(scratch.iterdir()) == [], "the file has no name"
    whole[:3] = 0  # whoever changes what it was given may do so
    assert not whole[:3].any()


def test_no_values_at_all() -> None:
    column = LongColumn()
    column.add(np.zeros(0, np.int64))
    assert (column.whole().dtype, len(column.whole())) == (np.int64, 0)


@pytest.mark.parametrize("after", [0, 3, 1000])
def test_a_disk_without_room_costs_memory_and_no_value(
    after: int, scratch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(long_columns, "LONG_BYTES", 0)
    write, count = long_columns.write_all, 0

    def full(file: Any, values: Any) -> None:
        nonlocal count
        count += 1
        if count > after:
            file.write(values.data.cast("B")[:4])  # a part of it finds room
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write(file, values)

    monkeypatch.setattr(long_columns, "write_all", full)
    column = LongColumn()
    pieces = [np.arange(float(n), n + 9.0) for n in range(7)]
    for piece in pieces:
        column.add(piece)
    np.testing.assert_array_equal(column.whole(), np.concatenate(pieces))
    assert list(scratch.iterdir()) == []


def test_a_folder_that_may_not_be_written_costs_memory_and_no_value(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(long_columns, "LONG_BYTES", 0)
    monkeypatch.setattr(tempfile, "TemporaryFile", refused)
    column = LongColumn()
    for piece in PIECES:
        column.add(piece)
    np.testing.assert_array_equal(column.whole(), np.concatenate(PIECES))


@pytest.mark.parametrize("rows", [0, 6, 7, 20])
def test_an_array_made_in_blocks_is_the_one_made_at_once(rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(long_columns, "LONG_BYTES", 100)
    monkeypatch.setattr(long_columns, "ROWS_AT_ONCE", 7)
    expected = np.sqrt(np.arange(rows * 3.0)).reshape(rows, 3)
    made = in_blocks(rows, lambda some: expected[some])
    np.testing.assert_array_equal(made, expected)
