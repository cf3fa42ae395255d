"""A real recording from somebody else's file: brought in as text, split at its beats, stepped through.

Source: the ECG that PyWavelets carries (pywt.data.ecg), from the MIT-BIH Arrhythmia Database, 360 samples a second;
written by pandas as a table with decimal commas, its times rounded to a microsecond. R waves: scipy.signal.find_peaks.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pywt.data
import scipy.signal
from typer.testing import CliRunner

from pulsewright.opening import open_session
from pulsewright_app.cli import app

RATE = 360.0


def run(*words: str) -> str:
    result = CliRunner().invoke(app, list(words))
    assert result.exit_code == 0, result.output
    return result.stdout


def test_an_ecg_comes_in_as_text_and_is_stepped_through_beat_by_beat(tmp_path: Path) -> None:
    ecg = pywt.data.ecg()
    table = pd.DataFrame({"Zeit (ms)": np.round(np.arange(len(ecg)) / RATE * 1e3, 3), "EKG (mV)": ecg / 200})
    table.to_csv(tmp_path / "ecg.csv", index=False, sep=";", decimal=",")
    capture, beats = tmp_path / "capture.h5", tmp_path / "beats.h5"

    run("convert", str(tmp_path / "ecg.csv"), "--to", str(capture))
    with open_session(capture) as session:
        assert session.sample_rate == RATE  # the roundest that times rounded to a microsecond allow
        assert (session.channels[0].name, session.channels[0].unit) == ("EKG", "V")
        np.testing.assert_allclose(session.values()[0, 0], ecg / 200 * 1e-3, rtol=1e-7)

    level = f"{(np.median(ecg) + 100) / 200} mV"
    run("split", str(capture), "--to", str(beats), "--channel", "EKG", "--level", level, "--before", "0.1 s",
        "--after", "0.3 s")  # fmt: skip
    beats_found, _ = scipy.signal.find_peaks(ecg - np.median(ecg), height=100, prominence=150, distance=100)
    with open_session(beats) as session:
        assert session.records == len(beats_found) == 3
        places = session.codes()[:, 0].argmax(axis=1)
        seconds = [session.times(record, 0)[place] for record, place in enumerate(places)]
        np.testing.assert_allclose(
            np.diff(session.trigger_time[:, 0] + seconds), np.diff(beats_found) / RATE, rtol=0, atol=1e-9
        )
        assert [session.values(record, record + 1).max() for record in range(3)] == [
            np.float64(np.float32(ecg[beat] / 200)) * 1e-3 for beat in beats_found
        ]
