"""A session's file that is cut, removed, replaced or written to while a real process measures it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from pulsewright.session import Channel
from pulsewright.store import write_session
from pulsewright_app.samples import sample

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/io").exists(), reason="how far a process has read is told by Linux alone"
)

PROGRAM = [sys.executable, "-c", "from pulsewright_app.cli import run; run()"]
LONGEST_WAIT = 120.0
RECORDS, LENGTH = 300, 25_000
CLAIMS = """
title = "A long run"

[[claims]]
name = "no trigger was missed"
kind = "no_missed_trigger"
"""


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of 60 MB, so that measuring it takes a while; invented, and no check of any number."""
    random = np.random.default_rng(7)
    time_axis = np.arange(LENGTH) - 2500
    noise = np.round(random.normal(0.0, 60.0, (4, 4 * LENGTH))).astype(np.int16)
    samples = np.empty((RECORDS, 4, LENGTH), np.int16)
    for record in range(RECORDS):
        centre, sign = 9000 + 25 * (record % 24), 1 if record % 2 == 0 else -1
        pulse = np.round(sign * 9000 * np.exp(-(((time_axis - centre) / 12.0) ** 2))).astype(np.int16)
        begin = int(random.integers(0, 3 * LENGTH))
        samples[record] = noise[:, begin : begin + LENGTH] + pulse
    channels = [Channel(f"H{c + 1:02d}", "M1", scale=1e-4) for c in range(4)]
    path = tmp_path_factory.mktemp("original") / "run.h5"
    times = np.arange(RECORDS) * 2e-3
    write_session(path, samples, channels, 25e6, 2500, trigger_time=times, trigger_offset=np.zeros(RECORDS))
    return path


@pytest.fixture
def run(original: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "runs"
    folder.mkdir()
    path = folder / "run.h5"
    path.write_bytes(original.read_bytes())
    return path


def has_open(process: int, path: Path) -> bool:
    try:
        return any(opened.readlink() == path for opened in Path(f"/proc/{process}/fd").iterdir())
    except OSError:
        return False


def bytes_read(process: int) -> int:
    return int(Path(f"/proc/{process}/io").read_text().split()[1])


def stopped_while_it_reads(started: subprocess.Popen[str], path: Path) -> int:
    """Stop the process that measures a file, this one or a child of its, after the digest and while it measures."""
    size, first_seen = path.stat().st_size, {}
    end = time.monotonic() + LONGEST_WAIT
    while time.monotonic() < end and started.poll() is None:
        for process in (int(entry.name) for entry in Path("/proc").iterdir() if entry.name.isdecimal()):
            if not has_open(process, path):
                continue
            began = first_seen.setdefault(process, bytes_read(process))
            if bytes_read(process) - began > 1.6 * size:  # the digest reads it once
                os.kill(process, signal.SIGSTOP)
                assert has_open(process, path), "it had come to its end"
                return process
        time.sleep(0.002)
    started.kill()
    raise AssertionError(f"it never came so far: {started.communicate()}")


def cut(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 8)


def write_in_place(path: Path) -> None:
    with path.open("r+b") as stream:
        stream.seek(path.stat().st_size - 2_000_000)
        stream.write(bytes(1_000_000))


def replace(path: Path) -> None:
    other = path.with_name("other.part")
    other.write_bytes(path.read_bytes())
    other.replace(path)


ALTERED: list[tuple[Callable[[Path], None], str]] = [
    (cut, "shorter"),
    (write_in_place, "it has been written to while it was open"),
    (replace, "another file has taken its place while it was open"),
]


def started(*arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [*PROGRAM, *map(str, arguments)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env=os.environ | {"PULSEWRIGHT_THREADS": "1"},
    )  # fmt: skip


@pytest.mark.parametrize(("alter", "told"), ALTERED, ids=["cut", "written to", "replaced"])
def test_measuring_tells_what_became_of_the_file_and_prints_no_number(
    alter: Callable[[Path], None], told: str, run: Path
) -> None:
    measuring = started("measure", run, "--json", "--csv", run.parent / "tables")
    stopped = stopped_while_it_reads(measuring, run)
    alter(run)
    os.kill(stopped, signal.SIGCONT)
    printed, errors = measuring.communicate(timeout=LONGEST_WAIT)
    assert measuring.returncode == 2
    assert printed == ""
    sentence = errors.strip().splitlines()[-1]
    assert "run.h5" in sentence
    assert told in sentence
    assert "Traceback" not in errors
    assert not (run.parent / "tables").exists()


def test_a_removed_file_is_measured_to_its_end(run: Path, original: Path) -> None:
    """It is whole for whoever has it open: the numbers are those of the digest that is printed with them."""
    measuring = started("measure", run, "--json")
    stopped = stopped_while_it_reads(measuring, run)
    run.unlink()
    os.kill(stopped, signal.SIGCONT)
    printed, errors = measuring.communicate(timeout=LONGEST_WAIT)
    assert measuring.returncode == 0, errors
    run.write_bytes(original.read_bytes())
    whole = subprocess.run([*PROGRAM, "measure", str(run), "--json"], capture_output=True, text=True, check=True)
    assert printed == whole.stdout


@pytest.mark.parametrize(("alter", "told"), ALTERED, ids=["cut", "written to", "replaced"])
def test_a_campaign_stores_the_reason_and_measures_it_the_next_time(
    alter: Callable[[Path], None], told: str, run: Path, tmp_path: Path, original: Path
) -> None:
    claims, results = tmp_path / "claims.toml", tmp_path / "results.sqlite"
    shutil.copy(sample("tank_walk.h5"), run.parent)
    claims.write_text(CLAIMS)
    arguments = ("campaign", run.parent, "--claims", claims, "--to", results, "--workers", 1)
    campaign = started(*arguments)
    stopped = stopped_while_it_reads(campaign, run)
    alter(run)
    os.kill(stopped, signal.SIGCONT)
    _, errors = campaign.communicate(timeout=LONGEST_WAIT)
    assert "Traceback" not in errors
    assert campaign.returncode in (0, 1, 3), errors
    stored = rows(results)
    state, reason = stored["run.h5"]
    assert state == "failed"
    assert told in reason
    assert stored["tank_walk.h5"] == ("measured", "")
    run.write_bytes(original.read_bytes())
    again = subprocess.run([*PROGRAM, *map(str, arguments), "--json"], capture_output=True, text=True, check=False)
    assert "Traceback" not in again.stderr
    told_again = json.loads(again.stdout)
    assert (told_again["measured"], told_again["unchanged"]) == (1, 1)
    assert rows(results)["run.h5"] == ("measured", "")


def rows(results: Path) -> dict[str, tuple[str, str]]:
    base = sqlite3.connect(results)
    try:
        found = base.execute("SELECT session, state, reason FROM sessions").fetchall()
    finally:
        base.close()
    return {str(session): (str(state), str(reason or "")) for session, state, reason in found}
