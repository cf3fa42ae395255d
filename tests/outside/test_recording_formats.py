"""Other formats against their own libraries, both ways: what those write comes in, what goes out they read.

Sources: scipy.io.wavfile and the standard library's wave for WAV; the sigmf package with its validator for SigMF;
NumPy and SciPy for .npz and MATLAB; h5py for HDF5; pandas for delimited text.
"""

from __future__ import annotations

import warnings
import wave
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pytest
import scipy.io
import scipy.io.wavfile
import sigmf

from pulsewright.formats.recognising import open_recording
from pulsewright.formats.writing import write_out
from pulsewright.session import Channel, Session

RATE = 48_000
RECORDS, CHANNELS, LENGTH = 6, 3, 40
SHAPE = (RECORDS, CHANNELS, LENGTH)
RANDOM = np.random.default_rng(7)
CHANNEL_LIST = [Channel(f"H{place + 1:02d}", "M1", scale=1e-3, delay=1e-9 * place) for place in range(CHANNELS)]


def codes_of(name: str) -> np.ndarray:
    """Return samples over the whole range of a type."""
    dtype = np.dtype(name)
    if dtype.kind == "f":
        return RANDOM.normal(size=SHAPE).astype(dtype)
    room = np.iinfo(dtype)
    return RANDOM.integers(room.min, room.max, SHAPE, endpoint=True).astype(dtype)


def session_of(codes: np.ndarray, rate: float = RATE) -> Session:
    return Session.from_samples(codes, CHANNEL_LIST, rate, 5, trigger_time=np.arange(RECORDS) * 1e-3, title="Tank")


def stream_of(codes: np.ndarray) -> np.ndarray:
    """Return records one after another, (samples, channels)."""
    return codes.transpose(0, 2, 1).reshape(-1, CHANNELS)


@pytest.mark.parametrize("dtype", ["uint8", "int16", "int32", "float32"])
def test_wav_as_scipy_reads_and_writes_it(dtype: str, tmp_path: Path) -> None:
    codes = codes_of(dtype)
    write_out(session_of(codes), tmp_path / "ours.wav")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", scipy.io.wavfile.WavFileWarning)  # of the chunk that it steps over
        rate, read = scipy.io.wavfile.read(tmp_path / "ours.wav")
    assert rate == RATE
    np.testing.assert_array_equal(read, stream_of(codes))
    scipy.io.wavfile.write(tmp_path / "theirs.wav", RATE, stream_of(codes))
    with open_recording(tmp_path / "theirs.wav", {"record_length": str(LENGTH)}) as reading:
        assert reading.session.sample_rate == RATE
        assert reading.session.dtype == dtype
        np.testing.assert_array_equal(reading.session.codes(), codes)


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_wav_as_the_standard_library_writes_it(width: int, tmp_path: Path) -> None:
    content = RANDOM.integers(0, 256, RECORDS * LENGTH * CHANNELS * width).astype(np.uint8).tobytes()
    with wave.open(str(tmp_path / "theirs.wav"), "wb") as stream:
        stream.setnchannels(CHANNELS)
        stream.setsampwidth(width)
        stream.setframerate(RATE)
        stream.writeframes(content)
    pieces = [content[place : place + width] for place in range(0, len(content), width)]
    expected = [int.from_bytes(piece, "little", signed=width > 1) for piece in pieces]
    with open_recording(tmp_path / "theirs.wav", {"record_length": str(LENGTH)}) as reading:
        assert stream_of(reading.session.codes()).reshape(-1).tolist() == expected


