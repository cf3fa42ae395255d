"""Derived data that is kept: whole or not at all, bounded, and of no harm when it is damaged, deleted, or shared."""

from __future__ import annotations

import errno
import os
import random
import resource
import subprocess
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pulsewright import cache as caches
from pulsewright.cache import Cache, CacheKey, key_of
from pulsewright.opening import open_session
from pulsewright.session import Channel, Session
from pulsewright.store import write_session

KEY = CacheKey("ab" * 32, 1234, 5678, "blocks of 64")
ARRAYS = {"low": np.arange(-50, 70, dtype=np.int16).reshape(8, 15), "high": np.linspace(0, 1, 33, dtype=np.float32)}


def same(found: object) -> bool:
    assert isinstance(found, dict)
    return list(found) == list(ARRAYS) and all(
        np.array_equal(found[name], array) and found[name].dtype == array.dtype for name, array in ARRAYS.items()
    )


def test_what_was_kept_is_found(tmp_path: Path) -> None:
    cache = Cache(tmp_path / "not" / "there yet")
    assert cache.load(KEY) is None
    assert cache.keep(KEY, ARRAYS) == ""
    found = cache.load(KEY)
    assert same(found)
    assert found is not None and not any(array.flags.writeable for array in found.values())
    assert all(array.flags.aligned for array in found.values())


@pytest.mark.parametrize(
    "other", [{"quick_digest": "cd" * 32}, {"size": 1235}, {"changed_ns": 5679}, {"what": "blocks of 128"}]
)
def test_another_state_of_the_recording_is_not_answered(tmp_path: Path, other: dict[str, object]) -> None:
    cache = Cache(tmp_path)
    cache.keep(KEY, ARRAYS)
    assert cache.load(replace(KEY, **other)) is None  # type: ignore[arg-type]


def test_an_entry_is_checked_by_the_digest_of_the_whole_file_once_that_is_known(tmp_path: Path) -> None:
    cache, known = Cache(tmp_path), replace(KEY, sha256="ef" * 32)
    cache.keep(known, ARRAYS)
    assert same(cache.load(KEY)) and same(cache.load(known))
    assert cache.load(replace(KEY, sha256="00" * 32)) is None
    assert cache.load(KEY) is None, "what is of another file is of no use to anybody"
    cache.keep(KEY, ARRAYS)
    assert cache.load(known) is None, "what never was checked does not pass for it"


def test_any_cut_and_any_changed_byte_is_noticed(tmp_path: Path) -> None:
    cache = Cache(tmp_path)
    cache.keep(KEY, ARRAYS)
    path = tmp_path / KEY.file_name
    whole = path.read_bytes()
    rng = random.Random(1)
    damaged = [whole[:length] for length in [*range(0, 60), *rng.sample(range(len(whole)), 60)]]
    damaged += [whole + b"\0", b"", b"\0" * len(whole), os.urandom(len(whole))]
    for place in rng.sample(range(len(whole)), 300):
        damaged.append(whole[:place] + bytes([whole[place] ^ (1 << rng.randrange(8))]) + whole[place + 1 :])
    refused = 0
    for raw in damaged:
        path.write_bytes(raw)
        found = cache.load(KEY)
        refused += found is None
        # a changed blank between header and arrays says nothing
        assert found is None or same(found)
        assert found is not None or not path.exists()
    assert refused >= len(damaged) - 16
    cache.keep(KEY, ARRAYS)
    assert same(cache.load(KEY))


def test_a_header_that_lies_about_shapes_is_refused(tmp_path: Path) -> None:
    cache = Cache(tmp_path)
    cache.keep(KEY, ARRAYS)
    path = tmp_path / KEY.file_name
    whole = path.read_bytes()
    for old, new in (
        (b"[8, 15]", b"[9,150]"),
        (b"[8, 15]", b"[-8,15]"),
        (b"<i2", b"|O8"),
        (b"<i2", b"<U9"),
        (b"[33]", b"[3e]"),
    ):
        assert old in whole
        path.write_bytes(whole.replace(old, new))
        assert cache.load(KEY) is None


def test_what_is_longer_than_all_may_be_is_not_read(tmp_path: Path) -> None:
    """A sparse file of 8 TB: reading it would take more memory than there is."""
    cache, path = Cache(tmp_path), tmp_path / KEY.file_name
    path.touch()
    os.truncate(path, 8 << 40)
    assert cache.load(KEY) is None
    assert not path.exists()
    os.mkfifo(path)  # reading it would wait for ever
    assert cache.load(KEY) is None
    assert cache.keep(KEY, ARRAYS) == ""
    assert same(cache.load(KEY))


