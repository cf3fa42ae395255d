"""Beats of a real recording against SciPy's peak finder."""

import numpy as np
import pytest
import pywt
from scipy.signal import find_peaks

from pulsewright import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure


def test_r_waves_agree_with_find_peaks_to_a_sample():
    """Source: PyWavelets' ECG (MIT-BIH Arrhythmia Database, 360 samples a second), scipy.signal.find_peaks."""
    ecg = np.asarray(pywt.data.ecg())
    beats, _ = find_peaks(ecg - np.median(ecg), height=100, prominence=150, distance=100)
    channel = Channel("H01", "M1", scale=1.0)
    session = Session.from_samples(ecg.astype(np.int16)[None, None, :], [channel], 360.0, 0, trigger_offset=np.zeros(1))
    pulses = measure(session, layered(option={"threshold": "100 V"})).pulses
    assert len(beats) == 3
    assert pulses.extreme_sample.tolist() == pytest.approx(beats, abs=1)
    assert np.all(pulses.polarity == 1)
