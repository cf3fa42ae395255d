"""Bad input through the whole of `measure`: a null with a reason or a clear error, no NumPy warning, no NaN in JSON."""

from __future__ import annotations

import json
import warnings

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright.errors import PulsewrightError
from pulsewright.settings import Settings
from pulsewright_analysis.assessment import assess
from pulsewright_analysis.findings import Cancelled, measure
from pulsewright_analysis.findings_json import as_json
from pulsewright_analysis.results import Findings

SAMPLE_RATE = 5e6
LENGTH = 512
TYPES = (np.float32, np.int16)
SIGNALS = ("walk", "sine", "constant")
DAMAGES = (
    "one NaN", "a record of NaN", "a channel of NaN", "all NaN", "one infinity", "both infinities", "all infinite",
    "a constant channel", "all constant", "one record", "two records", "no trigger times", "one infinite time",
    "huge values", "one sample", "four samples",
)  # fmt: skip
CALLS = {
    "one-sample span": {"span": (20e-6, 20e-6 + 1e-7)},
    "span of one instant": {"span": (20e-6, 20e-6)},
    "span outside the record": {"span": (1.0, 2.0)},
    "span before the record": {"span": (-2.0, -1.0)},
    "alignment outside the record": {"alignment_span": (1.0, 2.0)},
    "one-sample alignment": {"alignment_span": (20e-6, 20e-6 + 1e-7)},
    "one-sample alignment by sine": {"alignment_span": (20e-6, 20e-6 + 1e-7), "alignment_method": "sine"},
    "constant by sine": {"alignment_method": "sine"},
    "threshold above the signal": {"threshold": 1e6},
    "reference pulse outside the record": {"reference_pulse": (1.0, 2.0)},
    "no channels": {"channels": ()},
    "one channel": {"channels": ("H02",)},
    "no record left": {"left_out": tuple(range(16))},
    "one record left": {"left_out": tuple(range(15))},
    "an absurd increment": {"increment": 1e3},
    "an absurd cycle": {"cycle": 1},
    "nothing sent": {"sent": 0},
}


def session_of(signal: str, dtype: type, damage: str = "") -> Session:
    """Return sixteen records of four channels on two modules, damaged in one way."""
    rng = np.random.default_rng(7)
    records = {"one record": 1, "two records": 2}.get(damage, 16)
    length = {"one sample": 1, "four samples": 4}.get(damage, LENGTH)
    time = np.arange(length) / SAMPLE_RATE
    place = (20e-6 + 4e-6 * (np.arange(records) % 5))[:, None, None]
    clean = np.exp(-(((time[None, None, :] - place) / 1e-6) ** 2) / 2)
    if signal == "sine":
        clean = np.sin(2 * np.pi * 0.21e6 * time[None, None, :] + np.arange(records)[:, None, None])
    volts = clean + 0.01 * rng.standard_normal((records, 4, length))
    if signal == "constant" or damage == "all constant":
        volts = np.zeros_like(volts)
    if damage == "a constant channel":
        volts[:, 1] = 0.25
    if damage == "huge values":
        volts *= 3e37 if dtype is np.float32 else 3.0
    scale = 1.0 if dtype is np.float32 else 1e-4
    samples = volts if dtype is np.float32 else np.clip(np.rint(volts / scale), -32768, 32767)
    samples = samples.astype(dtype)
    if dtype is np.float32:
        _spoil(samples, damage)
    channels = [Channel(f"H0{c + 1}", f"M{c // 2 + 1}", scale=scale) for c in range(4)]
    times = np.arange(records) * 1e-3
    if damage == "one infinite time":
        times[-1] = np.inf
    return Session.from_samples(
        samples, channels, SAMPLE_RATE, 0, trigger_time=None if damage == "no trigger times" else times
    )


def _spoil(samples: np.ndarray, damage: str) -> None:
    """Write what no converter gives into float samples."""
    middle = samples.shape[-1] // 2
    if damage == "one NaN":
        samples[3, 1, middle] = np.nan
    elif damage == "a record of NaN":
        samples[3] = np.nan
    elif damage == "a channel of NaN":
        samples[:, 1] = np.nan
    elif damage == "all NaN":
        samples[:] = np.nan
    elif damage == "one infinity":
        samples[3, 1, middle] = np.inf
    elif damage == "both infinities":
        samples[3, 1, middle], samples[4, 0, middle] = np.inf, -np.inf
    elif damage == "all infinite":
        samples[:] = np.inf


def assessed(session: Session, settings: Settings) -> Findings | None:
    """Return the findings, warnings being errors, or None where the call was refused in one clear sentence."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            findings = assess(session, settings).findings
        except PulsewrightError as refused:
            assert refused.cause
            assert refused.remedy
            return None
        json.dumps(as_json(findings), allow_nan=False)
    return findings


def explained(findings: Findings) -> None:
    """Assert that what is missing has a reason."""
    reasons = " ".join(findings.reasons)
    if findings.sequence.increment is None:
        assert "increment" in reasons
    if findings.alignment.method is None:
        assert "No alignment" in reasons
    for skew in findings.alignment.channels:
        if skew.skew is None:
            assert findings.channel_name(skew.channel) in reasons
    if findings.jitter.std is None:
        assert "jitter" in reasons
    if findings.timing.trigger_period is None:
        assert "trigger" in reasons
    if len(findings.pulses) == 0:
        assert "No pulse" in reasons
    for health in findings.health:
        if health.noise_rms is None:
            assert findings.channel_name(health.channel) in reasons


@pytest.mark.parametrize("damage", DAMAGES)
@pytest.mark.parametrize("signal", SIGNALS)
@pytest.mark.parametrize("dtype", TYPES)
def test_bad_samples_give_nulls_with_reasons(dtype, signal, damage):
    findings = assessed(session_of(signal, dtype, damage), Settings())
    if findings is not None:
        explained(findings)


@pytest.mark.parametrize("call", CALLS)
@pytest.mark.parametrize("signal", SIGNALS)
@pytest.mark.parametrize("dtype", TYPES)
def test_bad_calls_are_refused_or_explained(dtype, signal, call):
    findings = assessed(session_of(signal, dtype), Settings(**CALLS[call]))
    if findings is not None:
        explained(findings)


@pytest.mark.parametrize("dtype", TYPES)
def test_one_bad_sample_leaves_the_other_channels_as_they_are(dtype):
    whole = assessed(session_of("walk", dtype), Settings())
    damaged = assessed(session_of("walk", dtype, "one NaN"), Settings())
    assert whole is not None
    assert damaged is not None
    assert damaged.sequence.increment is not None
    assert abs(damaged.sequence.increment.value - whole.sequence.increment.value) < 4 * whole.sequence.increment.u


def test_looking_for_nan_can_be_called_off() -> None:
    session = session_of("walk", np.float32)
    asked: list[bool] = []

    def once_begun() -> bool:
        asked.append(True)
        return len(asked) > 1

    # the first question comes before anything is read, the second with the first block that is looked at for NaN
    with pytest.raises(Cancelled):
        measure(session, cancelled=once_begun)
    assert len(asked) == 2
