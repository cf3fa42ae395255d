"""A small session of the tank, and the one way in which every refusal is judged."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pulsewright.errors import SessionFileError
from pulsewright.opening import open_session
from pulsewright.session import Channel
from pulsewright.store import write_session

RECORDS, CHANNELS, LENGTH = 5, 4, 30


@pytest.fixture
def tank_file(tmp_path: Path) -> Path:
    """Five records of four hydrophones on two modules, every optional part present."""
    codes = np.random.default_rng(7).integers(-900, 900, (RECORDS, CHANNELS, LENGTH)).astype(np.int16)
    channels = [
        Channel(f"H{i + 1:02d}", f"M{i // 2 + 1}", scale=1e-3, lowest_code=-2048, highest_code=2047)
        for i in range(CHANNELS)
    ]
    path = tmp_path / "tank.h5"
    write_session(
        path,
        codes,
        channels,
        sample_rate=25e6,
        pre_trigger=10,
        modules=["M1", "M2"],
        trigger_time=np.arange(RECORDS)[:, None] * np.array([1e-3, 1.001e-3]),
        trigger_offset=np.full((RECORDS, 2), 1e-8),
        title="Tank",
        notes="Plate at stop 3 – µ",
        origin="the carriage's controller",
        created="2031-04-12T09:30:00+02:00",
    )
    return path


@pytest.fixture
def refusal() -> Callable[[Path], str]:
    """Open a file that must be refused, and return the one sentence."""

    def sentence_for(path: Path) -> str:
        with pytest.raises(SessionFileError) as caught, open_session(path):
            pass
        sentence = str(caught.value)
        assert sentence == caught.value.sentence
        assert "\n" not in sentence
        assert path.name in sentence
        assert sentence.endswith(".")
        return sentence

    return sentence_for
