"""Chunked samples are unpacked chunk by chunk, each once, and are the samples of the plain file.

Sources of what is expected: h5py's own slicing for samples, and the system's own count of the bytes that this process
has read (proc(5), rchar) for how often chunks were read from the file.
"""

from __future__ import annotations

import errno
import os
import tempfile
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from pulsewright import file_blocks, unpacked_rows
from pulsewright.errors import SessionFileError
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.store import write_session

SHAPES = [(4, 5, 4000), (7, 2, 1500), (23, 1, 4000), (23, 5, 700), (3, 3, 3)]
NUMBER = (23, 5, 4000)
LONGEST_WAIT = 20.0


@pytest.fixture
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where temporary files go."""
    folder = tmp_path / "scratch"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def chunked(path: Path, samples: np.ndarray[Any, Any], chunks: tuple[int, int, int]) -> Path:
    channels = [Channel(f"H{c + 1:02d}", "M1", lowest_code=-32768, highest_code=32767) for c in range(samples.shape[1])]
    write_session(path, samples, channels, 1e6, 100)
    with h5py.File(path, "r+") as file:
        del file["samples"]
        file.create_dataset("samples", data=samples, chunks=chunks, compression="gzip", compression_opts=1)
    return path


@pytest.fixture
def samples() -> np.ndarray[Any, Any]:
    return np.random.default_rng(3).integers(-900, 900, NUMBER, dtype=np.int16)


@pytest.mark.parametrize("chunks", SHAPES)
def test_every_part_is_what_h5py_reads(
    chunks: tuple[int, int, int], samples: np.ndarray[Any, Any], tmp_path: Path, scratch: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(file_blocks, "SMALL_ROW", 0)
    path = chunked(tmp_path / "s.h5", samples, chunks)
    with h5py.File(path) as file, open_session(path) as session:
        stored = file["samples"]
        for first, stop in ((0, 23), (0, 1), (3, 9), (6, 8), (22, 23), (5, 5)):
            np.testing.assert_array_equal(session.codes(first, stop), stored[first:stop])
            np.testing.assert_array_equal(session.channel_codes(4, first, stop), stored[first:stop, 4])
        np.testing.assert_array_equal(session.stretch_codes(8, 650, 1510), stored[8, :, 650:1510])
        assert not session.codes(0, 9).flags.writeable
    assert list(scratch.iterdir()) == []


def test_a_room_is_read_into_again_and_rows_do_not_mix(
    samples: np.ndarray[Any, Any], tmp_path: Path, scratch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from pulsewright.block_source import Room

    monkeypatch.setattr(file_blocks, "SMALL_ROW", 0)
    room = Room()
    with open_session(chunked(tmp_path / "s.h5", samples, (4, 5, 4000))) as session:
        for first, stop in ((0, 3), (2, 11), (20, 23)):
            found = session.channel_codes(2, first, stop, room)
            np.testing.assert_array_equal(found, samples[first:stop, 2])


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES])
def test_without_room_for_temporary_files_it_is_read_all_the_same(
    number: int, samples: np.ndarray[Any, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(file_blocks, "SMALL_ROW", 0)
    path = chunked(tmp_path / "s.h5", samples, (7, 2, 1500))
    monkeypatch.setattr(tempfile, "mkstemp", full)
    with open_session(path) as session:
        np.testing.assert_array_equal(session.codes(2, 15), samples[2:15])


class Held:
    """Holds up whoever unpacks a row, before its second chunk, until it is told to go on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.reached, self.go_on = threading.Event(), threading.Event()
        self.armed = False
        grid = unpacked_rows.UnpackedRows._grid

        def holding(rows: unpacked_rows.UnpackedRows) -> Iterator[tuple[slice, slice]]:
            for place, chunk in enumerate(grid(rows)):
                if place == 1 and self.armed:
                    self.reached.set()
                    self.go_on.wait(LONGEST_WAIT)
                yield chunk

        monkeypatch.setattr(unpacked_rows.UnpackedRows, "_grid", holding)


def in_a_thread(work: Callable[[], object]) -> tuple[threading.Thread, list[object]]:
    """Start work; return its thread, and a list that will hold what came of it."""
    came: list[object] = []

    def run() -> None:
        try:
            came.append(work())
        except SessionFileError as error:
            came.append(error)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return thread, came


def test_what_was_unpacked_is_read_while_another_row_is_unpacked_and_closing_waits_for_neither(
    samples: np.ndarray[Any, Any], tmp_path: Path, scratch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file_blocks, "SMALL_ROW", 0)
    held = Held(monkeypatch)
    session = open_session(chunked(tmp_path / "s.h5", samples, (4, 1, 4000)))
    np.testing.assert_array_equal(session.codes(0, 2), samples[:2])
    held.armed = True
    unpacking, refused = in_a_thread(lambda: session.codes(9, 10))
    assert held.reached.wait(LONGEST_WAIT)
    assert list(scratch.iterdir()) == [], "it would be left behind if the process were ended now"
    reading, came = in_a_thread(lambda: session.codes(1, 3))
    reading.join(LONGEST_WAIT)
    assert came, "it waited for another row"
    np.testing.assert_array_equal(came[0], samples[1:3])
    closing, closed = in_a_thread(session.close)
    closing.join(LONGEST_WAIT)
    assert closed, "closing waited for a row"
    assert session.source.file_status() is None
    held.go_on.set()
    unpacking.join(LONGEST_WAIT)
    assert "the session has been closed" in str(refused[0])
    assert list(scratch.iterdir()) == []
    with h5py.File(tmp_path / "s.h5", "r+"):
        pass  # HDF5 would refuse to write to a file that it still holds open for reading


class Counted:
    """Bytes that HDF5 reads: all that the process reads, but for what is read where it was unpacked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._own = 0
        read = os.preadv

        def counting(number: int, buffers: Sequence[Any], position: int) -> int:
            count = read(number, buffers, position)
            self._own += count
            return count

        monkeypatch.setattr(file_blocks, "_POSITIONED_READ", counting)
        self._began = self._total()

    def _total(self) -> int:
        return int(Path("/proc/self/io").read_text().split()[1]) - self._own

    @property
    def bytes(self) -> int:
        return self._total() - self._began


def blocks_and_rows(session: Session) -> Iterator[Any]:
    """Read all records block by block, and then some again one by one."""
    for _, block in session.blocks(block_bytes=2 << 20):
        yield block[:, 0, ::1000].copy()
    for record in range(0, session.records, 5):
        yield session.stretch_codes(record, 0, 1000)


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="what a process has read is told by Linux alone")
@pytest.mark.parametrize("chunks", [(64, 12, 50_000), (64, 1, 50_000), (32, 12, 20_000)])
def test_each_chunk_is_read_from_the_file_once(
    chunks: tuple[int, int, int], tmp_path: Path, scratch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """77 MB: the chunks of some records are more than HDF5's memory holds."""
    samples = np.zeros((64, 12, 50_000), np.int16)
    samples[:, :, ::50] = np.random.default_rng(5).integers(-99, 99, (64, 12, 1000))
    path = chunked(tmp_path / "s.h5", samples, chunks)
    with h5py.File(path) as file:
        stored = file["samples"].id.get_storage_size()
    with open_session(path) as session:
        counted = Counted(monkeypatch)
        for _ in blocks_and_rows(session):
            pass
        assert 0.9 * stored <= counted.bytes <= 1.1 * stored
