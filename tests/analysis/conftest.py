"""Sessions of known truth for the tests of the measurements."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from pulsewright import Channel, Session

SAMPLE_RATE = 5e6
INCREMENT = 10e-6
CYCLE = 8


def tank(
    pings: Sequence[Sequence[int]],
    *,
    noise: float = 0.004,
    late: float = 0.0,
    timed: bool = True,
    shared_time: bool = False,
    seed: int = 1,
) -> Session:
    """Return a session of two modules with two channels each: a fixed pulse at 15 µs and a walking one from 60 µs on.

    `pings` holds the pings that each module kept; `late` delays the last channel by that many seconds.
    """
    rng = np.random.default_rng(seed)
    records, length = len(pings[0]), 900
    offset = rng.uniform(0, 1 / SAMPLE_RATE, (records, 2))
    codes = np.zeros((records, 4, length), dtype=np.int16)
    times = np.array(pings, dtype=float).T * 0.05
    for channel in range(4):
        ping = np.array(pings[channel // 2])
        time = (np.arange(length)[None, :] - 100) / SAMPLE_RATE + offset[:, [channel // 2]]
        time = time - (late if channel == 3 else 0.0)
        walk = (60e-6 + INCREMENT * (ping % CYCLE))[:, None]
        clean = 0.8 * np.exp(-(((time - 15e-6) / 0.8e-6) ** 2) / 2) + 0.5 * np.exp(-(((time - walk) / 1e-6) ** 2) / 2)
        volts = np.where(ping % 2 == 0, 1, -1)[:, None] * clean + noise * rng.standard_normal(clean.shape)
        codes[:, channel] = np.round(volts / 1e-4)
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 2 + 1}", scale=1e-4) for c in range(4)]
    return Session.from_samples(
        codes,
        channels,
        SAMPLE_RATE,
        100,
        trigger_time=times[:, 0] if shared_time else times,
        trigger_offset=offset if timed else None,
    )


@pytest.fixture
def make_tank() -> Callable[..., Session]:
    """Return the maker of sessions of known truth."""
    return tank
