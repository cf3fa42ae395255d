"""Recordings that are damaged, or made to harm: each gives a session or one clear sentence, and nothing else."""

from __future__ import annotations

import gzip
import json
import lzma
import os
import pickle
import random
import shutil
import tempfile
import zipfile
from pathlib import Path

import h5py
import numpy as np
import pytest
import scipy.io
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pulsewright.errors import PulsewrightError
from pulsewright.formats.recognising import open_recording

from .recording_damage import HERE, VICTIMS, damaged, judged, laid_out, write_own


def refusal(path: Path, **options: str) -> str:
    """Open a file that must be refused, and return the one sentence."""
    with pytest.raises(PulsewrightError) as caught, open_recording(path, options) as reading:
        reading.checked()
    sentence = caught.value.sentence
    assert "\n" not in sentence
    assert sentence.endswith(".")
    return sentence


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("own")
    write_own(folder)
    return folder


@pytest.mark.parametrize("entry", VICTIMS, ids=[entry[0] for entry in VICTIMS])
def test_a_share_of_the_damaged_files(entry: tuple[str, tuple[str, ...], str, dict[str, str]], own: Path) -> None:
    """A few of each; tests/benchmarks/fuzz_formats.py does thousands."""
    victim, beside, opened, options = entry
    for number in range(8):
        with tempfile.TemporaryDirectory() as place:
            laid_out(victim, beside, own, Path(place))
            damaged_file = Path(place) / victim
            damaged_file.write_bytes(damaged(damaged_file.read_bytes(), random.Random(f"tests/{victim}/{number}")))
            assert judged(Path(place), opened, options) in ("session", "refused")


@pytest.mark.parametrize("entry", VICTIMS, ids=[entry[0] for entry in VICTIMS])
def test_undamaged_they_are_sessions(
    entry: tuple[str, tuple[str, ...], str, dict[str, str]], own: Path, tmp_path: Path
) -> None:
    """Without this the refusals above would prove nothing."""
    victim, beside, opened, options = entry
    laid_out(victim, beside, own, tmp_path)
    assert judged(tmp_path, opened, options) == "session"


LETTERS = st.sampled_from(list("0123456789.,;\t \n\r-+eE#\"'nainf:/()[]xµ\0"))


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(text=st.text(LETTERS, min_size=1, max_size=120))
@example(text="1,2\n3")
@example(text='"1,2\n3,4\n')
@example(text="1;1\n2;2\r\n3;3\r")
def test_any_text_is_understood_or_refused(text: str) -> None:
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "any.csv").write_bytes(text.encode())
        assert judged(Path(place), "any.csv", {}) in ("session", "refused")


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    mark=st.sampled_from(
        [b"RIFF\0\0\0\0WAVE", b"RF64\xff\xff\xff\xffWAVE", b"\x93NUMPY\x01\0", b"PK\x03\x04", b"\x89HDF\r\n\x1a\n",
         b"MATLAB 5.0".ljust(124) + b"\0\x01IM", b"\x1f\x8b\x08\0", b"BZh9", b"\xfd7zXZ\0", b'{"core:datatype":']
    ),
    rest=st.binary(max_size=200),
)  # fmt: skip
def test_any_bytes_behind_a_known_beginning(mark: bytes, rest: bytes) -> None:
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "any.bin").write_bytes(mark + rest)
        assert judged(Path(place), "any.bin", {}) == "refused"


def test_pickled_objects_are_never_unpacked(tmp_path: Path) -> None:
    class Harm:
        def __reduce__(self) -> tuple[object, tuple[str]]:
            return Path.touch, (str(tmp_path / "harmed"),)  # type: ignore[return-value]

    np.save(tmp_path / "objects.npy", np.array([Harm()], dtype=object), allow_pickle=True)
    np.savez(tmp_path / "objects.npz", samples=np.array([Harm()], dtype=object))
    (tmp_path / "plain.npy").write_bytes(pickle.dumps([1, 2, 3]))
    assert "would have to be unpickled" in refusal(tmp_path / "objects.npy")
    assert "would have to be unpickled" in refusal(tmp_path / "objects.npz")
    assert "is called like NumPy, but its content is not" in refusal(tmp_path / "plain.npy")
    assert not (tmp_path / "harmed").exists()


@pytest.mark.parametrize("pack", [gzip.compress, lzma.compress], ids=["gzip", "xz"])
def test_a_decompression_bomb_in_text(pack: object, tmp_path: Path) -> None:
    lines = b"1,2\n3,4\n" + (b"#" + b"0" * 4000 + b"\n") * 20_000
    (tmp_path / "bomb.csv").write_bytes(pack(lines))  # type: ignore[operator]
    assert "unpacks to more than 250 times its size" in refusal(tmp_path / "bomb.csv", sample_rate="1 MHz")


