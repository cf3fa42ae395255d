"""Chunked samples are unpacked chunk by chunk, each once, and are the samples of the plain file.

Sources of what is expected: h5py's own slicing for samples, and the system's own count of the bytes that this process
has read (proc(5), rchar) for how often chunks were read from the file.
"""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from pulsewright import file_blocks
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.store import write_session

SHAPES = [(4, 5, 4000), (7, 2, 1500), (23, 1, 4000), (23, 5, 700), (3, 3, 3)]
NUMBER = (23, 5, 4000)


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