def test_the_oldest_goes_first_and_the_bound_holds(tmp_path: Path) -> None:
    cache = Cache(tmp_path, most_bytes=3_500)
    keys = [replace(KEY, what=f"{number}") for number in range(4)]
    arrays = {"low": np.zeros(400, np.int16)}
    for age, key in enumerate(keys[:3]):
        assert cache.keep(key, arrays) == ""
        os.utime(tmp_path / key.file_name, (1_000 + age, 1_000 + age))
    assert cache.load(keys[0]) is not None  # now the one that was asked for last
    assert cache.keep(keys[3], arrays) == ""
    assert [cache.load(key) is not None for key in keys] == [True, False, True, True]
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 3_500
    assert cache.keep(replace(KEY, what="large"), {"low": np.zeros(4_000, np.int16)}) == ""
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 3_500


def test_what_an_ended_process_left_is_cleared_away(tmp_path: Path) -> None:
    old, new = tmp_path / ".pulsewright-00.part", tmp_path / ".pulsewright-11.part"
    for path in (old, new):
        path.write_bytes(b"half")
    os.utime(old, (1_000, 1_000))
    Cache(tmp_path).keep(KEY, ARRAYS)
    assert not old.exists()
    assert new.exists()  # perhaps another process is writing it


def test_a_full_disk_is_a_sentence_and_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(target: Path) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(caches, "replacing", full)
    told = Cache(tmp_path).keep(KEY, ARRAYS)
    assert "No space left on device" in told and str(tmp_path) in told and told.endswith(".")


def test_a_write_that_the_system_ends_halfway_is_a_sentence(tmp_path: Path) -> None:
    """The system itself refuses to let a file grow beyond 64 KiB (RLIMIT_FSIZE)."""
    program = textwrap.dedent(
        """
        import resource, signal, sys
        from pathlib import Path
        import numpy as np
        from pulsewright.cache import Cache, CacheKey
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 16, 1 << 16))
        cache, key = Cache(Path(sys.argv[1])), CacheKey("ab", 1, 2, "x")
        print(cache.keep(key, {"low": np.zeros(1 << 20, np.int16)}))
        print(cache.load(key), [path.name for path in cache.folder.iterdir()])
        """
    )
    assert resource.RLIMIT_FSIZE is not None
    ran = subprocess.run([sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, check=True)
    sentence, left = ran.stdout.splitlines()
    assert "File too large" in sentence and "made again each time" in sentence
    assert left == "None []"


def test_a_folder_that_cannot_be_made_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    cache = Cache(tmp_path / "file" / "folder")
    assert cache.load(KEY) is None
    assert "cannot be kept" in cache.keep(KEY, ARRAYS)


def test_two_processes_share_a_folder(tmp_path: Path) -> None:
    """Both keep, load and clear away what the other kept, under a bound that holds three of ten entries."""
    program = textwrap.dedent(
        """
        import random, sys
        from pathlib import Path
        import numpy as np
        from pulsewright.cache import Cache, CacheKey
        rng, cache = random.Random(sys.argv[2]), Cache(Path(sys.argv[1]), most_bytes=70_000)
        found = 0
        for turn in range(300):
            number = rng.randrange(10)
            key = CacheKey("ab", 1, 2, str(number))
            array = cache.load(key)
            if array is None:
                assert cache.keep(key, {"low": np.full(10_000, number, np.int16)}) == ""
            else:
                assert array["low"].shape == (10_000,) and (array["low"] == number).all()
                found += 1
            if turn % 50 == 0:
                for path in cache.folder.glob("*.kept"):
                    path.unlink(missing_ok=True)
        print(found)
        """
    )
    command = [sys.executable, "-c", program, str(tmp_path)]
    running = [subprocess.Popen([*command, seed], stdout=subprocess.PIPE, text=True) for seed in "12"]
    said = [process.communicate()[0] for process in running]
    assert [process.returncode for process in running] == [0, 0]
    assert all(int(found) > 0 for found in said)
    Cache(tmp_path, most_bytes=70_000).keep(KEY, ARRAYS)
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) <= 70_000


def written(path: Path, seed: int = 1) -> Path:
    samples = np.random.default_rng(seed).integers(-9, 9, (5, 1, 300)).astype(np.int16)
    write_session(path, samples, [Channel("H01", "M1")], 1e6, 0, overwrite=True)
    return path


def test_a_session_s_key_follows_its_file(tmp_path: Path) -> None:
    path = written(tmp_path / "tank.h5")
    with open_session(path) as session:
        first = key_of(session, "x")
        assert first is not None and first == key_of(session, "x")
        moved = path.rename(tmp_path / "moved.h5")
        assert key_of(session, "x") is None  # nothing of that name
        written(path, seed=2)
        assert key_of(session, "x") is None  # another session under that name
        moved.replace(path)
        assert key_of(session, "x") == first
        with path.open("r+b") as stream:  # changed in place, where the quick digest may not look
            stream.seek(-1, 2)
            stream.write(b"\7")
        os.utime(path, ns=(0, first.changed_ns + 1))
        assert key_of(session, "x") != first
    assert key_of(Session.from_samples(np.zeros((1, 1, 3), np.int16), [Channel("H01", "M1")], 1e6), "x") is None
