"""The convert and describe commands: what they tell, what they write, and what they say of a wrong call."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright.opening import open_session
from pulsewright_app.cli import app

RECORDS, LENGTH = 6, 40
CODES = np.random.default_rng(11).integers(-900, 900, (RECORDS, 2, LENGTH)).astype(np.int16)
TIMES = 100.0 + np.arange(RECORDS) * 1e-3


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two modules' recordings: the right one lacks the third trigger, and begins four samples later."""
    np.savez(tmp_path / "left.npz", samples=CODES, sample_rate=1e6, trigger_time=TIMES)
    kept = np.delete(np.arange(RECORDS), 2)
    np.savez(tmp_path / "right.npz", samples=CODES[kept][:, :, 4:], sample_rate=1e6, trigger_time=TIMES[kept] + 2e-6)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, list(words))
    assert "Traceback" not in result.stderr
    return result.exit_code, " ".join(result.stdout.split()), " ".join(result.stderr.split())


def test_what_was_understood_is_told_and_kept(here: Path) -> None:
    code, out, _ = run("convert", "left.npz", "--to", "tank.h5", "--names", "H01,H02", "--scale", "2 mV,4 mV",
                       "--pre-trigger", "8", "--title", "Tank")  # fmt: skip
    assert code == 0
    assert "left.npz (NumPy), understood as:" in out
    assert "Sample rate 1 MHz the file --sample-rate" in out
    assert "Pre-trigger 8 given --pre-trigger" in out
    assert "Axes records,channels,samples guessed: the order of a session --axes" in out
    assert "6 records of 40 samples on 2 channels written to tank.h5" in out
    with open_session(here / "tank.h5") as session:
        np.testing.assert_array_equal(session.codes(), CODES)
        assert [(c.name, c.scale) for c in session.channels] == [("H01", 2e-3), ("H02", 4e-3)]
        assert (session.pre_trigger, session.title, session.origin) == (8, "Tank", "left.npz")
        np.testing.assert_allclose(session.trigger_time[:, 0], TIMES - 100, atol=1e-9)
        assert "- Pre-trigger: 8 (given)." in session.notes
        assert "- Axes: records,channels,samples (guessed: the order of a session)." in session.notes


def test_modules_are_matched_by_trigger_time(here: Path) -> None:
    code, out, _ = run("convert", "--module", "A=left.npz", "--module", "B=right.npz", "--to", "tank.h5",
                       "--match", "time", "--tolerance", "10 us")  # fmt: skip
    assert code == 0
    assert "A: 1 record has no partner and is left out: 2." in out
    assert "5 records belong together within 10 µs" in out
    assert "A: samples 0 to 35 of 40 are kept, which all modules have" in out
    with open_session(here / "tank.h5") as session:
        assert session.modules == ("A", "B")
        assert [channel.name for channel in session.channels] == ["A C01", "A C02", "B C01", "B C02"]
        kept = np.delete(np.arange(RECORDS), 2)
        np.testing.assert_array_equal(session.codes()[:, :2], CODES[kept][:, :, :36])
        np.testing.assert_array_equal(session.codes()[:, 2:], CODES[kept][:, :, 4:])
        np.testing.assert_allclose(session.trigger_time[:, 1] - session.trigger_time[:, 0], 2e-6, atol=1e-9)
        assert "! A: 1 record has no partner" in session.notes


def test_modules_are_matched_by_number(here: Path) -> None:
    code, out, _ = run("convert", "left.npz", "right.npz", "--to", "tank.h5")
    assert code == 0
    assert "left: has 6 records" in out
    with open_session(here / "tank.h5") as session:
        assert (session.modules, session.records) == (("left", "right"), 5)


def test_a_file_says_how_it_is_all_understood(here: Path) -> None:
    (here / "how.toml").write_text(
        'pre_trigger = 4\ntitle = "Tank"\n[modules.A]\npre_trigger = 8\n[modules.A.channels.C02]\n'
        'names = "H02"\nscale = "2 Pa"\nunit = "Pa"\ndelay = "12 ns"\nend_codes = "-1024 .. 1023"\n'
        '[modules.B]\nnames = ["H03", "H04"]\n'
    )
    code, out, err = run("convert", "--module", "A=left.npz", "--module", "B=right.npz", "--to", "tank.h5",
                         "--how", "how.toml", "--sample-rate", "2 MHz")  # fmt: skip
    assert (code, err) == (0, ""), out + err
    with open_session(here / "tank.h5") as session:
        assert [channel.name for channel in session.channels] == ["C01", "H02", "H03", "H04"]
        second = session.channels[1]
        assert (second.scale, second.unit, second.delay, second.lowest_code) == (2.0, "Pa", 12e-9, -1024)
        assert (session.sample_rate, session.title, session.pre_trigger) == (2e6, "Tank", 4)
        np.testing.assert_array_equal(session.codes()[:, 0], CODES[:5, 0, 4:40])


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["gone.npz"], "gone.npz: there is no such file"),
        ([], "no file is given"),
        (["left.npz", "--module", "A=right.npz"], "only one way of giving files"),
        (["--module", "left.npz"], "'left.npz' is no module with its file"),
        (["left.npz", "left.npz"], "two modules have one name"),
        (["left.npz", "--match", "time"], "--match time needs a tolerance"),
        (["left.npz", "--tolerance", "1 us"], "no meaning without --match time"),
        (["left.npz", "--how", "gone.toml"], "gone.toml: cannot be read"),
        (["left.npz", "--names", "H01"], "name every channel differently"),
        (["left.npz", "--delimiter", "tab"], "has no meaning here: it is NumPy"),
        (["left.npz", "--record-length", "-3"], "record_length"),
        (["left.npz", "right.npz", "--match", "time", "--tolerance", "1 ns"], "no records of left and right"),
    ],
)
def test_a_wrong_call_is_told_in_one_line(here: Path, words: list[str], sentence: str) -> None:
    code, out, err = run("convert", *words, "--to", "tank.h5")
    assert (code, out) == (2, "")
    assert sentence in err
    assert not (here / "tank.h5").exists()


