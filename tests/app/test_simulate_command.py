"""The simulate command: a session and its truth, which a measurement of the session finds again."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pulsewright.digest import sha256_of
from pulsewright_app.cli import app

PRACTICE = Path(__file__).resolve().parents[2] / "sample_sessions" / "practice.recipe.toml"


def run(*words: str | Path) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, [str(word) for word in words])
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("practice") / "practice.h5"
    code, out, err = run("simulate", PRACTICE, "--to", path)
    assert (code, err) == (0, "")
    assert "33; 2 missed by all modules" in out
    assert "M3 from record 18" in out
    return path


def test_the_recipe_of_the_example_in_the_help_is_there() -> None:
    _, out, _ = run("simulate", "--help")
    recipe = out.split("Example: pulsewright simulate ")[1].split()[0]
    assert (PRACTICE.parents[1] / recipe).is_file()


def test_measuring_finds_the_truth(practice: Path) -> None:
    truth = json.loads(practice.with_suffix(".truth.json").read_text(encoding="utf-8"))
    assert truth["session"]["sha256"] == sha256_of(practice)
    spans = ("--span", "50 us .. 200 us", "--alignment-span", "10 us .. 20 us", "--channel", "H01")
    code, out, _ = run("measure", practice, "--json", "--reference", "H01", *spans)
    assert code == 0
    found = json.loads(out)
    sequence, (_, echo) = found["sequence"], truth["pulses"]
    assert agrees(sequence["increment"], echo["increment_s"])
    assert sequence["cycle"] == echo["cycle"]
    assert sequence["alternates"]
    gaps = [(gap["after_record"], gap["count"]) for gap in sequence["missed"]]
    assert gaps == [(truth["triggers"]["missed"][0]["after_record"], len(truth["triggers"]["missed"]))]
    slips = [(slip["module"], slip["from_record"], slip["by"]) for slip in sequence["slips"]]
    assert slips == [(slip["module"], slip["from_record"], slip["by"]) for slip in truth["triggers"]["slips"]]
    assert agrees(found["timing"]["trigger_period"], mean_period(truth))
    for entry, true in zip(found["alignment"]["channels"], truth["channels"], strict=True):
        assert agrees(entry["skew"], true["skew_s"] - truth["channels"][0]["skew_s"]), true["name"]
    for entry, true in zip(found["health"], truth["channels"], strict=True):
        assert entry["clipped_samples"] == true["clipped_samples"]
        if true["name"] != "H06":  # its sine is no noise
            assert entry["noise_rms"]["value"] == pytest.approx(true["noise_rms"], rel=0.02)


def agrees(found: dict[str, Any], true: float) -> bool:
    """Say whether a value lies within four of its standard uncertainties: by chance one in 16,000 does not."""
    return abs(found["value"] - true) <= 4 * found["u"]


def mean_period(truth: dict[str, Any]) -> float:
    times, numbers = truth["triggers"]["time_s"]["M1"], truth["triggers"]["number"]["M1"]
    return (times[-1] - times[0]) / (numbers[-1] - numbers[0])


def test_the_same_recipe_gives_the_same_files(practice: Path, tmp_path: Path) -> None:
    assert run("simulate", PRACTICE, "--to", tmp_path / "practice.h5")[0] == 0
    for name in ("practice.h5", "practice.truth.json"):
        assert (tmp_path / name).read_bytes() == practice.with_name(name).read_bytes()


def test_neither_file_is_written_over(practice: Path, tmp_path: Path) -> None:
    code, _, err = run("simulate", PRACTICE, "--to", practice)
    assert code == 2
    assert "practice.h5: there is a file of that name" in err
    (tmp_path / "new.truth.json").write_text("mine")
    code, _, err = run("simulate", PRACTICE, "--to", tmp_path / "new.h5")
    assert code == 2
    assert "new.truth.json: there is a file of that name" in err
    assert [path.name for path in tmp_path.iterdir()] == ["new.truth.json"]


def test_a_wrong_recipe_is_one_line(tmp_path: Path) -> None:
    recipe = tmp_path / "tank.recipe.toml"
    shutil.copy(PRACTICE, recipe)
    text = recipe.read_text(encoding="utf-8")
    for changed, words in (
        (text.replace('jitter = "1 us" ', 'jitter = "9 ms" '), "tank.recipe.toml: trigger: its jitter or drift lets"),
        (text.replace("clock_ppm = 20", "clock_ppm = fast"), "tank.recipe.toml, line 37: is not TOML"),
        (text.replace("records = 30 ", "records = 9999999 ").replace("= 1200", "= 99999999"), "has room for"),
    ):
        recipe.write_text(changed, encoding="utf-8")
        code, out, err = run("simulate", recipe, "--to", tmp_path / "tank.h5")
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert words in err
    assert [path.name for path in tmp_path.iterdir()] == ["tank.recipe.toml"]
