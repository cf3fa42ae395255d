"""A session larger than the memory that is left is measured and overlaid all the same; the system holds the limit.

The limit is one on data (RLIMIT_DATA): what a process maps for its own writing. A limit on addresses (RLIMIT_AS) would
count the libraries of the compiler and the room that threads only reserve, which are no memory. It is set after a small
session of the same kind was measured, so that it binds what grows with the session and not what programs are made of.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from pulsewright.session import Channel
from pulsewright.store import write_session

MIB = 1 << 20
ROOM_MIB = 128
RECORDS, CHANNELS, LENGTH, RATE = 300, 12, 25_000, 25e6

UNDER_THE_LIMIT = """
import resource, sys
import numpy as np
from pulsewright.opening import open_session
from pulsewright.settings import layered
from pulsewright_analysis.assessment import assess
from pulsewright_analysis.overlay import Raster
from pulsewright_app.glow import Accumulation, GlowPlan
from pulsewright_app.glow_alignment import Alignment

def look(path):
    with open_session(path) as session:
        findings = assess(session, layered()).findings
        raster = Raster(800, 400, -1e-4, 9e-4, -0.2, 1.0)
        made = Accumulation(GlowPlan(session, 5, raster, Alignment(np.zeros(session.records))))
        made.add(np.arange(session.records))
        return findings, made.picture()

small, large, room = sys.argv[1], sys.argv[2], int(sys.argv[3])
look(small)
held = next(int(line.split()[1]) << 10 for line in open("/proc/self/status") if line.startswith("VmData"))
resource.setrlimit(resource.RLIMIT_DATA, (held + room, resource.RLIM_INFINITY))
try:
    np.ones(2 * room, np.uint8)
    print("the limit does not hold")
except MemoryError:
    pass
findings, picture = look(large)
print(len(findings.pulses.record), findings.alignment.method, picture.records, int(picture.counts[0].max()))
"""


def write(path: Path, records: int, sine: bool) -> None:
    """A pulse, or a sine of a phase of its own in each record, on twelve channels in noise."""
    random, time = np.random.default_rng(8), np.arange(LENGTH) / RATE
    noise = np.round(random.normal(0, 60, LENGTH + 4096)).astype(np.int16)
    pulse = 7000 * np.exp(-(((time - 4e-4) / 2e-6) ** 2) / 2)
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 4 + 1}", scale=1e-4) for c in range(CHANNELS)]
    codes = np.empty((records, CHANNELS, LENGTH), np.int16)
    for record in range(records):
        wave = 7000 * np.sin(2 * np.pi * 1.0007e6 * time + record) if sine else pulse
        for channel, place in enumerate(random.integers(0, 4096, CHANNELS)):
            codes[record, channel] = np.round(wave).astype(np.int16) + noise[place : place + LENGTH]
    write_session(path, codes, channels, RATE, 2500, trigger_time=np.arange(records) * 5e-3)


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux holds such a limit")
@pytest.mark.parametrize("kind", ["pulses", "sine"])
def test_a_session_larger_than_the_memory_left_is_measured_and_overlaid(kind: str, tmp_path: Path) -> None:
    small, large = tmp_path / "small.h5", tmp_path / "large.h5"
    write(small, 6, kind == "sine")
    write(large, RECORDS, kind == "sine")
    assert large.stat().st_size > 1.3 * ROOM_MIB * MIB
    done = subprocess.run(
        [sys.executable, "-c", UNDER_THE_LIMIT, str(small), str(large), str(ROOM_MIB * MIB)],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    pulses, method, overlaid, most = done.stdout.split()
    assert int(overlaid) == RECORDS
    assert int(most) <= RECORDS
    if kind == "sine":
        assert method == "sine"
    else:
        assert (int(pulses), method) == (RECORDS * CHANNELS, "correlation")
        assert int(most) > 0.9 * RECORDS  # all of them pass through the base line