def test_other_sample_rates_are_refused(here: Path) -> None:
    (here / "how.toml").write_text('[modules.B]\nsample_rate = "3 MHz"\n')
    code, _, err = run("convert", "--module", "A=left.npz", "--module", "B=right.npz", "--to", "t.h5", "--how",
                       "how.toml")  # fmt: skip
    assert code == 2
    assert "module A is sampled at 1 MS/s, module B at 3 MS/s; a session has one sample rate" in err


def test_nothing_is_written_over(here: Path) -> None:
    before = (here / "left.npz").read_bytes()
    for to in ("left.npz", "right.npz"):
        code, _, err = run("convert", "left.npz", "--to", to)
        assert code == 2
        assert "there is a file of that name" in err
    assert (here / "left.npz").read_bytes() == before


@pytest.mark.parametrize(
    "end", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL], ids=["interrupted", "terminated", "killed"]
)
def test_a_conversion_that_is_ended_leaves_no_half_file(end: signal.Signals, here: Path) -> None:
    with (here / "large.npy").open("wb") as stream:  # a file of zeros that takes no room on the disk
        form = {"descr": "<i2", "fortran_order": False, "shape": (4000, 4, 25_000)}
        np.lib.format.write_array_header_1_0(stream, form)
        stream.truncate(stream.tell() + 4000 * 4 * 25_000 * 2)
    code = "from pulsewright_app.cli import run; run()"
    words = [sys.executable, "-c", code, "convert", "large.npy", "--to", "large.h5", "--sample-rate", "1 MHz"]
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as converting:
        until = time.monotonic() + 60
        while not any(path.stat().st_size > 0 for path in here.glob(".pulsewright-*")) and time.monotonic() < until:
            time.sleep(0.002)
        converting.send_signal(end)
        converting.communicate()
    assert converting.returncode == (-signal.SIGKILL if end == signal.SIGKILL else 130)
    assert not (here / "large.h5").exists()
    if end != signal.SIGKILL:
        assert not list(here.glob(".pulsewright-*"))


def test_a_recording_is_described_as_it_would_be_read(here: Path) -> None:
    (here / "tank.csv").write_text("t_ms,H01,H02\n" + "".join(f"{i + (i > 20) * 3},{i % 7},5\n" for i in range(40)))
    code, out, _ = run("describe", "tank.csv")
    assert code == 0
    assert "Format delimited text" in out
    assert "Time unit ms the file --time-unit" in out
    assert "! 4 sample intervals lie between samples 20 and 21 of record 0: 3 samples are missing." in out
    assert "! H02 holds the same value in every sample." in out
    assert "It cannot be converted so: tank.csv: 4 sample intervals" in out
    assert "--time-column" in out


def test_what_is_odd_in_any_recording_is_described(here: Path) -> None:
    wave = np.clip(3000 * np.sin(np.arange(400) / 9), -2048, 2000).astype(np.int16).reshape(10, 1, 40)
    wave[7] = wave[3]
    times = np.arange(10) * 1e-3
    times[5] = times[4]
    np.savez(here / "odd.npz", samples=wave, fs=1e6, trigger_time=times)
    code, out, _ = run("describe", "odd.npz", "--end-codes", "-2048 .. 2047")
    assert code == 0
    assert "C01 stays at an extreme for" in out
    assert "the end codes may be wrong" in out
    assert "the trigger time of the record before is repeated in record 5" in out
    assert "record 7 holds the same samples as record 3" in out
    _, out, _ = run("describe", "odd.npz", "--end-codes", "-100 .. 100")
    assert "C01 goes beyond its end codes: they are not the converter's" in out


def test_a_recording_whose_rate_nobody_knows_is_described_all_the_same(here: Path) -> None:
    np.save(here / "plain.npy", CODES)
    code, out, _ = run("describe", "plain.npy")
    assert code == 0
    assert "Sample rate not known" in out
    assert 'does not say its sample rate; give it, for example "25 MHz"' in out


@pytest.mark.parametrize("command", ["measure", "records"])
def test_other_commands_say_how_a_recording_is_brought_in(command: str, here: Path) -> None:
    code, _, err = run(command, "left.npz")
    assert code == 2
    assert "bring it in with pulsewright convert, or with Import on the desk" in err