def test_long_wav_as_scipy_reads_it(tmp_path: Path) -> None:
    """RF64 carries its sizes in 64 bits; a small file in that form is enough to compare how they are read."""
    codes = codes_of("int16")
    scipy.io.wavfile.write(tmp_path / "plain.wav", RATE, stream_of(codes))
    plain = (tmp_path / "plain.wav").read_bytes()
    size = codes.nbytes
    sizes = b"ds64" + (28).to_bytes(4, "little") + (len(plain) + 28).to_bytes(8, "little")
    sizes += size.to_bytes(8, "little") + (RECORDS * LENGTH).to_bytes(8, "little") + bytes(4)
    long = b"RF64" + b"\xff" * 4 + b"WAVE" + sizes + plain[12:-size][:-4] + b"\xff" * 4 + plain[-size:]
    (tmp_path / "long.wav").write_bytes(long)
    np.testing.assert_array_equal(scipy.io.wavfile.read(tmp_path / "long.wav")[1], stream_of(codes))
    with open_recording(tmp_path / "long.wav", {"record_length": str(LENGTH)}) as reading:
        assert not reading.odd
        np.testing.assert_array_equal(reading.session.codes(), codes)


@pytest.mark.parametrize("dtype", ["int8", "uint8", "int16", "uint16", "int32", "float32"])
def test_sigmf_as_its_own_package_reads_it(dtype: str, tmp_path: Path) -> None:
    codes = codes_of(dtype)
    write_out(session_of(codes, 25e6), tmp_path / "ours.sigmf-meta")
    theirs = sigmf.fromfile(str(tmp_path / "ours.sigmf-meta"), autoscale=False)  # compares the checksum
    theirs.validate()
    # its reader hands out float32, whatever the samples are
    np.testing.assert_array_equal(theirs.read_samples(), stream_of(codes).astype(np.float32))
    assert theirs.sample_rate == 25e6
    assert [capture[sigmf.SAMPLE_START_KEY] for capture in theirs.get_captures()] == list(
        range(0, RECORDS * LENGTH, LENGTH)
    )


@pytest.mark.parametrize("kind", ["ri8", "ru8", "ri16_le", "ri16_be", "ru16_le", "ri32_be", "rf32_le", "rf32_be"])
def test_sigmf_as_its_own_package_writes_it(kind: str, tmp_path: Path) -> None:
    form = kind[1:].split("_")
    dtype = np.dtype({"i": "int", "u": "uint", "f": "float"}[form[0][0]] + form[0][1:])
    codes = codes_of(dtype.name)
    data = tmp_path / "theirs.sigmf-data"
    stream_of(codes).astype(dtype.newbyteorder(">" if form[1:] == ["be"] else "<")).tofile(data)
    told = {sigmf.DATATYPE_KEY: kind, sigmf.SAMPLE_RATE_KEY: 1e6, sigmf.NUM_CHANNELS_KEY: CHANNELS}
    meta = sigmf.SigMFFile(data_file=str(data), global_info=told)
    for record in range(RECORDS):
        when = f"2031-04-12T09:30:00.{record * 1_250_000:09d}Z"  # nanoseconds
        meta.add_capture(record * LENGTH, metadata={sigmf.DATETIME_KEY: when})
    meta.validate()
    meta.tofile(str(tmp_path / "theirs.sigmf-meta"))
    with open_recording(tmp_path / "theirs.sigmf-meta") as reading:
        assert not reading.odd  # its checksum is right
        session = reading.checked()
        np.testing.assert_array_equal(session.codes(), codes)
        np.testing.assert_allclose(session.trigger_time[:, 0], np.arange(RECORDS) * 1.25e-3, rtol=0, atol=1e-15)


def test_npz_as_numpy_reads_it(tmp_path: Path) -> None:
    session = session_of(codes_of("int16"), 1e7 / 3)
    write_out(session, tmp_path / "ours.npz")
    with np.load(tmp_path / "ours.npz", allow_pickle=False) as arrays:
        np.testing.assert_array_equal(arrays["samples"], session.codes())
        np.testing.assert_array_equal(arrays["trigger_time"], session.trigger_time)
        assert arrays["sample_rate"] == session.sample_rate
        assert arrays["channel_names"].tolist() == [channel.name for channel in CHANNEL_LIST]


