"""Files that are cut, damaged, held by another program, or no session at all: one sentence, and never a hang."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import h5py
import pytest

from pulsewright.errors import SessionFileError
from pulsewright.opening import open_session

Refusal = Callable[[Path], str]


@pytest.mark.parametrize("share", [0.001, 0.05, 0.3, 0.6, 0.9, 0.999])
def test_a_file_cut_short(tank_file: Path, refusal: Refusal, share: float) -> None:
    whole = tank_file.read_bytes()
    tank_file.write_bytes(whole[: int(share * len(whole))])
    refusal(tank_file)


def test_samples_said_to_lie_across_the_end(tank_file: Path, refusal: Refusal) -> None:
    """The file's own end is as recorded, but its samples are said to lie across it."""
    with h5py.File(tank_file) as file:
        start = file["samples"].id.get_offset()
    content = bytearray(tank_file.read_bytes())
    place = content.index(start.to_bytes(8, "little") + (1200).to_bytes(8, "little"))
    content[place : place + 8] = (len(content) - 100).to_bytes(8, "little")
    tank_file.write_bytes(content)
    sentence = refusal(tank_file)  # newer HDF5 says it first, in words of its own
    assert "/samples should end at byte" in sentence or "/samples cannot be read" in sentence


def test_text_that_promises_4_gigabytes(tank_file: Path, refusal: Refusal) -> None:
    content = bytearray(tank_file.read_bytes())
    # a reference: length, heap, index; this one is to "Tank"
    reference = len("Tank").to_bytes(4, "little") + content.index(b"GCOL").to_bytes(8, "little")
    place = content.index(reference, content.index(b"title\0"))
    content[place : place + 4] = b"\xff\xff\xff\xff"
    tank_file.write_bytes(content)
    assert "attribute title promises a text longer than the file" in refusal(tank_file)


@pytest.mark.parametrize("chunks", [None, (3,)])
def test_a_name_that_promises_4_gigabytes(tank_file: Path, refusal: Refusal, chunks: tuple[int] | None) -> None:
    with h5py.File(tank_file, "r+") as file:
        del file["channels/name"]
        names = file["channels"].create_dataset("name", data=["H01", "H02", "H03", "H04"], chunks=chunks)
        place = names.id.get_offset() if chunks is None else names.id.get_chunk_info(0).byte_offset
    content = bytearray(tank_file.read_bytes())
    assert content[place + 16 : place + 20] == (3).to_bytes(4, "little")
    content[place + 16 : place + 20] = b"\xff\xff\xff\xff"
    tank_file.write_bytes(content)
    assert "/channels/name promises a text longer than the file" in refusal(tank_file)


def test_a_heap_that_the_library_never_leaves(tank_file: Path, refusal: Refusal) -> None:
    content = bytearray(tank_file.read_bytes())
    heap = content.index(b"GCOL")
    content[heap + 16 : heap + 32] = bytes(16)  # index 0, length 0
    tank_file.write_bytes(content)
    assert f"the texts at byte {heap:,} are damaged" in refusal(tank_file)


def test_not_hdf5(tmp_path: Path, refusal: Refusal) -> None:
    path = tmp_path / "notes.h5"
    path.write_text("not a recording")
    assert "is not HDF5, so it is not a Pulsewright session file" in refusal(path)


def test_hdf5_of_another_layout(tmp_path: Path, refusal: Refusal) -> None:
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file["table"] = [1, 2, 3]
    assert "so it is not a Pulsewright session file" in refusal(tmp_path / "other.h5")


def test_no_such_file(tmp_path: Path, refusal: Refusal) -> None:
    assert "there is no such file" in refusal(tmp_path / "gone.h5")


def test_a_folder(tmp_path: Path, refusal: Refusal) -> None:
    assert "is a folder" in refusal(tmp_path)


def test_an_empty_file(tmp_path: Path, refusal: Refusal) -> None:
    (tmp_path / "empty.h5").touch()
    assert "is empty" in refusal(tmp_path / "empty.h5")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path: Path, refusal: Refusal) -> None:
    os.mkfifo(tmp_path / "pipe.h5")
    assert "is not a file that holds data" in refusal(tmp_path / "pipe.h5")


def test_a_file_that_is_being_written(tank_file: Path, refusal: Refusal) -> None:
    hold = "import sys, h5py; file = h5py.File(sys.argv[1], 'r+'); print('held', flush=True); sys.stdin.read()"
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(tank_file)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"held\n"
        assert "another program has the file open for writing" in refusal(tank_file)
        writer.communicate()
    with open_session(tank_file):
        pass


def test_a_file_that_may_not_be_read(tank_file: Path, refusal: Refusal, monkeypatch: pytest.MonkeyPatch) -> None:
    """Refused as the system does it; permissions themselves do not bind the administrator."""

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refused)
    assert "cannot be opened (Permission denied)" in refusal(tank_file)


def test_a_name_that_no_file_can_have() -> None:
    with pytest.raises(SessionFileError, match="is not a file name"):
        open_session("tank\0.h5")


def test_a_damaged_chunk_is_named_when_it_is_read(tank_file: Path) -> None:
    with h5py.File(tank_file, "r+") as file:
        samples = file["samples"][()]
        del file["samples"]
        packed = file.create_dataset("samples", data=samples, chunks=(1, 4, 30), compression="gzip")
        place = packed.id.get_chunk_info(3).byte_offset
    content = bytearray(tank_file.read_bytes())
    content[place + 10 : place + 30] = bytes(20)
    tank_file.write_bytes(content)
    with open_session(tank_file) as session:
        session.codes(0, 3)
        with pytest.raises(SessionFileError, match=r"tank\.h5: /samples cannot be read in records 3 to 3"):
            session.codes(3, 4)


@pytest.mark.parametrize("seed", range(200))
def test_bytes_changed_at_random(tank_file: Path, seed: int) -> None:
    """Whatever is damaged, the file opens or is refused in one sentence."""
    choose = random.Random(seed)
    content = bytearray(tank_file.read_bytes())
    for _ in range(choose.choice((1, 2, 8))):
        place = choose.randrange(len(content))
        content[place] = choose.choice((0, 1, 127, 255, content[place] ^ (1 << choose.randrange(8))))
    tank_file.write_bytes(content)
    try:
        with open_session(tank_file) as session:
            assert session.codes().shape[0] == session.records
    except SessionFileError as error:
        assert str(error).startswith("tank.h5: ")
        assert "\n" not in str(error)
