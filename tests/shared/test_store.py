"""Sessions written and read back: same numbers, same bytes, and the file left alone."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from pulsewright import file_blocks, store
from pulsewright.digest import DigestCancelled, sha256_of
from pulsewright.errors import SessionFileError
from pulsewright.file_blocks import ChunkedSource, PositionedSource
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.store import read_session, save_session, write_session

TYPES = ("int8", "uint8", "int16", "uint16", "int32", "float32")


def samples_of(dtype: str) -> Any:
    """Return samples that reach both ends of the type."""
    random = np.random.default_rng(11)
    if dtype == "float32":
        return random.normal(size=(6, 2, 50)).astype(dtype)
    ends = np.iinfo(dtype)
    codes = random.integers(ends.min, ends.max, (6, 2, 50), endpoint=True).astype(dtype)
    codes[0, 0, :2] = ends.min, ends.max
    return codes


def two_channels() -> list[Channel]:
    return [
        Channel("H01", "M1", "V", 2.5e-4, -0.125, -2048, 2047, 10.6e-9),
        Channel("H02", "M2", "Pa", -3.0, 0.5, 0, 255, 0.0),
    ]


def source_of(session: Session) -> Any:
    return session._source


@pytest.mark.parametrize("dtype", TYPES)
def test_everything_comes_back(tmp_path: Path, dtype: str) -> None:
    samples = samples_of(dtype)
    time = np.array([[0.0, np.nan], [1e-3, 1.5e-3], [np.nan, 2e-3], [2e-3, 2e-3], [3e-3, 3e-3], [4e-3, 5e-3]])
    offset = np.linspace(0.0, 39.9e-9, 12).reshape(6, 2)
    offset[2, 1] = np.nan
    path = tmp_path / "tank.h5"
    write_session(
        path, samples, two_channels(), 25e6, 50, modules=["M2", "M1"], trigger_time=time, trigger_offset=offset,
        title="Tänk", notes="two\nlines", origin="carriage", created="2031-04-12",
    )  # fmt: skip
    with read_session(path) as session:
        assert session.dtype == np.dtype(dtype)
        np.testing.assert_array_equal(session.codes(), samples)
        np.testing.assert_array_equal(session.codes(2, 4), samples[2:4])
        assert session.channels == tuple(two_channels())
        assert session.modules == ("M2", "M1")
        assert (session.sample_rate, session.pre_trigger) == (25e6, 50)
        np.testing.assert_array_equal(session.trigger_time, time)
        np.testing.assert_array_equal(session.trigger_offset, offset)
        assert not session.shared_time
        texts = (session.title, session.notes, session.origin, session.created)
        assert texts == ("Tänk", "two\nlines", "carriage", "2031-04-12")
        assert session.file == path
        # value = code · scale + offset
        np.testing.assert_array_equal(session.values()[:, 1], samples[:, 1].astype(float) * -3.0 + 0.5)


def test_one_trigger_column_serves_all_modules(tmp_path: Path) -> None:
    time, offset = np.arange(6) * 1e-3, np.full(6, 2e-8)
    path = tmp_path / "tank.h5"
    write_session(path, samples_of("int16"), two_channels(), 25e6, 10, trigger_time=time, trigger_offset=offset)
    with read_session(path) as session:
        assert session.shared_time
        assert session.shared_offset
        np.testing.assert_array_equal(session.trigger_time, np.column_stack([time, time]))
        np.testing.assert_array_equal(session.trigger_offset, np.column_stack([offset, offset]))
    with h5py.File(path) as file:
        assert file["triggers/time"].shape == (6,)
        assert "modules" not in file


def test_what_is_left_out_is_not_known(tmp_path: Path) -> None:
    path = tmp_path / "tank.h5"
    write_session(path, samples_of("int16"), two_channels(), 25e6, 0)
    with read_session(path) as session:
        assert session.modules == ("M1", "M2")
        assert np.isnan(session.trigger_time).all()
        assert np.isnan(session.trigger_offset).all()
        # half a sample where the trigger was not timed
        assert session.first_sample_time(1)[0] == 20e-9
        for record in range(session.records):
            by_channel = [session.first_sample_time(c)[record] for c in range(len(session.channels))]
            assert session.first_sample_times(record).tolist() == by_channel


def test_optional_parts_may_be_missing(tank_file: Path) -> None:
    with h5py.File(tank_file, "r+") as file:
        for part in ("modules", "channels/unit"):
            del file[part]
        for key in ("title", "notes", "source", "created"):
            del file.attrs[key]
    with open_session(tank_file) as session:
        assert {channel.unit for channel in session.channels} == {"V"}
        assert (session.title, session.notes, session.origin, session.created) == ("", "", "", "")


def test_text_of_fixed_length_is_read(tank_file: Path) -> None:
    with h5py.File(tank_file, "r+") as file:
        del file["channels/name"]
        file["channels/name"] = np.array([name.encode() for name in ("Hµ1", "H2", "H3", "H4")], dtype="S8")
        file.attrs["layout"] = np.bytes_("pulsewright-session")
        file.attrs["title"] = np.bytes_("Tänk".encode())
    with open_session(tank_file) as session:
        assert session.channels[0].name == "Hµ1"
        assert session.title == "Tänk"


@pytest.mark.parametrize("compression", [None, "gzip", "lzf"])
@pytest.mark.parametrize("dtype", ["int16", "float32"])
def test_chunked_files_read_the_same(tank_file: Path, dtype: str, compression: str | None) -> None:
    with h5py.File(tank_file, "r+") as file:
        samples = file["samples"][()].astype(dtype)
        del file["samples"]
        # chunks that do not divide the shape
        file.create_dataset("samples", data=samples, chunks=(2, 3, 7), compression=compression)
    with open_session(tank_file) as session:
        assert isinstance(source_of(session), ChunkedSource)
        np.testing.assert_array_equal(session.codes(), samples)
        np.testing.assert_array_equal(session.codes(3, 4), samples[3:4])


@pytest.mark.parametrize("userblock", [0, 512])
@pytest.mark.parametrize("order", ["<", ">"])
def test_positioned_reads_equal_those_of_h5py(tank_file: Path, order: str, userblock: int) -> None:
    moved = tank_file.with_name("moved.h5")
    with h5py.File(tank_file) as old, h5py.File(moved, "w", userblock_size=userblock) as new:
        for key in old:
            old.copy(key, new)
        for key, value in old.attrs.items():
            new.attrs[key] = value
        samples = new["samples"][()]
        del new["samples"]
        new.create_dataset("samples", data=samples.astype(f"{order}i2"))
    with open_session(moved) as session, h5py.File(moved) as file:
        assert isinstance(source_of(session), PositionedSource)
        for first, stop in ((0, 5), (1, 3), (4, 5), (2, 2)):
            np.testing.assert_array_equal(session.codes(first, stop), file["samples"][first:stop])
        assert session.codes().dtype == np.dtype("=i2")
        assert not session.codes().flags.writeable


def test_without_positioned_reads_h5py_reads(tank_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_session(tank_file) as session:
        expected = session.codes()
    monkeypatch.setattr(file_blocks, "_POSITIONED_READ", None)
    with open_session(tank_file) as session:
        assert isinstance(source_of(session), ChunkedSource)
        np.testing.assert_array_equal(session.codes(), expected)


def test_many_threads_read_at_once(tank_file: Path) -> None:
    with open_session(tank_file) as session:
        whole = session.codes()
        with ThreadPoolExecutor(8) as pool:
            blocks = list(pool.map(lambda r: session.codes(r % 5, r % 5 + 1), range(200)))
    for number, block in enumerate(blocks):
        np.testing.assert_array_equal(block[0], whole[number % 5])


def test_a_file_that_shrinks_is_said_to(tank_file: Path) -> None:
    with open_session(tank_file) as session:
        os.truncate(tank_file, source_of(session)._start + 100)
        with pytest.raises(SessionFileError, match=r"tank\.h5: /samples .* records 0 to 4 .*become shorter"):
            session.codes()


@pytest.mark.parametrize("chunks", [None, (1, 4, 30)])
def test_a_closed_session_says_so(tank_file: Path, chunks: tuple[int, ...] | None) -> None:
    if chunks:
        with h5py.File(tank_file, "r+") as file:
            samples = file["samples"][()]
            del file["samples"]
            file.create_dataset("samples", data=samples, chunks=chunks)
    session = open_session(tank_file)
    session.close()
    session.close()
    with pytest.raises(SessionFileError, match="has been closed"):
        session.codes()


def test_the_same_session_gives_the_same_bytes(tank_file: Path, tmp_path: Path) -> None:
    with open_session(tank_file) as session:
        write_session(
            tmp_path / "again.h5", session.codes(), session.channels, session.sample_rate, session.pre_trigger,
            modules=session.modules, trigger_time=session.trigger_time, trigger_offset=session.trigger_offset,
            title=session.title, notes=session.notes, origin=session.origin, created=session.created,
        )  # fmt: skip
    # far apart in time, so that a time written anywhere would show
    os.utime(tank_file, (0, 0))
    assert (tmp_path / "again.h5").read_bytes() == tank_file.read_bytes()


def test_no_time_of_making_is_stored(tank_file: Path) -> None:
    with h5py.File(tank_file) as file:
        for name in ("samples", "channels/name", "triggers/time"):
            assert h5py.h5o.get_info(file[name].id).mtime == 0
        assert file["samples"].id.get_create_plist().get_layout() == h5py.h5d.CONTIGUOUS
        assert file["samples"].compression is None


def test_reading_changes_nothing(tank_file: Path) -> None:
    before = (hashlib.sha256(tank_file.read_bytes()).hexdigest(), tank_file.stat().st_mtime_ns)
    with open_session(tank_file) as session:
        session.codes()
    assert (hashlib.sha256(tank_file.read_bytes()).hexdigest(), tank_file.stat().st_mtime_ns) == before


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="the system does not list a process's open files")
def test_a_session_is_opened_for_reading_alone(tank_file: Path) -> None:
    """By the descriptors that the process holds, as even root may not write through one that is for reading."""
    import fcntl

    with open_session(tank_file) as session:
        session.codes()
        held = [fd for fd in Path("/proc/self/fd").iterdir() if fd.exists() and fd.resolve() == tank_file.resolve()]
        numbers = [int(fd.name) for fd in held]
        assert numbers
        for number in numbers:
            assert fcntl.fcntl(number, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY


def test_nothing_is_written_over_unless_asked(tank_file: Path) -> None:
    before = tank_file.read_bytes()
    with pytest.raises(SessionFileError, match=r"tank\.h5: there is a file of that name"):
        write_session(tank_file, samples_of("int8"), two_channels(), 1e6, 0)
    assert tank_file.read_bytes() == before
    write_session(tank_file, samples_of("int8"), two_channels(), 1e6, 0, overwrite=True)
    with open_session(tank_file) as session:
        assert session.dtype == np.int8


WRONG_TO_WRITE: dict[str, dict[str, Any]] = {
    "/samples": {"samples": np.zeros((2, 2, 3))},
    "/channels/name has 1 values for 2": {"channels": two_channels()[:1]},
    "/triggers/time has shape": {"trigger_time": np.zeros(3)},
    "attribute pre_trigger": {"pre_trigger": 51},
    "attribute sample_rate": {"sample_rate": float("nan")},
    "attribute created": {"created": "yesterday"},
    "cannot be written": {"channels": [Channel("H01", "M1", highest_code=1 << 70), two_channels()[1]]},
}


@pytest.mark.parametrize("place", WRONG_TO_WRITE)
def test_what_the_reader_refuses_is_not_written(tmp_path: Path, place: str) -> None:
    given: dict[str, Any] = {
        "samples": samples_of("int16"), "channels": two_channels(), "sample_rate": 25e6, "pre_trigger": 0,
    }  # fmt: skip
    with pytest.raises(SessionFileError) as caught:
        write_session(tmp_path / "new.h5", **(given | WRONG_TO_WRITE[place]))
    assert str(caught.value).startswith("new.h5: ")
    assert place in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_write_that_fails_leaves_the_old_file(tank_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = tank_file.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(store, "_write", full)
    with pytest.raises(SessionFileError, match=r"tank\.h5: cannot be written \(No space left on device\)"):
        write_session(tank_file, samples_of("int16"), two_channels(), 25e6, 0, overwrite=True)
    assert tank_file.read_bytes() == before
    assert list(tank_file.parent.iterdir()) == [tank_file]


def test_digest(tmp_path: Path) -> None:
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    # FIPS 180-2, appendix B.1 (from memory)
    assert sha256_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    path.write_bytes(bytes(9_000_001))
    assert sha256_of(path) == hashlib.sha256(bytes(9_000_001)).hexdigest()


def test_digest_can_be_cancelled(tmp_path: Path) -> None:
    path = tmp_path / "large"
    path.write_bytes(bytes(9_000_000))
    asked: list[bool] = []

    def at_the_second_step() -> bool:
        asked.append(True)
        return len(asked) == 2

    with pytest.raises(DigestCancelled):
        sha256_of(path, at_the_second_step)
    assert len(asked) == 2


def test_digest_of_nothing(tmp_path: Path) -> None:
    with pytest.raises(SessionFileError, match=r"gone\.h5: cannot be read"):
        sha256_of(tmp_path / "gone.h5")


@pytest.mark.parametrize("length", [64, 9000])
@pytest.mark.parametrize("chunked", [False, True])
def test_one_channel_is_what_h5py_reads(tmp_path: Path, length: int, chunked: bool) -> None:
    # source of the expected values: h5py's own slicing
    rng = np.random.default_rng(7)
    samples = rng.integers(-3000, 3000, (7, 3, length), dtype=np.int16)
    path = tmp_path / "s.h5"
    write_session(path, samples, [Channel(f"H{n}", "M1") for n in range(3)], 1e6, 0)
    if chunked:
        with h5py.File(path, "r+") as file:
            del file["samples"]
            file.create_dataset("samples", data=samples, chunks=(2, 2, length // 2), compression="gzip")
    with h5py.File(path) as file, open_session(path) as opened:
        for channel in range(3):
            for part in (slice(None), slice(2, 5), slice(6, 7), slice(4, 4)):
                first, stop, _ = part.indices(7)
                found = opened.channel_codes(channel, first, stop)
                np.testing.assert_array_equal(found, file["samples"][part, channel])
                assert not found.flags.writeable
        for first, stop in ((0, length), (5, 40), (length - 1, length), (9, 9)):
            found = opened.stretch_codes(3, first, stop)
            np.testing.assert_array_equal(found, file["samples"][3, :, first:stop])
            assert not found.flags.writeable
            one = opened.stretch_codes(3, first, stop, slice(1, 2))
            np.testing.assert_array_equal(one, file["samples"][3, 1:2, first:stop])


def test_saved_block_by_block_it_is_the_same_file(tank_file: Path, tmp_path: Path, monkeypatch: Any) -> None:
    monkeypatch.setattr(store, "WRITTEN_AT_ONCE", 4 * 30 * 2)  # one record at a time
    shares: list[float] = []
    with open_session(tank_file) as session:
        save_session(tmp_path / "again.h5", session, progress=lambda share, _: shares.append(share))
    assert (tmp_path / "again.h5").read_bytes() == tank_file.read_bytes()
    assert shares == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0])


def test_killed_while_writing_leaves_no_half_file(tank_file: Path) -> None:
    code = f"""
import os, signal
from pulsewright import store
store.WRITTEN_AT_ONCE = 1
with store.read_session({str(tank_file)!r}) as session:
    store.save_session({str(tank_file.with_name("again.h5"))!r}, session,
                       progress=lambda share, _: share > 0.5 and os.kill(os.getpid(), signal.SIGKILL))
"""
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == -signal.SIGKILL
    assert not tank_file.with_name("again.h5").exists()


def test_what_progress_raises_leaves_no_file(tank_file: Path) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with open_session(tank_file) as session, pytest.raises(KeyboardInterrupt):
        save_session(tank_file.parent / "again.h5", session, progress=stop)
    assert list(tank_file.parent.iterdir()) == [tank_file]
