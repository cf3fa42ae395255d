"""A campaign on a scheduler and workers in processes of their own, and what happens when they go away."""

import json
import os
import shutil
import signal
import socket
import time
from contextlib import suppress
from functools import partial
from importlib.metadata import version as installed

import pytest
from typer.testing import CliRunner

from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign import worker_checks
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


def test_a_scheduler_with_two_workers_gives_the_same_results_and_may_go_away(runs, scheduler, tmp_path, monkeypatch):
    address, process = scheduler
    claims = sample("tank_faults.h5").with_suffix(".claims.toml")
    here, there = tmp_path / "here.sqlite", tmp_path / "there.sqlite"
    one = campaign(runs, "--claims", claims, "--to", here, "--workers", 1)
    two = campaign(runs, "--claims", claims, "--to", there, "--cluster", address)
    assert one.exit_code == two.exit_code == 1, two.output
    with ResultsFile(here) as a, ResultsFile(there) as b:
        for table in ("sessions", "quantities", "verdicts"):
            assert a.rows(table) == b.rows(table)

    for number in range(6):
        shutil.copy(sample("tank_walk.h5"), runs / f"more{number}.h5")
    with monkeypatch.context() as patched:
        patched.setattr(ResultsFile, "store", then(ResultsFile.store, process.kill))
        broken = campaign(runs, "--claims", claims, "--to", there, "--cluster", address)
    assert broken.exit_code == 2, broken.output
    (sentence,) = broken.stderr.strip().splitlines()
    assert "the scheduler went away (the connection to it was lost)" in sentence
    assert "give the same command again" in sentence
    kept = stored(there) - 3
    assert 1 <= kept < 6
    body = json.loads(campaign(runs, "--claims", claims, "--to", there, "--workers", 1, "--json").stdout)
    assert (body["unchanged"], body["measured"], body["failed"]) == (3 + kept, 6 - kept, 0)
    with ResultsFile(there) as results:
        for table in ("quantities", "verdicts"):
            of = by_session(results.rows(table)[1])
            assert all(of[f"more{number}.h5"] == of["tank_walk.h5"] for number in range(6))


def then(store, what):
    """Return what stores an outcome and does something more."""

    def store_and(results, outcome):
        store(results, outcome)
        what()

    return store_and


def by_session(rows):
    """Return the rows of each session, without its name."""
    return {name: [row[1:] for row in rows if row[0] == name] for name in {row[0] for row in rows}}


def test_a_scheduler_that_goes_away_is_told(scheduler, tmp_path):
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


def test_local_workers_keep_their_memory_pass_over_ctrl_c_and_want_no_port_of_others(monkeypatch, recwarn):
    monkeypatch.delenv("MALLOC_TRIM_THRESHOLD_", raising=False)
    with socket.socket() as other:
        with suppress(OSError):  # another campaign may have it in earnest
            other.bind(("127.0.0.1", 8787))
            other.listen()
        with connected(None, 1) as client:
            (threshold,) = client.run(os.environ.get, "MALLOC_TRIM_THRESHOLD_").values()
            (threads,) = client.run(os.environ.get, "OMP_NUM_THREADS").values()
            (ctrl_c,) = client.run(lambda: signal.getsignal(signal.SIGINT)).values()
    assert (threshold, threads, ctrl_c) == (None, "1", signal.SIG_IGN)
    assert not [told for told in recwarn if "Port" in str(told.message)]


def test_another_version_of_the_program_measures_nothing(monkeypatch):
    """Its results would be stored as this one's."""
    told = []
    monkeypatch.setattr(worker_checks, "installed", lambda _: "99.1")
    with connected(None, 1) as client:
        for check in (worker_checks.check_scheduler, lambda client: worker_checks.Workers(client).threads()):
            with pytest.raises(PulsewrightError) as refused:
                check(client)
            told.append(refused.value.sentence)
    own = installed("pulsewright")
    for who, sentence in zip(("the scheduler tcp://", "the worker tcp://"), told, strict=True):
        assert sentence.startswith(who)
        assert f"has pulsewright {own}, and this is 99.1; install pulsewright 99.1 in its environment" in sentence
