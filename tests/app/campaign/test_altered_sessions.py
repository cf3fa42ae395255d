"""Sessions that are cut, replaced or written to while a campaign's worker measures them."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.cli import app
from pulsewright_app.samples import sample

from ..altering import CUT, REPLACED, WRITTEN, cut, replace, write_in_place

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="whether a process has stopped is told by Linux alone"
)

LONGEST_WAIT = 120.0
PROGRAM = [sys.executable, "-c", "from pulsewright_app.cli import run; run()"]
ALTERED: dict[str, tuple[Callable[[Path], None], str]] = {
    "cut.h5": (cut, CUT),
    "replaced.h5": (replace, REPLACED),
    "written.h5": (write_in_place, WRITTEN),
}
STOPPING = """
import os, signal
from pathlib import Path
from pulsewright import file_blocks

read, calls = file_blocks._POSITIONED_READ, {}

def stopping(number, *more):
    name = Path(os.readlink(f"/proc/self/fd/{number}")).name
    calls[name] = calls.get(name, 0) + 1
    if calls[name] == 9 and name in os.environ["STOP_AT"].split():
        Path(os.environ["STOPPED"], name).write_text(str(os.getpid()))
        os.kill(os.getpid(), signal.SIGSTOP)
    return read(number, *more)

file_blocks._POSITIONED_READ = stopping
"""
"""What every Python process of the campaign runs first: it stops at the ninth read of certain files."""


def has_stopped(process: int) -> bool:
    return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] == "T"


def alter_when_stopped(
    path: Path, notice: Path, alter: Callable[[Path], None], campaign: subprocess.Popen[str]
) -> None:
    """Wait until the worker that reads a file has stopped, alter the file, and let the worker go on."""
    end = time.monotonic() + LONGEST_WAIT
    while not (notice.exists() and notice.read_text() and has_stopped(int(notice.read_text()))):
        assert time.monotonic() < end and campaign.poll() is None, f"it never came to {path.name}"
        time.sleep(0.005)
    alter(path)
    os.kill(int(notice.read_text()), signal.SIGCONT)


def test_each_reason_is_stored_and_the_next_run_measures_them(tmp_path: Path) -> None:
    runs, notices, early = (tmp_path / name for name in ("runs", "notices", "early"))
    for folder in (runs, notices, early):
        folder.mkdir()
    (early / "sitecustomize.py").write_text(STOPPING)
    for name in ("as_it_was.h5", *ALTERED):
        shutil.copy(sample("tank_walk.h5"), runs / name)
    claims, results = tmp_path / "claims.toml", tmp_path / "results.sqlite"
    shutil.copy(sample("tank_walk.h5").with_suffix(".claims.toml"), claims)
    given = ["campaign", str(runs), "--claims", str(claims), "--to", str(results), "--workers", "1"]
    path = os.pathsep.join(filter(None, (str(early), os.environ.get("PYTHONPATH"))))
    stopping = {"PYTHONPATH": path, "STOP_AT": " ".join(ALTERED), "STOPPED": str(notices)}
    campaign = subprocess.Popen(
        [*PROGRAM, *given], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ | stopping
    )
    for name, (alter, _) in ALTERED.items():
        alter_when_stopped(runs / name, notices / name, alter, campaign)
    _, errors = campaign.communicate(timeout=LONGEST_WAIT)
    assert "Traceback" not in errors
    assert campaign.returncode in (0, 1, 3), errors
    stored = rows(results)
    assert stored.pop("as_it_was.h5") == ("measured", "")
    for name, (_, told) in ALTERED.items():
        state, reason = stored[name]
        assert state == "failed"
        assert reason.startswith(name) and told in reason
        shutil.copy(sample("tank_walk.h5"), runs / name)
    body = json.loads(CliRunner().invoke(app, [*given, "--json"]).stdout)
    assert (body["measured"], body["unchanged"]) == (len(ALTERED), 1)
    assert set(rows(results).values()) == {("measured", "")}


def rows(path: Path) -> dict[str, tuple[str, str]]:
    """State and reason of each session."""
    with ResultsFile(path) as results:
        columns, found = results.rows("sessions")
    places = [columns.index(name) for name in ("session", "state", "reason")]
    return {row[places[0]]: (row[places[1]], row[places[2]]) for row in found}
