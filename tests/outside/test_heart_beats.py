"""Beats of a real recording against SciPy's peak finder."""

import numpy as np
import pytest
import pywt
from scipy.signal import find_peaks

from pulsewright import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure
from pulsewright_analysis.splitting import SplitSettings, split


def beats_of(ecg):
    """R waves by scipy.signal.find_peaks."""
    beats, _ = find_peaks(ecg - np.median(ecg), height=100, prominence=150, distance=100)
    return beats


def capture_of(ecg):
    """The recording as one record of one channel, 360 samples a second."""
    samples = ecg.astype(np.int16)[None, None, :]
    return Session.from_samples(samples, [Channel("H01", "M1")], 360.0, 0, trigger_offset=np.zeros(1))


def test_r_waves_agree_with_find_peaks_to_a_sample():
    """Source: PyWavelets' ECG (MIT-BIH Arrhythmia Database, 360 samples a second), scipy.signal.find_peaks."""
    ecg = np.asarray(pywt.data.ecg())
    beats = beats_of(ecg)
    pulses = measure(capture_of(ecg), layered(option={"threshold": "100 V"})).pulses
    assert len(beats) == 3
    assert pulses.extreme_sample.tolist() == pytest.approx(beats, abs=1)
    assert np.all(pulses.polarity == 1)


def test_split_at_its_beats_each_record_has_its_r_wave():
    """Source: as above; the time between two R waves is that between find_peaks' positions."""
    ecg = np.asarray(pywt.data.ecg())
    beats = beats_of(ecg)
    found = split(capture_of(ecg), SplitSettings("H01", float(np.median(ecg)) + 100, True, before=0.1, after=0.3))
    assert found.session.records == len(beats) == 3
    in_record = found.session.codes()[:, 0].argmax(axis=1)
    np.testing.assert_array_equal(found.sample - found.session.pre_trigger + in_record, beats)
    # on the records' own time axes too: trigger time, and time from the trigger
    times = [found.session.times(record, 0)[place] for record, place in enumerate(in_record)]
    np.testing.assert_allclose(np.diff(found.session.trigger_time[:, 0] + times), np.diff(beats) / 360, atol=1e-12)