def test_a_decompression_bomb_in_an_archive(tmp_path: Path) -> None:
    form = {"descr": "<i2", "fortran_order": False, "shape": (40, 1, 1 << 20)}
    with (
        zipfile.ZipFile(tmp_path / "bomb.npz", "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("samples.npy", "w") as stream,
    ):
        np.lib.format.write_array_header_1_0(stream, form)
        for _ in range(40):
            stream.write(bytes(2 << 20))
    assert "unpacks to more than 250 times its size" in refusal(tmp_path / "bomb.npz")


def test_a_decompression_bomb_in_matlab(tmp_path: Path) -> None:
    scipy.io.savemat(tmp_path / "bomb.mat", {"x": np.zeros(9 << 20)}, do_compression=True)
    assert "unpacks to more than 250 times its size" in refusal(tmp_path / "bomb.mat")


def sigmf(folder: Path, **told: object) -> Path:
    (folder / "tank.sigmf-data").write_bytes(bytes(200))
    meta = {"global": {"core:datatype": "ri16_le", "core:sample_rate": 1e6, "core:version": "1.2.0", **told}}
    (folder / "tank.sigmf-meta").write_text(json.dumps({**meta, "captures": [], "annotations": []}))
    return folder / "tank.sigmf-meta"


def test_a_whole_sigmf_recording_is_taken(tmp_path: Path) -> None:
    with open_recording(sigmf(tmp_path)) as reading:
        assert reading.checked().record_length == 100


@pytest.mark.parametrize("name", ["../secret", "/etc/passwd", "..", "a/b", "C:\\data", "\0", "", 7])
def test_sigmf_leads_to_no_other_folder(name: object, tmp_path: Path) -> None:
    (tmp_path / "run").mkdir()
    (tmp_path / "secret").write_bytes(bytes(200))
    assert "outside its folder" in refusal(sigmf(tmp_path / "run", **{"core:dataset": name}))


def test_sigmf_follows_no_link_out_of_its_folder(tmp_path: Path) -> None:
    (tmp_path / "run").mkdir()
    meta = sigmf(tmp_path / "run")
    shutil.move(tmp_path / "run" / "tank.sigmf-data", tmp_path / "secret")
    (tmp_path / "run" / "tank.sigmf-data").symlink_to(tmp_path / "secret")
    assert "is a link out of its folder" in refusal(meta)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"core:datatype": "cf32_le"}, "samples are complex"),
        ({"core:datatype": "rf8"}, "no sample type that SigMF knows"),
        ({"core:datatype": 3}, "no sample type that SigMF knows"),
        ({"core:num_channels": 0}, "0 channels"),
        ({"core:num_channels": -1}, "no count"),
        ({"core:num_channels": True}, "no count"),
        ({"core:trailing_bytes": 500}, "end before its last capture"),
        ({"core:metadata_only": True}, "metadata only"),
        ({"core:sample_rate": "fast"}, "does not say its sample rate"),
    ],
)
def test_sigmf_metadata_that_cannot_be(told: dict[str, object], words: str, tmp_path: Path) -> None:
    assert words in refusal(sigmf(tmp_path, **told))


def test_sigmf_samples_other_than_their_checksum_are_odd(tmp_path: Path) -> None:
    with open_recording(sigmf(tmp_path, **{"core:sha512": "0" * 128})) as reading:
        assert reading.odd == ("its samples are not those that its checksum (core:sha512) was made of",)


def test_hdf5_follows_no_link_out_of_the_file(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "secret.h5", "w") as file:
        file["waves"] = np.zeros((3, 50))
    with h5py.File(tmp_path / "tank.h5", "w") as file:
        file["other"] = h5py.ExternalLink("secret.h5", "/waves")
        file.create_dataset("outside", (3, 50), "i2", external=[(str(tmp_path / "secret.h5"), 0, 300)])
        layout = h5py.VirtualLayout((3, 50), "f8")
        layout[:] = h5py.VirtualSource(tmp_path / "secret.h5", "waves", (3, 50))
        file.create_virtual_dataset("virtual", layout)
    path = tmp_path / "tank.h5"
    assert "link to another file, which is not followed" in refusal(path, dataset="/other", sample_rate="1 MHz")
    assert "keeps its data in another file" in refusal(path, dataset="/outside", sample_rate="1 MHz")
    assert "put together from other data sets" in refusal(path, dataset="/virtual", sample_rate="1 MHz")


def test_hdf5_in_pieces_larger_than_memory(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "tank.h5", "w") as file:
        waves = np.zeros((1, 80 << 20), np.int8)
        file.create_dataset("waves", data=waves, chunks=waves.shape, compression="gzip")
    assert "is kept in pieces of 83,886,080 bytes" in refusal(tmp_path / "tank.h5", sample_rate="1 MHz")