@pytest.mark.parametrize("dtype", ["int8", "uint8", "int16", "uint16", "int32", "single", "double"])
@pytest.mark.parametrize("packed", [False, True])
def test_matlab_as_scipy_writes_and_reads_it(dtype: str, packed: bool, tmp_path: Path) -> None:
    kind = {"single": "float32", "double": "float64"}.get(dtype, dtype)
    codes = codes_of("int16").astype(kind) if kind == "float64" else codes_of(kind)
    path = tmp_path / "theirs.mat"
    scipy.io.savemat(path, {"note": "text", "waves": codes, "fs": 2e6, "nothing": np.empty(0)}, do_compression=packed)
    with open_recording(path, {"sample_type": "float32" if kind == "float64" else kind}) as reading:
        assert reading.session.sample_rate == 2e6
        np.testing.assert_array_equal(reading.session.codes(), scipy.io.loadmat(path)["waves"])


@pytest.mark.parametrize("more", [{}, {"chunks": (2, 2, 16)}, {"chunks": (2, 3, 40), "compression": "gzip"}])
def test_hdf5_as_h5py_reads_it(more: dict[str, object], tmp_path: Path) -> None:
    codes = codes_of("uint16")
    with h5py.File(tmp_path / "theirs.h5", "w") as file:
        file.create_dataset("run/3/waves", data=codes.transpose(2, 0, 1), **({} if not more else {"chunks": True}))
        file.create_dataset("run/3/plain", data=codes, **more)
    with (
        open_recording(tmp_path / "theirs.h5", {"dataset": "/run/3/plain", "sample_rate": "1 MHz"}) as reading,
        h5py.File(tmp_path / "theirs.h5") as file,
    ):
        np.testing.assert_array_equal(reading.session.codes(2, 5), file["run/3/plain"][2:5])
    turned = {"dataset": "run/3/waves", "axes": "samples,records,channels", "sample_rate": "1 MHz"}
    with open_recording(tmp_path / "theirs.h5", turned) as reading:
        np.testing.assert_array_equal(reading.session.codes(), codes)


COUNTRIES = [
    {"sep": ",", "decimal": "."},
    {"sep": ";", "decimal": ","},
    {"sep": "\t", "decimal": ","},
    {"sep": "\t", "decimal": ".", "encoding": "utf-16"},
    {"sep": ";", "decimal": ",", "encoding": "latin-1"},
    {"sep": "|", "decimal": ".", "encoding": "utf-8-sig", "lineterminator": "\r\n"},
    {"sep": " ", "decimal": ".", "quoting": 2},
]


PACKINGS = ("", ".gz", ".bz2", ".xz", "", ".gz", ".bz2")


@pytest.mark.parametrize(("country", "packing"), [*zip(COUNTRIES, PACKINGS, strict=True)])
def test_text_as_pandas_writes_it(country: dict[str, object], packing: str, tmp_path: Path) -> None:
    times = np.round((np.arange(LENGTH) - 8) * 0.25, 2)
    values = np.round(RANDOM.normal(size=(LENGTH, 2)), 5)
    names = ["Prüfkörper", "H02"] if country.get("encoding") != "utf-16" else ["水", "H02"]
    table = pd.DataFrame({"time_ms": times, names[0]: values[:, 0], names[1]: values[:, 1]})
    path = tmp_path / f"theirs.csv{packing}"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UnicodeWarning)  # packed UTF-16 has no byte order mark
        table.to_csv(path, index=False, **country)
    with open_recording(path) as reading:
        session = reading.checked()
        assert (session.sample_rate, session.pre_trigger) == (4000.0, 8)
        assert [channel.name for channel in session.channels] == names
        np.testing.assert_array_equal(session.codes()[0].T, values.astype(np.float32))


def test_text_as_pandas_reads_it(tmp_path: Path) -> None:
    session = session_of(codes_of("int16"))
    write_out(session, tmp_path / "ours.csv")
    table = pd.read_csv(tmp_path / "ours.csv", comment="#")
    assert list(table.columns) == ["record", "time / s", "H01 / V", "H02 / V", "H03 / V"]
    np.testing.assert_array_equal(table["record"], np.repeat(np.arange(RECORDS), LENGTH))
    np.testing.assert_allclose(table.iloc[:, 2:], stream_of(session.codes()) * 1e-3, rtol=1e-15)
