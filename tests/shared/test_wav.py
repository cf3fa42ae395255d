"""WAV as it is understood: what the file says, what is guessed, and what a person says instead."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest

from pulsewright.errors import RecordingError
from pulsewright.formats.recognising import open_recording
from pulsewright.opening import open_session
from pulsewright.store import save_session

CODES = np.random.default_rng(3).integers(-2000, 2000, (1000, 3)).astype("<i2")


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    """Write 1000 samples on three channels, with the standard library."""
    path = tmp_path / "capture.wav"
    with wave.open(str(path), "wb") as stream:
        stream.setnchannels(3)
        stream.setsampwidth(2)
        stream.setframerate(48_000)
        stream.writeframes(CODES.tobytes())
    return path


def test_a_capture_becomes_a_session_of_records(capture: Path, tmp_path: Path) -> None:
    with open_recording(capture, {"record_length": "300", "names": "H01,H02,H03", "scale": "1 mV"}) as reading:
        origins = {told.name: told.origin for told in reading.assumptions}
        assert origins["sample_rate"] == "file"
        assert origins["pre_trigger"] == "guessed"
        assert origins["names"] == "option"
        assert reading.odd == ("100 samples at its end make no whole record of 300 and are left out",)
        save_session(tmp_path / "tank.h5", reading.checked())
    with open_session(tmp_path / "tank.h5") as session:
        assert session.sample_rate == 48_000
        assert [channel.name for channel in session.channels] == ["H01", "H02", "H03"]
        assert session.channels[0].scale == 1e-3
        np.testing.assert_array_equal(session.codes(), CODES[:900].reshape(3, 300, 3).transpose(0, 2, 1))
        np.testing.assert_array_equal(session.stretch_codes(2, 5, 9), CODES[605:609].T)


@pytest.mark.parametrize(
    ("options", "words", "option"),
    [
        ({"axes": "samples"}, "has no meaning here", "axes"),
        ({"bogus": "1"}, "there is no option 'bogus'", "bogus"),
        ({"record_length": "long"}, "'long' cannot be used", "record_length"),
        ({"record_length": "0"}, "no record has 0 samples", "record_length"),
        ({"sample_rate": "0"}, "sample rate: '0' is no rate above 0", "sample_rate"),
        ({"sample_rate": "-5 MHz"}, "sample rate: '-5 MHz' is no rate above 0", "sample_rate"),
        ({"record_length": "2000"}, "less than a record of 2,000", "record_length"),
        ({"names": "H01,H02"}, "2 values for 3 channels", "names"),
        ({"names": "H01"}, "name every channel differently", "names"),
        ({"scale": "0"}, "a scale is 0", "scale"),
        ({"end_codes": "3"}, "'3' cannot be used", "end_codes"),
        ({"pre_trigger": "1001"}, "a record has only 1,000", "pre_trigger"),
        ({"trigger_times": "the file's own"}, "has no trigger times", "trigger_times"),
    ],
)
def test_an_option_that_cannot_be_used_is_named(
    capture: Path, options: dict[str, str], words: str, option: str
) -> None:
    with pytest.raises(RecordingError) as caught:
        open_recording(capture, options)
    assert words in caught.value.sentence
    assert caught.value.option == option


def test_every_assumption_can_be_given_back_as_an_option(capture: Path) -> None:
    with open_recording(capture) as reading:
        told = {assumption.name: assumption.value for assumption in reading.assumptions}
        channels = reading.session.channels
    with open_recording(capture, told) as again:
        assert again.session.channels == channels
        assert all(assumption.origin == "option" for assumption in again.assumptions)


def test_a_file_that_promises_more_than_it_holds(capture: Path) -> None:
    capture.write_bytes(capture.read_bytes()[:-10])
    with pytest.raises(RecordingError, match=r"capture\.wav: its chunk 'data' should end at byte 6,044"):
        open_recording(capture)


def test_writing_ends_without_a_trace_when_it_is_cancelled(capture: Path, tmp_path: Path) -> None:
    def stop(share: float, doing: str) -> None:
        raise KeyboardInterrupt

    with open_recording(capture) as reading, pytest.raises(KeyboardInterrupt):
        save_session(tmp_path / "tank.h5", reading.checked(), progress=stop)
    assert [path.name for path in tmp_path.iterdir()] == ["capture.wav"]