@pytest.mark.parametrize("name", [entry[0] for entry in VICTIMS if entry[0] == entry[2] and entry[0][:3] != "own"])
def test_a_file_that_is_cut_short(name: str, tmp_path: Path) -> None:
    """Half of a file never passes for all of it; of text whose lines are whole nobody can tell."""
    if Path(name).suffix in (".csv", ".txt"):
        return
    content = (HERE / name).read_bytes()
    for beside in ("captures.sigmf-data", "ticks.toml"):
        shutil.copyfile(HERE / beside, tmp_path / beside)
    (tmp_path / name).write_bytes(content[: len(content) // 2])
    options = {"raw": str(tmp_path / "ticks.toml")} if name == "ticks.bin" else {"sample_rate": "1 MHz"}
    if name == "ticks.bin":  # as many records as there are: told by how many bytes are left
        with open_recording(tmp_path / name, options) as reading:
            assert reading.session.records == 1
            assert "belong to no record" in reading.odd[0]
        return
    assert name in refusal(tmp_path / name, **options)


def test_what_is_no_recording(tmp_path: Path) -> None:
    (tmp_path / "empty.wav").touch()
    (tmp_path / "noise.bin").write_bytes(bytes(range(256)))
    (tmp_path / "fake.wav").write_bytes(bytes(range(256)))
    (tmp_path / "prose.txt").write_text("It was 9 o'clock.\nNothing was recorded.\n")
    assert "is a folder" in refusal(tmp_path)
    assert "there is no such file" in refusal(tmp_path / "gone.wav")
    assert "is empty" in refusal(tmp_path / "empty.wav")
    assert "give that with --raw" in refusal(tmp_path / "noise.bin")
    assert "is called like WAV" in refusal(tmp_path / "fake.wav")
    assert "holds no rows of numbers" in refusal(tmp_path / "prose.txt")
    assert "is not a file name" in refusal(Path("tank\0.wav"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    assert "is not a file that holds data" in refusal(tmp_path / "pipe.csv")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a,b\n1,2\n3,x\n5,6\n7,8\n", "near line 3 'x' is no number"),
        ("1,2\n3,nan\n5,6\n", "row 1 holds a value that is no finite number"),
        ("1,2\n3\n5,6\n7,8\n9,1\n2,3\n", "fewer columns"),
        ("t,a\n0,1\n1,2\n5,3\n6,4\n", "4 sample intervals lie between samples 1 and 2 of record 0: 3 samples"),
        ("t,a\n0,1\n1,2\n2,3\n0,1\n1,2\n0,1\n1,1\n2,1\n", "record 1 has 2 rows, record 0 has 3"),
        ("channel,value\nA,1\nA,2\nB,1\nA,2\n", "channels neither take turns"),
    ],
)
def test_text_with_something_wrong_in_it(text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "tank.csv").write_text(text)
    assert words in refusal(tmp_path / "tank.csv")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("channels = 3", "does not say the type of a sample"),
        ('type = "int12"', "write one of int8"),
        ('type = "int16"\nchannels = -1', "write a whole number"),
        ('type = "int16"\nchannel = 3', "channel has no meaning there"),
        ('type = "int16"\nchannels = 3\nrecord_length = 5000\nsample_rate = 1e6', "asks for 1 records"),
        ('type = "int16"\nrecords = 99\nrecord_length = 50\nsample_rate = 1e6', "asks for 99 records"),
        ('type = "int16"\ntrigger_times = [0, 1]\nsample_rate = 1e6', "lists 2 trigger times for 1 records"),
        ('type = "int16"\ntrigger_time = {at = 0, type = "uint8", unit = "1 s"}\nsample_rate = 1e6', "lies beyond"),
        (f"{'.'.join('a' * 9000)} = 1", "has a key of more than 16 parts"),
        ("type = [", "layout.toml: cannot be read"),
    ],
)
def test_descriptions_that_cannot_be_used(text: str, words: str, tmp_path: Path) -> None:
    (tmp_path / "layout.toml").write_text(text)
    assert words in refusal(HERE / "ticks.bin", raw=str(tmp_path / "layout.toml"))


@pytest.mark.parametrize(
    "content",
    [
        b"1" * 60_000 + b"x,2\n3,4\n5,6\n",  # looked through for a number, digit by digit, it would take a minute
        b"a" + b" " * 60_000 + b"b,c\n3,4\n5,6\n",  # and this for a unit
        b"# " + b"a " * 30_000 + b": 3\n1,2\n3,4\n",
        b",".join([b"1"] * 20_000) + b"\n" + b",".join([b"2"] * 20_000) + b"\n",
    ],
    ids=["digits", "blanks", "remark", "columns"],
)
def test_long_cells_and_many_columns_are_got_through(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "tank.csv").write_bytes(content)
    with open_recording(tmp_path / "tank.csv", {"sample_rate": "1 MHz"}) as reading:
        assert reading.checked().record_length == 2


def test_more_records_than_a_session_can_have_times_for(tmp_path: Path) -> None:
    with (tmp_path / "tank.npy").open("wb") as stream:
        form = {"descr": "<i1", "fortran_order": False, "shape": (100_000_000, 1, 1)}
        np.lib.format.write_array_header_1_0(stream, form)
        stream.truncate(stream.tell() + 100_000_000)
    assert "makes 100,000,000 records of 1 samples" in refusal(tmp_path / "tank.npy")


def test_a_number_too_long_for_one(tmp_path: Path) -> None:
    assert "is too long for a number" in refusal(HERE / "int16.wav", sample_rate="1" * 60_000 + "x")
