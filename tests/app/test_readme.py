"""What README shows works: its Python example runs, its commands exist, its links lead somewhere."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pulsewright.claims_file import read_claims
from pulsewright_app.cli import app

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """Return the fenced blocks of one language."""
    found = re.findall(r"^```(\w*)\n(.*?)^```$", TEXT, re.DOTALL | re.MULTILINE)
    return [text for kind, text in found if kind == language]


def test_python_example_runs():
    (code,) = blocks("python")
    env = {**os.environ, "MPLBACKEND": "agg"}
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False, env=env)
    assert run.returncode == 0, run.stderr
    assert "missing after record" in run.stdout
    assert "fails     Every ping was kept" in run.stdout
    assert "H12" in run.stdout


def test_claims_example_is_a_claims_file(tmp_path):
    (text,) = blocks("toml")
    path = tmp_path / "tank.claims.toml"
    path.write_text(text, encoding="utf-8")
    claims = read_claims(path)
    assert claims.settings["channel"] == "H01"
    assert [claim.kind for claim in claims.claims] == ["increment", "no_missed_trigger"]


def test_every_kind_of_claim_stands_in_the_table():
    from pulsewright.claim_kinds import KINDS

    assert all(f"`{word}`" in TEXT for word in KINDS)


COMMANDS = [block.strip() for block in blocks("") if block.startswith("pulsewright") and "review" not in block]


@pytest.mark.parametrize("command", COMMANDS)
def test_commands_run(command, monkeypatch, tmp_path):
    # what a command writes goes where nobody looks for it
    (tmp_path / "sample_sessions").symlink_to(ROOT / "sample_sessions")
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(app, shlex.split(command)[1:])
    assert result.exit_code in (0, 1, 3), result.output  # a session may fail what is claimed of it


def test_there_are_commands_to_run():
    assert len(COMMANDS) >= 2


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#:]+)\)", TEXT):
        assert (ROOT / target).exists(), target
