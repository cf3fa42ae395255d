"""A campaign on a cluster that has no workers, loses them, or has some without this program: told, and resumable."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

from pulsewright_app.campaign import worker_checks
from pulsewright_app.campaign.outcome import Outcome
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.cli import app
from pulsewright_app.samples import sample

from .dask_processes import LONGEST_WAIT, DaskProcesses
from .stored import stored

SESSIONS = 5


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[DaskProcesses]:
    started = DaskProcesses(tmp_path)
    yield started
    started.end()


@pytest.fixture
def command(tmp_path: Path) -> list[str]:
    """A campaign of some sessions."""
    runs = tmp_path / "runs"
    runs.mkdir()
    for number in range(SESSIONS):
        shutil.copy(sample("tank_walk.h5"), runs / f"{number}.h5")
    claims = sample("tank_faults.h5").with_suffix(".claims.toml")
    return ["campaign", str(runs), "--claims", str(claims)]


def run(*command: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in command])


def sentence_of(result: Result) -> str:
    """The one line that a command which could not go on wrote."""
    assert result.exit_code == 2, result.output
    (line,) = result.stderr.strip().splitlines()
    return str(line)


def test_workers_that_lack_the_program_never_come_or_all_end(
    command: list[str], processes: DaskProcesses, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One scheduler, and what may become of its workers one after another."""
    monkeypatch.setattr(worker_checks, "ALONE_S", 0.3)
    results = tmp_path / "results.sqlite"
    address, _ = processes.scheduler()
    given = (*command, "--to", results, "--cluster", address)

    told = sentence_of(run(*given))
    assert f"{address}: the scheduler has had no worker for" in told
    assert f"dask worker {address}" in told
    assert stored(results) == 0

    monkeypatch.setattr(worker_checks, "ALONE_S", LONGEST_WAIT)
    bare = processes.worker(address, bare=True)
    told = sentence_of(run(*given))
    assert "the worker tcp://127.0.0.1:" in told
    assert "does not have pulsewright in its environment; install pulsewright" in told
    assert stored(results) == 0
    bare.kill()
    bare.wait()

    monkeypatch.setattr(worker_checks, "ALONE_S", 60.0)
    worker = processes.worker(address)
    with monkeypatch.context() as patched:
        patched.setattr(ResultsFile, "store", ending(worker, monkeypatch))
        told = sentence_of(run(*given))
    assert "the scheduler has had no worker for" in told
    assert "what was done is stored" in told
    kept = stored(results)
    assert 1 <= kept < SESSIONS

    body = json.loads(run(*command, "--to", results, "--workers", 1, "--json").stdout)
    assert (body["unchanged"], body["measured"], body["failed"]) == (kept, SESSIONS - kept, 0)


def ending(worker: subprocess.Popen[bytes], monkeypatch: pytest.MonkeyPatch) -> Callable[[ResultsFile, Outcome], None]:
    """Return what stores an outcome, and ends the worker after the first one."""
    store = ResultsFile.store

    def store_and_end(results: ResultsFile, outcome: Outcome) -> None:
        store(results, outcome)
        worker.kill()
        monkeypatch.setattr(worker_checks, "ALONE_S", 0.3)

    return store_and_end


def test_a_scheduler_without_the_program_is_told(command: list[str], processes: DaskProcesses, tmp_path: Path) -> None:
    address, _ = processes.scheduler(bare=True)
    told = sentence_of(run(*command, "--to", tmp_path / "results.sqlite", "--cluster", address))
    assert f"the scheduler {address} does not have pulsewright in its environment" in told


def test_a_scheduler_that_hangs_is_told(
    command: list[str], processes: DaskProcesses, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    address, scheduler = processes.scheduler()
    monkeypatch.setattr(worker_checks, "ANSWER_S", 0.5)
    looked = worker_checks.Workers.threads

    def hanging(workers: worker_checks.Workers) -> int:
        scheduler.send_signal(signal.SIGSTOP)
        return looked(workers)

    monkeypatch.setattr(worker_checks.Workers, "threads", hanging)
    told = sentence_of(run(*command, "--to", tmp_path / "results.sqlite", "--cluster", address))
    assert "the scheduler went away (it has not answered for" in told
    assert "give the same command again" in told
