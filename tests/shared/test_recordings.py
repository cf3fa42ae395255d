"""Every format's committed sample, written by another library, comes in as what it was made of."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pulsewright.formats.recognising import formats, open_recording
from pulsewright.opening import open_session
from pulsewright.store import save_session

from .recordings.make import CODES, FOLDER, LENGTH, NAMES, PERIOD, PRE_TRIGGER, RATE, RECORDS

CUT = {"record_length": str(LENGTH), "pre_trigger": str(PRE_TRIGGER)}
NAMED = {"names": ",".join(NAMES)}
PRE = {"pre_trigger": str(PRE_TRIGGER)}
EVERY = {"trigger_times": "every 1 ms"}
RAW = {"raw": str(FOLDER / "ticks.toml")}

# file, format, options, what a code of the sample is worth in codes of the truth, and what must be known of triggers
SAMPLES: list[tuple[str, str, dict[str, str], float, bool]] = [
    ("int16.wav", "WAV", {**CUT, **NAMED, **EVERY}, 1, True),
    ("int24.wav", "WAV", {**CUT, **NAMED}, 1 / 256, False),
    ("int32.wav", "WAV", {**CUT, **NAMED}, 1 / 4096, False),
    ("float32.wav", "WAV", {**CUT, **NAMED}, 2048, False),
    ("array.npy", "NumPy", {**NAMED, **PRE, "sample_rate": "10 MHz"}, 1, False),
    ("stored.npz", "NumPy", NAMED, 1, True),
    ("packed.npz", "NumPy", NAMED, 1, True),
    ("plain.mat", "MATLAB 5", NAMED, 1, True),
    ("packed.mat", "MATLAB 5", NAMED, 1, True),
    ("chunked.h5", "HDF5", {**NAMED, **PRE, "dataset": "run3/waves"}, 1, False),
    ("level73.mat", "HDF5", {**NAMED, **PRE, "dataset": "samples", "axes": "samples,channels,records"}, 1, False),
    ("captures.sigmf-meta", "SigMF", {**NAMED, **PRE}, 1, True),
    ("captures.sigmf-data", "SigMF", {**NAMED, **PRE}, 1, True),
    ("captures.sigmf", "SigMF", {**NAMED, **PRE}, 1, True),
    ("wide.csv", "delimited text", {}, 1, False),
    ("comma.csv", "delimited text", {}, 1, False),
    ("tabs.tsv.xz", "delimited text", EVERY, 1, True),
    ("headerless.csv", "delimited text", {**NAMED, "time_unit": "ms"}, 1, False),
    ("long.csv.gz", "delimited text", {}, 1, False),
    ("blanks.txt", "delimited text", CUT, 1, False),
    ("ticks.bin", "raw binary", RAW, 1, True),
]


@pytest.mark.parametrize(("file", "name", "options", "worth", "timed"), SAMPLES, ids=[s[0] for s in SAMPLES])
def test_a_sample_comes_in_as_it_was_made(
    file: str, name: str, options: dict[str, str], worth: float, timed: bool, tmp_path: Path
) -> None:
    with open_recording(FOLDER / file, options) as reading:
        assert reading.format == name
        assert not reading.odd
        save_session(tmp_path / "tank.h5", reading.checked())
        assert reading.session.notes == ("Annotation at sample 60, 5 long: echo" if name == "SigMF" else "")
    with open_session(tmp_path / "tank.h5") as session:
        np.testing.assert_array_equal(session.codes().astype(float) * worth, CODES)
        np.testing.assert_array_equal(session.stretch_codes(2, 7, 20).astype(float) * worth, CODES[2, :, 7:20])
        np.testing.assert_array_equal(session.channel_codes(1, 1, 3).astype(float) * worth, CODES[1:3, 1])
        assert session.sample_rate == RATE
        assert session.pre_trigger == PRE_TRIGGER
        assert tuple(channel.name for channel in session.channels) == NAMES
        if timed:
            np.testing.assert_allclose(session.trigger_time[:, 0], np.arange(RECORDS) * PERIOD, rtol=0, atol=1e-12)
        else:
            assert np.isnan(session.trigger_time).all()


def test_eight_bits_are_counted_from_128() -> None:
    with open_recording(FOLDER / "uint8.wav", CUT) as reading:
        np.testing.assert_array_equal(reading.session.codes(), CODES // 16 + 128)
        np.testing.assert_allclose(reading.session.values() * 128, CODES // 16)


def test_units_in_headings_become_si_units() -> None:
    with open_recording(FOLDER / "wide.csv") as reading:
        assert {(channel.unit, channel.scale) for channel in reading.session.channels} == {("V", 1e-3)}


def test_every_assumption_can_be_given_back() -> None:
    """What a description prints is what an option takes: given back, the same session comes of it."""
    for file, _, options, _, _ in SAMPLES:
        with open_recording(FOLDER / file, options) as reading:
            told = {a.name: a.value for a in reading.assumptions if a.value or a.name in ("title", "unit")}
            want = reading.session.channels, reading.session.sample_rate, reading.session.pre_trigger
        with open_recording(FOLDER / file, told) as again:
            assert (again.session.channels, again.session.sample_rate, again.session.pre_trigger) == want, file
            assert {a.origin for a in again.assumptions} == {"option"}, file


def test_content_counts_more_than_the_name(tmp_path: Path) -> None:
    (tmp_path / "tank.csv").write_bytes((FOLDER / "int16.wav").read_bytes())
    with open_recording(tmp_path / "tank.csv") as reading:
        assert reading.format == "WAV"


def test_every_format_has_a_sample() -> None:
    assert {entry.NAME for entry in formats()} - {"session file"} == {sample[1] for sample in SAMPLES}
