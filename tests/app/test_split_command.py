"""The split command: what it tells of every trigger, what it writes, and what it says of a wrong call."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright import Channel
from pulsewright.opening import open_session
from pulsewright.store import write_session
from pulsewright_app.cli import app

RATE = 5e6
BEAT = 5000
"""Samples between two pulses."""


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nine pulses of 20 samples, the first too near the start for a record; one has a second peak 60 samples later."""
    samples = np.zeros((1, 2, 45_000), dtype=np.int16)
    for number in range(9):
        samples[0, 0, 30 + number * BEAT :][:20] = 800
    samples[0, 0, 30 + 4 * BEAT + 60 :][:20] = 800
    path = tmp_path_factory.mktemp("capture") / "capture.h5"
    channels = [Channel("H01", "M1", scale=1e-3), Channel("H02", "M1", "Pa")]
    write_session(path, samples, channels, RATE, 0, title="Tank, long capture", notes="carriage stands")
    return path


def run(capture: Path, to: Path, **more: str) -> tuple[int, str, str]:
    options = {"channel": "H01", "level": "0.4 V", "before": "10 us", "after": "0.4 ms"} | more
    words = [f"--{name.replace('_', '-')}={value}" for name, value in options.items()]
    result = CliRunner().invoke(app, ["split", str(capture), "--to", str(to), *words])
    return result.exit_code, " ".join(result.stdout.split()), result.stderr


def test_what_became_of_every_trigger_is_told_and_kept(capture: Path, tmp_path: Path) -> None:
    code, out, err = run(capture, tmp_path / "run.h5")
    assert (code, err) == (0, "")
    assert "8 of 2,050 samples, 410 µs; 50 pre-trigger" in out
    assert "H01 rising through 400 mV" in out
    assert "In dead time 1 crossing made no record, 4.018 ms from the capture's first sample" in out
    assert "Not whole 1 record would begin before the capture" in out
    with open_session(tmp_path / "run.h5") as session:
        assert (session.records, session.pre_trigger, session.title) == (8, 50, "Tank, long capture")
        assert session.notes.startswith("carriage stands\nSplit from a continuous capture. Records: 8 of 2,050")
        assert "In dead time: 1 crossing" in session.notes
        np.testing.assert_allclose(session.trigger_time[:, 0], np.arange(8) * BEAT / RATE)
        # the pulse rises from 0 to 0.8 V within one sample, so it crosses 0.4 V half a sample before
        np.testing.assert_allclose(session.trigger_offset, 0.5 / RATE)


def test_what_is_held_off_is_not_lost(capture: Path, tmp_path: Path) -> None:
    code, out, _ = run(capture, tmp_path / "run.h5", hold_off="20 us", hysteresis="100 mV")
    assert code == 0
    assert "Hold-off 20 µs; 1 crossing passed over" in out
    assert "Hysteresis 100 mV" in out
    assert "In dead time no crossing" in out


def test_the_other_slope_comes_a_pulse_later(capture: Path, tmp_path: Path) -> None:
    assert run(capture, tmp_path / "run.h5", slope="falling")[0] == 0
    with open_session(tmp_path / "run.h5") as session:
        np.testing.assert_array_equal(session.codes()[1, 0, 29:51], [0] + [800] * 20 + [0])


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("channel", "H09", "no channel 'H09'"),
        ("level", "2 V", "capture.h5: H01 never rises through 2 V; its values go from 0 V to 800 mV"),
        ("level", "2 ms", "level: '2 ms' is in s, not in V"),
        ("slope", "up", "'up' is not one of 'rising', 'falling'"),
        ("after", "1 s", "capture.h5: before and after: a record of 5,000,050 samples is longer than the capture"),
        ("before", "long", "before: 'long' is not a number with a unit"),
        ("hold_off", "-1 us", "hold-off: −1 µs is no length"),
    ],
)
def test_a_wrong_call_is_one_line(capture: Path, tmp_path: Path, option: str, value: str, words: str) -> None:
    code, out, err = run(capture, tmp_path / "run.h5", **{option: value})
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert words in err
    assert list(tmp_path.iterdir()) == []


def test_what_a_capture_does_not_say_is_told_to_convert(tmp_path: Path) -> None:
    np.save(tmp_path / "capture.npy", np.zeros((1, 1, 4000), dtype=np.int16))
    code, out, err = run(tmp_path / "capture.npy", tmp_path / "run.h5")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "capture.npy: does not say its sample rate; bring it in with pulsewright convert first" in err


def test_no_file_is_written_over(capture: Path) -> None:
    before = capture.read_bytes()
    code, _, err = run(capture, capture)
    assert code == 2
    assert "there is a file of that name" in err
    assert capture.read_bytes() == before


def test_a_sound_file_is_a_capture_too(tmp_path: Path) -> None:
    """Source of the file: scipy.io.wavfile."""
    from scipy.io import wavfile

    samples = np.zeros(48_000, dtype=np.int16)
    samples[[1000, 9000, 30_000]] = 16_384
    wavfile.write(tmp_path / "pings.wav", 48_000, samples)
    code, out, err = run(tmp_path / "pings.wav", tmp_path / "run.h5", channel="C01", level="0.25 V", after="10 ms")
    assert (code, err) == (0, "")
    assert "3 of 481 samples" in out
    with open_session(tmp_path / "run.h5") as session:
        np.testing.assert_allclose(session.trigger_time[:, 0], np.array([0, 8000, 29_000]) / 48_000)
        assert "Converted from pings.wav" in session.notes
        assert "Split from a continuous capture" in session.notes


@pytest.mark.parametrize(
    ("to", "said"),
    [("run.csv", "a session file does not end so; let it end in .h5"), ("gone/run.h5", "there is no folder")],
)
@pytest.mark.parametrize("command", ["split", "simulate"])
def test_a_place_for_no_session_is_refused_before_any_work(command: str, to: str, said: str, tmp_path: Path) -> None:
    words = {
        "split": ["split", str(tmp_path / "no.h5"), "--channel", "H01", "--level", "1 V", "--before", "1 us",
                  "--after", "1 us"],
        "simulate": ["simulate", str(tmp_path / "no.toml")],
    }[command]  # fmt: skip
    result = CliRunner().invoke(app, [*words, "--to", str(tmp_path / to)])
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())
    assert list(tmp_path.iterdir()) == []
