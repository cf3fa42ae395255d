"""A recording that is written to, or whose place another file takes, while it is read to its last sample."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from pulsewright.block_source import pieces_of
from pulsewright.errors import SessionFileError
from pulsewright.formats.combining import combine
from pulsewright.formats.recognising import open_recording
from pulsewright.formats.writing import write_out
from pulsewright.session import Channel, Session

FORMS = [("r.h5", "r.h5"), ("r.npz", "r.npz"), ("r.csv", "r.csv"), ("r.wav", "r.wav"),
         ("r.sigmf-meta", "r.sigmf-meta"), ("r.sigmf-meta", "r.sigmf-data")]  # fmt: skip


def replace(path: Path) -> None:
    other = path.with_name("other")
    shutil.copy(path, other)
    other.replace(path)


def lengthen(path: Path) -> None:
    with path.open("ab") as stream:
        stream.write(b"\n")


@pytest.fixture
def session() -> Session:
    samples = np.arange(-600, 600, dtype=np.int16).reshape(6, 2, 100)
    channels = [Channel(f"H0{c + 1}", "M1", scale=1e-3) for c in range(2)]
    return Session.from_samples(samples, channels, 1e6, 10, trigger_time=np.arange(6) * 1e-3)


@pytest.mark.parametrize(("name", "altered"), FORMS)
@pytest.mark.parametrize(
    ("alter", "told"), [(replace, "another file has taken its place"), (lengthen, "it has been written to")]
)
def test_it_is_told_once_all_has_been_read(name, altered, alter, told, session, tmp_path):
    path = tmp_path / name
    write_out(session, path)
    with open_recording(path) as reading:
        assert sum(codes.size for _, _, codes in pieces_of(reading.session.source)) == 1200
        alter(tmp_path / altered)
        with pytest.raises(SessionFileError, match=f"{altered}: {told} while it was open"):
            for _ in pieces_of(reading.session.source):
                pass


def test_a_file_that_was_removed_is_whole_for_whoever_has_it_open(session, tmp_path):
    path = tmp_path / "r.wav"
    write_out(session, path)
    with open_recording(path) as reading:
        path.unlink()
        assert sum(codes.size for _, _, codes in pieces_of(reading.session.source)) == 1200


def test_one_of_several_modules_is_told(session, tmp_path):
    paths = {module: tmp_path / f"{module}.wav" for module in "AB"}
    for path in paths.values():
        write_out(session, path)
    readings = {module: open_recording(path) for module, path in paths.items()}
    made = combine(readings).session
    replace(paths["B"])
    with pytest.raises(SessionFileError, match=r"B\.wav: another file has taken its place"):
        write_out(made, tmp_path / "both.h5")
    assert not (tmp_path / "both.h5").exists()
    made.close()
