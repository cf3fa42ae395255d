"""`rearm` and `compare --swapped` on session files whose truth is known by construction.

A recorder is played by its own rule: a trigger is kept where it comes at least the re-arm time after the end of the
record before. What the commands must say then follows by algebra.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright.session import Channel
from pulsewright.store import write_session
from pulsewright_app.cli import app

RATE, LENGTH, PRE = 10e6, 1000, 200
DURATION = LENGTH / RATE  # 100 µs
RE_ARM = 23.7e-6


def run(*words: str | Path) -> Any:
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def recorded(path: Path, period: float, sent: int = 60) -> int:
    """Write what a recorder with that re-arm time keeps of evenly sent triggers, and return how many it loses."""
    kept: list[float] = []
    free = -np.inf
    for trigger in np.arange(sent) * period:
        if trigger >= free:
            kept.append(float(trigger))
            free = trigger + DURATION - PRE / RATE + RE_ARM + PRE / RATE
    time = (np.arange(LENGTH) - PRE) / RATE
    random = np.random.default_rng(len(kept))
    number = np.rint(np.array(kept) / period)
    at = 20e-6 + 0.3e-6 * (number % 8)
    values = 8000 * np.exp(-(((time - at[:, None]) / 0.5e-6) ** 2) / 2) * np.where(number % 2, -1, 1)[:, None]
    codes = np.rint(values + random.normal(0, 20, values.shape)).astype(np.int16)[:, None, :]
    channels = [Channel("H01", "M1", scale=1e-4)]
    write_session(path, codes, channels, RATE, PRE, trigger_time=np.array(kept), trigger_offset=np.zeros(len(kept)))
    return sent - len(kept)


def test_the_re_arm_time_is_bracketed_by_the_fastest_clean_and_the_slowest_lossy_session(tmp_path: Path) -> None:
    periods = (200e-6, 140e-6, 125e-6, 122e-6, 110e-6)
    files = [tmp_path / f"at{round(1e6 * period)}us.h5" for period in periods]
    lost = [recorded(file, period) for file, period in zip(files, periods, strict=True)]
    # by the recorder's rule: 125 µs − 100 µs is longer than 23.7 µs, 122 µs − 100 µs is not
    assert [number > 0 for number in lost] == [False, False, False, True, True]
    body = run("rearm", *files, "--periods", ",".join(f"{1e6 * p:g} us" for p in periods), "--json")
    assert [rate["kept"] for rate in body["sessions"]] == ["clean", "clean", "clean", "lossy", "lossy"]
    found = body["re_arm"]
    assert found["at_most"]["value"] == pytest.approx(25e-6, abs=1e-7)
    assert found["above"]["value"] == pytest.approx(22e-6, abs=1e-7)
    low, high = found["interval95"]
    assert low < RE_ARM < high
    assert low <= 22e-6 and high >= 25e-6  # the uncertainty of the ends widens the bracket, and never narrows it


def pair(path: Path, delays: tuple[float, float], seed: int) -> None:
    """Write a session in which the same pulse arrives on two inputs with these delays."""
    random = np.random.default_rng(seed)
    time = (np.arange(LENGTH) - PRE) / RATE
    arrival = np.array(delays)[None, :, None] + 20e-6
    values = 8000 * np.exp(-(((time - arrival) / 0.4e-6) ** 2) / 2)
    noisy = np.repeat(values, 40, axis=0) + random.normal(0, 15, (40, 2, LENGTH))
    channels = [Channel("H01", "M1", scale=1e-4), Channel("H05", "M2", scale=1e-4)]
    write_session(
        path, np.rint(noisy).astype(np.int16), channels, RATE, PRE,
        trigger_time=np.arange(40) * 1e-3, trigger_offset=np.zeros((40, 2)),
    )  # fmt: skip


def test_exchanged_cables_are_told_from_the_recorder(tmp_path: Path) -> None:
    recorder, cable = 3.1e-9, 7.4e-9  # of the second input against the first, and of the cable that was on it before
    pair(tmp_path / "before.h5", (0.0, recorder + cable), 1)
    pair(tmp_path / "after.h5", (cable, recorder), 2)
    body = run("compare", tmp_path / "before.h5", tmp_path / "after.h5", "--swapped", "H01:H05", "--json")
    (found,) = body["swapped"]
    # s = recorder + cable before, recorder − cable after: half of the sum, half of the difference
    for share, truth in (("recorder", recorder), ("cable", cable)):
        told = found[share]
        assert abs(told["value"] - truth) < 4 * told["u"]
        assert told["u"] < 0.5e-9
