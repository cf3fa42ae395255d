"""A session larger than the limit of memory is measured and overlaid all the same; the system holds the limit.

Pulses are measured under a limit on addresses (RLIMIT_AS), which counts the libraries and what threads only reserve as
well: the session is larger than all of that together. Most of its records are empty, and take no room on the disk. Each
record of a sine counts, so that one is larger than what is left under a limit on data (RLIMIT_DATA), which is what a
process maps for its own writing. Either is set after a small session of the same kind was measured, so that it binds
what grows with the session.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest

from pulsewright.session import Channel
from pulsewright.store import write_session

MIB = 1 << 20
CHANNELS, LENGTH, RATE = 12, 25_000, 25e6
LIMITS = {"pulses": ("RLIMIT_AS", "VmSize", 128, 1200), "sine": ("RLIMIT_DATA", "VmData", 64, 150)}
"""What is limited, how the system calls what is in use of it, MiB more than that, and records of the large session."""
A_PULSE_IN = 10
"""Records, of which one is not empty."""
FEW = {"PULSEWRIGHT_THREADS": "2", "OPENBLAS_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "1"}
"""So that what is reserved is the same on a machine of many cores."""

UNDER_THE_LIMIT = """
import resource, sys
import numpy as np
from pulsewright.opening import open_session
from pulsewright.settings import layered
from pulsewright_analysis.assessment import assess
from pulsewright_analysis.overlay import Raster
from pulsewright_app import glow
from pulsewright_app.glow import Accumulation, GlowPlan
from pulsewright_app.glow_alignment import Alignment

glow.CORES = 2

def look(path):
    with open_session(path) as session:
        findings = assess(session, layered(option={"threshold": "0.2 V"})).findings
        raster = Raster(800, 400, -1e-4, 9e-4, -0.2, 1.0)
        made = Accumulation(GlowPlan(session, 5, raster, Alignment(np.zeros(session.records))))
        made.add(np.arange(session.records))
        return findings, made.picture()

small, large, limit, in_use, room = *sys.argv[1:5], int(sys.argv[5])
look(small)
held = next(int(line.split()[1]) << 10 for line in open("/proc/self/status") if line.startswith(in_use))
resource.setrlimit(getattr(resource, limit), (held + room, resource.RLIM_INFINITY))
try:
    np.ones(2 * room, np.uint8)
    print("the limit does not hold")
except MemoryError:
    pass
findings, picture = look(large)
most = int(picture.counts[0].max())
print(held + room, len(findings.pulses.record), findings.alignment.method, picture.records, most)
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


def spread(path: Path, records: int, every: int) -> None:
    """Let so many empty records lie between those of a session that it has `records`; they take no room."""
    with h5py.File(path, "r+") as file:
        codes = file["samples"][...]
        modules = file["triggers/offset"].shape[1]
        for name in ("samples", "triggers/time", "triggers/offset"):
            del file[name]
        samples = file.create_dataset("samples", (records, *codes.shape[1:]), "<i2")
        for place, record in enumerate(codes):
            samples[place * every] = record
        file["triggers/time"] = np.arange(records) * 5e-3
        file["triggers/offset"] = np.zeros((records, modules))


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux holds such a limit")
@pytest.mark.parametrize("kind", LIMITS)
def test_a_session_larger_than_the_limit_is_measured_and_overlaid(kind: str, tmp_path: Path) -> None:
    limit, in_use, room, records = LIMITS[kind]
    small, large, sine = tmp_path / "small.h5", tmp_path / "large.h5", kind == "sine"
    write(small, 6, sine)
    write(large, records if sine else records // A_PULSE_IN, sine)
    if not sine:
        spread(large, records, A_PULSE_IN)
    done = subprocess.run(
        [sys.executable, "-c", UNDER_THE_LIMIT, small, large, limit, in_use, str(room * MIB)],
        capture_output=True, text=True, env=os.environ | FEW,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    allowed, pulses, method, overlaid, most = done.stdout.split()
    assert int(overlaid) == records
    assert int(most) <= records
    if sine:
        assert large.stat().st_size > 1.3 * room * MIB
        assert method == "sine"
    else:
        assert large.stat().st_size > int(allowed), "the session is larger than all that the process may take"
        assert int(pulses) == records // A_PULSE_IN * CHANNELS
        assert int(most) > 0.9 * records  # all of them pass through the base line
