"""The commands as a shell runs them: what they import, where their output goes, and life with no display."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pulsewright_app.cli import INPUT_IS_WRONG, READER_LEFT, app
from pulsewright_app.display import explain
from pulsewright_app.samples import sample

RUN = "from pulsewright_app.cli import run; run()"

WATCHED = """
import json, socket, sys
def refuse(*_):
    raise AssertionError("a connection was tried")
socket.socket.connect = socket.getaddrinfo = refuse
from pulsewright_app.cli import app
for words in json.loads(sys.argv[1]):
    code = app(words, standalone_mode=False)
    print(json.dumps([code, sorted({name.split(".")[0] for name in sys.modules})]), file=sys.stderr)
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


def loaded_after(*commands: Sequence[str | Path]) -> list[set[str]]:
    """Run commands in one process without a network, and return what is loaded after each of them."""
    result = process(json.dumps([[str(word) for word in words] for words in commands]), code=WATCHED)
    told = [json.loads(line) for line in result.stderr.splitlines()]
    assert [code for code, _ in told] == [0] * len(commands), result.stderr
    return [set(names) for _, names in told]


def test_commands_without_a_window_import_no_qt_and_open_no_connection(tmp_path: Path) -> None:
    walk = sample("tank_walk.h5")
    sheets = [("evidence", walk, "--to", tmp_path / name) for name in ("sheet.html", "sheet.pdf")]
    *others, html, pdf = loaded_after(PLAN, ("describe", walk), ("measure", walk), ("demo", "--headless"), *sheets)
    for loaded in (*others, html, pdf):
        assert "pulsewright_app" in loaded
        assert not loaded & {"PySide6", "shiboken6", "pyqtgraph"}
    assert all("matplotlib" not in loaded for loaded in others) and "matplotlib" in html


def test_help_imports_nothing_heavy() -> None:
    (loaded,) = loaded_after(["--help"])
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
    for words in (("measure", "--json"), ("describe",)):  # lines of JSON, and a page
        with subprocess.Popen(
            [sys.executable, "-c", RUN, *words, str(sample("tank_walk.h5"))],
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


def test_the_demo_does_not_wait_for_somebody_before_a_window_nobody_can_see(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    result = CliRunner().invoke(app, ["demo"])
    assert result.exit_code == 0
    assert "QT_QPA_PLATFORM=offscreen" in result.stderr
    assert "triggers missing" in result.stdout


def test_findings_that_cannot_be_written_are_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    result = CliRunner().invoke(app, ["demo", "--headless", "--out", str(tmp_path / "file" / "folder")])
    assert result.exit_code == INPUT_IS_WRONG
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


@pytest.fixture
def without_egl(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A display, but no Qt for the process that is started to look for it."""
    monkeypatch.delenv("QT_QPA_PLATFORM", raising=False)
    monkeypatch.setenv("DISPLAY", ":7")
    monkeypatch.setenv("PYTHONPATH", broken_qt(tmp_path, MISSING_EGL))


@pytest.mark.usefixtures("without_egl")
def test_review_without_display_libraries_says_what_to_install() -> None:
    result = CliRunner().invoke(app, ["review"])
    assert result.exit_code == INPUT_IS_WRONG
    assert result.stderr.count("\n") == 1
    assert "libEGL.so.1 is missing" in result.stderr
    assert "libegl1" in result.stderr
    assert "pulsewright measure" in result.stderr


@pytest.mark.usefixtures("without_egl")
def test_the_demo_goes_on_without_display_libraries() -> None:
    result = CliRunner().invoke(app, ["demo"])
    assert result.exit_code == 0
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
