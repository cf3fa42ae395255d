"""Bad input: one sentence on standard error that says what and where, exit code 2, never a traceback."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright_app.cli import INPUT_IS_WRONG, app
from pulsewright_app.samples import sample

Change = Callable[[h5py.File], None]


def complaint(*words: str | Path) -> str:
    """Return the one line that a wrong call prints."""
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == INPUT_IS_WRONG, result.output
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("pulsewright: ")
    assert result.stderr.endswith(".\n")
    assert "Traceback" not in result.stderr
    return result.stderr


def small_session(path: Path, samples: np.ndarray | None = None) -> Path:
    """Write a session with plain h5py: 3 records of 64 samples on 2 channels."""
    with h5py.File(path, "w") as file:
        file.attrs["layout"] = "pulsewright-session"
        file.attrs["layout_version"] = 1
        file.attrs["sample_rate"] = 1e6
        file.attrs["pre_trigger"] = 8
        for name in ("title", "notes", "source", "created"):
            file.attrs[name] = ""
        if samples is None:
            samples = np.random.default_rng(1).integers(-5, 6, (3, 2, 64)).astype(np.int16)
        file["samples"] = samples
        text = h5py.string_dtype()
        channels = file.create_group("channels")
        channels.create_dataset("name", data=["H01", "H02"], dtype=text)
        channels.create_dataset("module", data=["M1", "M1"], dtype=text)
        channels.create_dataset("unit", data=["V", "V"], dtype=text)
        channels["scale"] = np.full(2, 1e-3)
        channels["offset"] = np.zeros(2)
        channels["lowest_code"] = np.full(2, -2048)
        channels["highest_code"] = np.full(2, 2047)
        channels["delay"] = np.zeros(2)
        file.create_dataset("modules/name", data=["M1"], dtype=text)
        file["triggers/time"] = np.arange(len(samples)) * 1e-3
        file["triggers/offset"] = np.full(len(samples), np.nan)
    return path


def replaced(place: str, value: Any) -> Change:
    def change(file: h5py.File) -> None:
        del file[place]
        file[place] = value

    return change


def attribute(name: str, value: Any) -> Change:
    def change(file: h5py.File) -> None:
        file.attrs[name] = value

    return change


def without(place: str) -> Change:
    def change(file: h5py.File) -> None:
        if place in file:
            del file[place]
        else:
            del file.attrs[place]

    return change


def test_a_whole_small_session_is_taken(tmp_path: Path) -> None:
    # without this, the refusals below would prove nothing
    for command in ("describe", "measure"):
        result = CliRunner().invoke(app, [command, str(small_session(tmp_path / "small.h5"))])
        assert result.exit_code == 0, result.output


@pytest.mark.parametrize("command", ["describe", "measure"])
def test_a_missing_file_is_named(command: str, tmp_path: Path) -> None:
    assert "nowhere.h5" in complaint(command, tmp_path / "nowhere.h5")


def test_a_folder_is_no_session(tmp_path: Path) -> None:
    assert tmp_path.name in complaint("measure", tmp_path)


@pytest.mark.parametrize("content", [b"", b"time,volts\n0,1\n", b"\x89HDF\r\n\x1a\n" + bytes(100)])
def test_what_is_not_hdf5_is_named(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "notes.h5"
    path.write_bytes(content)
    assert "notes.h5" in complaint("measure", path)


def test_hdf5_of_another_layout_is_named(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "other.h5", "w") as file:
        file["waveform"] = np.zeros(10)
    assert "other.h5" in complaint("measure", tmp_path / "other.h5")


@pytest.mark.parametrize("share", [0.02, 0.5, 0.999])
def test_a_truncated_file_is_named(share: float, tmp_path: Path) -> None:
    whole = sample("tank_walk.h5").read_bytes()
    (tmp_path / "cut.h5").write_bytes(whole[: int(len(whole) * share)])
    assert "cut.h5" in complaint("describe", tmp_path / "cut.h5")


@pytest.mark.parametrize(
    ("place", "change"),
    [
        ("layout", attribute("layout", "another")),
        ("layout_version", attribute("layout_version", 99)),
        ("layout_version", without("layout_version")),
        ("sample_rate", without("sample_rate")),
        ("sample_rate", attribute("sample_rate", 0.0)),
        ("sample_rate", attribute("sample_rate", "fast")),
        ("sample_rate", attribute("sample_rate", np.nan)),
        ("pre_trigger", without("pre_trigger")),
        ("pre_trigger", attribute("pre_trigger", 65)),
        ("pre_trigger", attribute("pre_trigger", -1)),
        ("samples", without("samples")),
        ("samples", replaced("samples", np.zeros((3, 64), np.int16))),
        ("samples", replaced("samples", np.zeros((3, 2, 64), np.complex64))),
        ("samples", replaced("samples", np.zeros((0, 2, 64), np.int16))),
        ("channels/name", without("channels/name")),
        ("channels/name", replaced("channels/name", ["H01", "H01"])),
        ("channels/name", replaced("channels/name", ["H01", ""])),
        ("channels/name", replaced("channels/name", [1.0, 2.0])),
        ("channels/module", without("channels/module")),
        ("channels/scale", without("channels/scale")),
        ("channels/scale", replaced("channels/scale", [1.0, 0.0])),
        ("channels/scale", replaced("channels/scale", [1.0, 1.0, 1.0])),
        ("channels/offset", replaced("channels/offset", ["a", "b"])),
        ("channels/lowest_code", without("channels/lowest_code")),
        ("channels/highest_code", replaced("channels/highest_code", [[1, 2]])),
        ("channels/delay", replaced("channels/delay", [0.0, np.inf])),
        ("modules/name", replaced("modules/name", ["M1", "M1"])),
        ("channels/module", replaced("channels/module", ["M1", "M9"])),
        ("triggers/time", without("triggers/time")),
        ("triggers/offset", without("triggers/offset")),
        ("triggers/time", replaced("triggers/time", [0.0, 2.0, 1.0])),
        ("triggers/time", replaced("triggers/time", [0.0, 1.0])),
        ("triggers/offset", replaced("triggers/offset", [0.0, 0.0, 2e-6])),
        ("triggers/offset", replaced("triggers/offset", np.zeros((3, 2)))),
    ],
)
def test_each_field_that_is_missing_or_wrong_is_named(place: str, change: Change, tmp_path: Path) -> None:
    path = small_session(tmp_path / "wrong.h5")
    with h5py.File(path, "r+") as file:
        change(file)
    said = complaint("describe", path)
    assert "wrong.h5" in said
    assert place in said


def test_nan_in_float_samples_is_named(tmp_path: Path) -> None:
    samples = np.zeros((3, 2, 64), np.float32)
    samples[1, 0, 5] = np.nan
    assert "NaN" in complaint("measure", small_session(tmp_path / "holes.h5", samples))


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('[settings]\nspam = "1 ms .. 2 ms"\n', "'span'"),
        ('[settings]\nspan = "1 ms to 2 ms"\n', "line 2"),
        ("[settings\n", "TOML"),
        ("[setings]\n", "setings"),
        ('[settings]\nposition = "middle"\n', "midpoint"),
    ],
)
def test_a_typo_in_the_claims_file_is_named(text: str, named: str, tmp_path: Path) -> None:
    file = small_session(tmp_path / "small.h5")
    (tmp_path / "small.claims.toml").write_text(text)
    said = complaint("measure", file)
    assert "small.claims.toml" in said
    assert named in said


def test_a_claims_file_that_is_named_must_be_there(tmp_path: Path) -> None:
    said = complaint("measure", small_session(tmp_path / "small.h5"), "--claims", tmp_path / "none.toml")
    assert "none.toml" in said


def test_a_review_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    file = small_session(tmp_path / "small.h5")
    (tmp_path / "small.review.json").write_text("{")
    assert "small.review.json" in complaint("measure", file)


@pytest.mark.parametrize(
    ("option", "value", "named"),
    [
        ("--span", "2 ms .. 1 ms", "span"),
        ("--span", "soon", "span"),
        ("--span", "190 .. 330", "which lie in −7.5 µs .. 56.5 µs; write the unit with both numbers"),
        ("--alignment-span", "60 us .. 90 us", "alignment span: 60 µs .. 90 µs holds no sample of the records"),
        ("--channels", "H01,H99", "H99"),
        ("--channel", "H99", "H99"),
        ("--reference", "H99", "H99"),
        ("--records", "5:2", "records"),
        ("--records", "0:99", "records"),
        ("--position", "middle", "position"),
        ("--method", "guess", "alignment_method"),
        ("--threshold", "-1 V", "threshold"),
        ("--threshold", "1 s", "threshold"),
        ("--min-width", "wide", "min_width"),
        ("--min-gap", "-1 us", "min_gap"),
        ("--sent", "many", "sent"),
        ("--increment", "0 s", "increment"),
        ("--cycle", "0", "cycle"),
        ("--re-arm", "nan", "re_arm"),
        ("--clock-ppm", "-1", "clock_ppm"),
        ("--delay-u", "50", "delay_u"),
        ("--splitter-u", "20 V", "splitter_u"),
        ("--trigger-offset-u", "soon", "trigger_offset_u"),
        ("--scale-percent", "101 %", "scale_percent"),
    ],
)
def test_an_option_that_cannot_be_used_is_named(option: str, value: str, named: str, tmp_path: Path) -> None:
    assert named in complaint("measure", small_session(tmp_path / "small.h5"), option, value)


@pytest.mark.parametrize(
    "words",
    [
        ("measure",),
        ("measre", "x.h5"),
        ("measure", "x.h5", "--colour"),
        ("measure", "x.h5", "y.h5"),
        ("plan",),
        ("plan", "--sample-rate", "1 MHz", "--trigger-period", "1 ms", "--record-length", "1.5"),
        ("plan", "--sample-rate", "fast", "--trigger-period", "1 ms"),
        ("plan", "--sample-rate", "1 MHz", "--trigger-period", "1 ms", "--re-arm", "2 ms"),
    ],
)
def test_a_wrong_call_is_answered_in_one_line(words: tuple[str, ...]) -> None:
    complaint(*words)


def test_a_recording_is_never_modified(tmp_path: Path) -> None:
    path = tmp_path / "tank_walk.h5"
    shutil.copy(sample("tank_walk.h5"), path)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    for command in ("describe", "measure"):
        assert CliRunner().invoke(app, [command, str(path)]).exit_code == 0
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["tank_walk.h5"]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("speed", "the names are increment"),
        ("skew H99", "H99"),
        ("increment", "not measured"),
        ("time H01 9", "no pulse"),
    ],
)
def test_a_budget_of_nothing_measured_is_refused(name: str, said: str, tmp_path: Path) -> None:
    assert said in complaint("measure", small_session(tmp_path / "small.h5"), "--budget", name)


def test_a_budget_has_no_place_in_json(tmp_path: Path) -> None:
    told = complaint("measure", small_session(tmp_path / "small.h5"), "--budget", "increment", "--json")
    assert "leave out --json or --budget" in told
