"""A campaign on a scheduler and workers in processes of their own, and what happens when they go away."""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
from contextlib import suppress
from functools import partial

import pytest
from typer.testing import CliRunner

from pulsewright_app.campaign.measuring import lost
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.workers import connected, outcomes
from pulsewright_app.cli import app
from pulsewright_app.samples import sample

from .dask_processes import LONGEST_WAIT, DaskProcesses
from .stored import stored


@pytest.fixture
def runs(tmp_path):
    folder = tmp_path / "runs"
    folder.mkdir()
    for name in ("tank_walk", "tank_faults", "tank_slip"):
        shutil.copy(sample(f"{name}.h5"), folder)
    return folder


@pytest.fixture
def processes(tmp_path):
    """Starts schedulers and workers, each a process; all end with the test."""
    started = DaskProcesses(tmp_path)
    yield started
    started.end()


@pytest.fixture
def scheduler(processes):
    """A scheduler and two workers; the address and the scheduler's process."""
    address, process = processes.scheduler()
    for _ in range(2):
        processes.worker(address)
    return address, process


def campaign(*arguments):
    return CliRunner().invoke(app, ["campaign", *map(str, arguments)])


def test_a_scheduler_with_two_workers_gives_the_same_results(runs, scheduler, tmp_path):
    address, _ = scheduler
    claims = sample("tank_faults.h5").with_suffix(".claims.toml")
    here, there = tmp_path / "here.sqlite", tmp_path / "there.sqlite"
    one = campaign(runs, "--claims", claims, "--to", here, "--workers", 1)
    two = campaign(runs, "--claims", claims, "--to", there, "--cluster", address)
    assert one.exit_code == two.exit_code == 1, two.output
    with ResultsFile(here) as a, ResultsFile(there) as b:
        for table in ("sessions", "quantities", "verdicts"):
            assert a.rows(table) == b.rows(table)


def test_a_scheduler_that_goes_away_is_told(scheduler, tmp_path):
    from pulsewright.errors import PulsewrightError

    address, process = scheduler
    taken = []

    def slow(session):  # a function within another travels to the workers by its text
        time.sleep(0.2)
        return lost(session, "", "")

    with pytest.raises(PulsewrightError, match="the scheduler went away"), connected(address, None) as client:
        client.wait_for_workers(1, timeout=LONGEST_WAIT)
        given_up = partial(lost, claims_digest="", version="")
        for outcome in outcomes(client, slow, [f"{n}.h5" for n in range(200)], (), given_up):
            taken.append(outcome)
            if len(taken) == 3:
                process.kill()
    assert len(taken) >= 3


def test_a_campaign_whose_scheduler_goes_away_is_finished_by_the_next_run(runs, scheduler, tmp_path):
    address, process = scheduler
    for number in range(5):
        shutil.copy(sample("tank_walk.h5"), runs / f"more{number}.h5")
    claims = sample("tank_faults.h5").with_suffix(".claims.toml")
    whole, broken = tmp_path / "whole.sqlite", tmp_path / "broken.sqlite"
    common = [str(runs), "--claims", str(claims)]
    program = [sys.executable, "-c", "from pulsewright_app.cli import run; run()", "campaign", *common]
    left_alone = subprocess.Popen(
        [*program, "--to", str(broken), "--cluster", address], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    end = time.monotonic() + LONGEST_WAIT
    while left_alone.poll() is None and time.monotonic() < end and not stored(broken):
        time.sleep(0.01)
    process.kill()
    printed, errors = left_alone.communicate(timeout=LONGEST_WAIT)
    assert left_alone.returncode == 2, (printed, errors)
    assert "the scheduler went away" in errors
    assert "give the same command again" in errors
    assert "Traceback" not in errors
    kept = stored(broken)
    assert 1 <= kept < 8
    body = json.loads(campaign(*common, "--to", broken, "--workers", 1, "--json").stdout)
    assert (body["unchanged"], body["measured"], body["failed"]) == (kept, 8 - kept, 0)
    campaign(*common, "--to", whole, "--workers", 1)
    with ResultsFile(whole) as a, ResultsFile(broken) as b:
        for table in ("sessions", "quantities", "verdicts"):
            assert a.rows(table) == b.rows(table)


def test_a_session_that_ends_its_workers_is_given_up_and_the_others_are_done():
    def fatal(session):
        if session == "bad.h5":
            os._exit(1)
        return lost(session, "", "")

    given_up = partial(lost, claims_digest="claims", version="")
    with connected(None, 2) as client:
        found = {o.session: o for o in outcomes(client, fatal, ["a.h5", "bad.h5", "c.h5"], (), given_up)}
    assert set(found) == {"a.h5", "bad.h5", "c.h5"}
    assert found["bad.h5"].basis.claims_digest == "claims"
    assert "workers ended" in found["bad.h5"].reason


def test_local_workers_keep_the_memory_they_free_and_want_no_port_of_another_campaign(monkeypatch, recwarn):
    monkeypatch.delenv("MALLOC_TRIM_THRESHOLD_", raising=False)
    with socket.socket() as other:
        with suppress(OSError):  # another campaign may have it in earnest
            other.bind(("127.0.0.1", 8787))
            other.listen()
        with connected(None, 1) as client:
            (threshold,) = client.run(os.environ.get, "MALLOC_TRIM_THRESHOLD_").values()
            (threads,) = client.run(os.environ.get, "OMP_NUM_THREADS").values()
    assert (threshold, threads) == (None, "1")
    assert not [told for told in recwarn if "Port" in str(told.message)]
