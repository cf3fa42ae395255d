"""The commands as processes of their own: what they import, where their output goes, and life with no display."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from pulsewright_app.cli import INPUT_IS_WRONG, READER_LEFT
from pulsewright_app.display import explain
from pulsewright_app.samples import sample

RUN = "from pulsewright_app.cli import run; run()"

WATCHED = """
import socket, sys
def refuse(*_):
    raise AssertionError("a connection was tried")
socket.socket.connect = socket.getaddrinfo = refuse
from pulsewright_app.cli import run
try:
    run()
finally:
    print(*sorted(sys.modules), sep="\\n", file=sys.stderr)
"""

PLAN = ("plan", "--sample-rate", "25 MS/s", "--trigger-period", "1.024 ms", "--json")


def surroundings(**more: str) -> dict[str, str]:
    """Return this process's environment without a display, and with what is given."""
    hidden = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    return {name: value for name, value in os.environ.items() if name not in hidden} | more


def process(*words: str | Path, code: str = RUN, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)],
        env=surroundings(**more),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.fixture(scope="module")
def faults_json() -> str:
    result = process("measure", sample("tank_faults.h5"), "--json")
    assert result.returncode == 1, result.stderr  # what is claimed of it fails
    assert result.stderr == ""
    return result.stdout


@pytest.mark.parametrize(
    "words",
    [PLAN, ("describe", sample("tank_walk.h5")), ("measure", sample("tank_walk.h5")), ("demo", "--headless")],
)
def test_commands_without_a_window_import_no_qt_and_open_no_connection(words: tuple[str | Path, ...]) -> None:
    result = process(*words, code=WATCHED)
    assert result.returncode == 0, result.stderr
    loaded = {name.split(".")[0] for name in result.stderr.splitlines()}
    assert "pulsewright_app" in loaded
    assert not loaded & {"PySide6", "shiboken6", "pyqtgraph", "matplotlib"}


def test_the_evidence_sheet_needs_no_qt_and_no_connection(tmp_path: Path) -> None:
    for name in ("sheet.html", "sheet.pdf"):
        result = process("evidence", sample("tank_walk.h5"), "--to", tmp_path / name, code=WATCHED)
        assert result.returncode == 0, result.stderr
        loaded = {module.split(".")[0] for module in result.stderr.splitlines()}
        assert "matplotlib" in loaded
        assert not loaded & {"PySide6", "shiboken6", "pyqtgraph"}


def test_help_imports_nothing_heavy() -> None:
    result = process("--help", code=WATCHED)
    assert result.returncode == 0
    loaded = {name.split(".")[0] for name in result.stderr.splitlines()}
    assert "typer" in loaded
    assert not loaded & {
        "h5py",
        "scipy",
        "numba",
        "pydantic",
        "rich",
        "quantiphy",
        "PySide6",
        "matplotlib",
        "typst",
        "jinja2",
    }


def test_standard_output_is_only_json(faults_json: str) -> None:
    assert json.loads(faults_json)["schema"] == "pulsewright-findings/1"
    assert "NaN" not in faults_json
    assert json.loads(process(*PLAN).stdout)["longest_record_samples"] == 25_600


def test_a_reader_that_leaves_early_is_no_fault() -> None:
    for form in ("--json", "--records=0:36"):
        with subprocess.Popen(
            [sys.executable, "-c", RUN, "measure", str(sample("tank_walk.h5")), form],
            env=surroundings(),
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        ) as running:
            assert running.stdout is not None and running.stderr is not None
            running.stdout.close()
            said = running.stderr.read()
            assert running.wait(timeout=120) == READER_LEFT
        assert said == b""


def test_a_wrong_file_ends_with_one_line_and_exit_code_2(tmp_path: Path) -> None:
    result = process("measure", tmp_path / "nowhere.h5", "--json")
    assert result.returncode == INPUT_IS_WRONG
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1


def test_colours_stay_out_of_what_is_no_terminal() -> None:
    assert "\x1b" not in process("describe", sample("tank_walk.h5")).stdout


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells by its environment")
def test_the_demo_goes_on_with_no_display(tmp_path: Path, faults_json: str) -> None:
    result = process("demo", "--out", tmp_path / "findings")
    assert result.returncode == 0
    first_line = result.stderr.splitlines()[0]
    assert "no display" in first_line and "without a window" in first_line
    assert "2 triggers missing" in result.stdout
    assert (tmp_path / "findings" / "findings.txt").read_text("utf-8").split() == result.stdout.split()
    assert json.loads((tmp_path / "findings" / "findings.json").read_text("utf-8")) == json.loads(faults_json)


def test_the_demo_does_not_wait_for_somebody_before_a_window_nobody_can_see() -> None:
    result = process("demo", QT_QPA_PLATFORM="offscreen")
    assert result.returncode == 0
    assert "QT_QPA_PLATFORM=offscreen" in result.stderr
    assert "triggers missing" in result.stdout


def test_findings_that_cannot_be_written_are_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    result = process("demo", "--headless", "--out", tmp_path / "file" / "folder")
    assert result.returncode == INPUT_IS_WRONG
    assert "cannot be written" in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells by its environment")
def test_review_with_no_display_names_the_command_that_needs_none() -> None:
    result = process("review", sample("tank_walk.h5"))
    assert result.returncode == INPUT_IS_WRONG
    assert result.stderr.count("\n") == 1
    assert "no display" in result.stderr
    assert "pulsewright measure" in result.stderr


def broken_qt(folder: Path, complaint: str) -> str:
    """Return a folder whose PySide6 cannot be imported, as on a machine that lacks a system library."""
    package = folder / "PySide6"
    package.mkdir()
    (package / "__init__.py").write_text(f"raise ImportError({complaint!r})\n")
    return str(folder)


MISSING_EGL = "libEGL.so.1: cannot open shared object file: No such file or directory"


def test_review_without_display_libraries_says_what_to_install(tmp_path: Path) -> None:
    where = broken_qt(tmp_path, MISSING_EGL)
    result = process("review", DISPLAY=":7", PYTHONPATH=where)
    assert result.returncode == INPUT_IS_WRONG
    assert result.stderr.count("\n") == 1
    assert "libEGL.so.1 is missing" in result.stderr
    assert "libegl1" in result.stderr
    assert "pulsewright measure" in result.stderr


def test_the_demo_goes_on_without_display_libraries(tmp_path: Path) -> None:
    result = process("demo", DISPLAY=":7", PYTHONPATH=broken_qt(tmp_path, MISSING_EGL))
    assert result.returncode == 0
    assert "libEGL.so.1 is missing" in result.stderr
    assert "triggers missing" in result.stdout


def test_a_display_that_does_not_exist_ends_review_in_words() -> None:
    # Qt aborts its process where it finds no display; that must not be ours
    result = process("review", DISPLAY=":99", QT_QPA_PLATFORM="xcb")
    assert result.returncode == INPUT_IS_WRONG
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("complaint", "cause"),
    [
        (f"ImportError: {MISSING_EGL}", "libEGL.so.1 is missing"),
        ("ModuleNotFoundError: No module named 'PySide6'", "PySide6 is not installed"),
        ("qt.qpa.xcb: could not connect to display :99", "the display :99 does not answer"),
        ("Could not load the Qt platform plugin", "Qt cannot start on this display"),
    ],
)
def test_what_qt_says_becomes_a_sentence(complaint: str, cause: str) -> None:
    assert cause in explain(complaint).sentence
