"""Every command that reads a file to its end tells in one sentence what became of it meanwhile, and writes nothing."""

from __future__ import annotations

import importlib
import itertools
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright.session import Channel
from pulsewright.store import write_session
from pulsewright_app.cli import app
from pulsewright_app.samples import sample

from .altering import CUT, REPLACED, WRITTEN, cut, replace, write_in_place
from .stopped_process import gone_on, stopped

no_stopping = pytest.mark.skipif(not hasattr(os, "waitid"), reason="this system cannot stop a process and tell of it")

READS = "pulsewright.file_blocks:_POSITIONED_READ"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A session, another one, and a capture of one record."""
    for name in ("tank_walk", "tank_slip"):
        shutil.copy(sample(f"{name}.h5"), tmp_path)
    time = np.arange(40_000)
    samples = np.round(1000 * np.sin(2 * np.pi * time / 2000)).astype(np.int16)
    write_session(tmp_path / "capture.h5", samples[None, None], [Channel("H01", "M1", scale=1e-3)], 1e6, 0)
    return tmp_path


WALK, SPLIT = "tank_walk.h5", ("--channel", "H01", "--level", "0.1 V", "--before", "0.1 ms", "--after", "0.5 ms")
FIGURES = "pulsewright_app.evidence.building:claim_parts:1"
MEASURE = ("measure", WALK, "--json", "--csv", "tables")
CASES: list[tuple[str, tuple[str, ...], str, Callable[[Path], None], str]] = [
    (f"{READS}:1", ("describe", WALK), WALK, cut, CUT),
    (f"{READS}:1", ("describe", WALK), WALK, write_in_place, WRITTEN),
    ("pulsewright_app.survey:sha256_of:1", ("describe", WALK), WALK, replace, REPLACED),
    ("pulsewright_app.describe_command:session_rows:1", ("describe", WALK), WALK, Path.unlink, "No such file"),
    (f"{READS}:2", ("split", "capture.h5", *SPLIT, "--to", "made.h5"), "capture.h5", cut, CUT),
    (f"{READS}:2", ("split", "capture.h5", *SPLIT, "--to", "made.h5"), "capture.h5", write_in_place, WRITTEN),
    (f"{READS}:1", ("convert", WALK, "--to", "made.npz"), WALK, write_in_place, WRITTEN),
    (f"{READS}:9", MEASURE, WALK, cut, CUT),
    (f"{READS}:9", MEASURE, WALK, write_in_place, WRITTEN),
    (f"{READS}:9", MEASURE, WALK, replace, REPLACED),
    (f"{READS}:9", ("records", WALK, "--csv"), WALK, replace, REPLACED),
    (f"{READS}:9", ("compare", WALK, "tank_slip.h5", "--to", "made.html"), "tank_slip.h5", write_in_place, WRITTEN),
    (FIGURES, ("evidence", WALK, "--to", "made.html", "--json", "made.json"), WALK, write_in_place, WRITTEN),
]


def complaint(code: int, printed: str, errors: str) -> str:
    """Return the one line that a command ended with, which wrote nothing on its output."""
    assert (code, printed) == (2, ""), errors
    (sentence,) = errors.strip().splitlines()
    return sentence


def whole_files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.iterdir() if not path.name.endswith(".part"))


@pytest.mark.parametrize(("call", "command", "name", "alter", "told"), CASES)
def test_it_is_told_and_nothing_is_written(
    call: str, command: tuple[str, ...], name: str, alter: Callable[[Path], None], told: str, folder: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(folder)
    monkeypatch.setenv("PULSEWRIGHT_THREADS", "1")
    module, function, number = call.split(":")
    place, calls, before = importlib.import_module(module), itertools.count(1), list[list[Path]]()
    called = getattr(place, function)

    def altering(*positional: object, **named: object) -> object:
        if next(calls) == int(number):
            alter(folder / name)
            before.append(whole_files(folder))
        return called(*positional, **named)

    monkeypatch.setattr(place, function, altering)
    run = CliRunner().invoke(app, list(command))
    sentence = complaint(run.exit_code, run.stdout, run.stderr)
    assert sentence.startswith(f"pulsewright: {name}: ")
    assert told in sentence
    assert before == [whole_files(folder)]


@no_stopping
def test_a_process_ends_in_the_same_way(folder: Path) -> None:
    process = stopped(f"{READS}:1", "describe", folder / WALK)
    write_in_place(folder / WALK)
    sentence = complaint(*gone_on(process))
    assert sentence.startswith(f"pulsewright: {WALK}: ") and WRITTEN in sentence


@no_stopping
def test_a_removed_file_is_measured_to_its_end(folder: Path) -> None:
    """It is whole for whoever has it open: the numbers are those of the digest that is printed with them."""
    process = stopped(f"{READS}:9", "measure", folder / WALK, "--json")
    (folder / WALK).unlink()
    code, printed, errors = gone_on(process)
    assert code == 0, errors
    shutil.copy(sample(WALK), folder)
    whole = CliRunner().invoke(app, ["measure", str(folder / WALK), "--json"])
    assert printed == whole.stdout
