"""`compare` and `rearm` as a person types them."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pulsewright.quantity import Quantity
from pulsewright_analysis.re_arm import ReArm
from pulsewright_app.cli import app
from pulsewright_app.printing import page
from pulsewright_app.rearm_command import print_rearm
from pulsewright_app.samples import sample

WALK, FAULTS = sample("tank_walk.h5"), sample("tank_faults.h5")


def run(*words: str | Path) -> Any:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def both() -> tuple[dict[str, Any], str]:
    call = ("compare", WALK, FAULTS, "--claims", sample("tank_faults.claims.toml"), "--swapped", "H01:H07,H02:H09")
    result, page = run(*call, "--json"), run(*call)
    assert (result.exit_code, page.exit_code) == (1, 1), result.stderr
    return json.loads(result.stdout), page.stdout


def test_what_the_recipe_changed_is_significant(both: tuple[dict[str, Any], str]) -> None:
    body, page = both
    significant = {entry["name"] for entry in body["quantities"] if entry["significant"]}
    assert {"skew H07", "noise H05"} <= significant
    assert "skew H07" in page and "significant" in page
    counts = {entry["name"]: (entry["old"], entry["new"]) for entry in body["counts"]}
    assert counts["missed triggers"] == (0, 2)


def test_claims_are_judged_before_and_after(both: tuple[dict[str, Any], str]) -> None:
    body, _ = both
    told = {entry["name"]: (entry["old"]["verdict"], entry["new"]["verdict"]) for entry in body["claims"]}
    assert told["Nothing is clipped"] == ("holds", "fails")


def test_exchanged_channels_of_two_modules_are_measured_against_each_other(both: tuple[dict[str, Any], str]) -> None:
    body, page = both
    seven, nine = body["swapped"]
    assert (seven["channels"], nine["channels"]) == (["H01", "H07"], ["H02", "H09"])
    for found in (seven, nine):
        half = (found["old"]["value"] + found["new"]["value"]) / 2
        assert found["recorder"]["value"] == pytest.approx(half, abs=1e-15)
    assert "Recorder's" in page


def test_wrong_calls_end_with_one_line() -> None:
    for words, expected in (
        (("compare", WALK, FAULTS, "--same", "cable"), "'cable' is not one of"),
        (("compare", WALK, FAULTS, "--swapped", "H01"), "is no pair of channels"),
        (("compare", WALK, FAULTS, "--swapped", "H01:H99"), "no channel H99 was measured"),
        (("rearm", WALK, FAULTS, "--periods", "50 ms"), "1 for 2 sessions"),
        (("rearm", WALK, "--periods", "0 ms"), "not above 0"),
    ):
        result = run(*words)
        assert result.exit_code == 2, result.output
        assert expected in result.stderr
        assert result.stderr.count("\n") == 1


def test_rearm_says_what_it_cannot_say() -> None:
    result = run("rearm", WALK, "--json")
    assert result.exit_code == 0, result.stderr
    body = json.loads(result.stdout)
    assert body["sessions"][0]["kept"] == "clean"
    assert body["re_arm"]["above"] is None
    assert any("no lower end" in reason for reason in body["reasons"])
    assert run("rearm", WALK).stdout.startswith("The re-arm time is at most ")


@pytest.mark.parametrize(
    ("above", "at_most", "told"),
    [
        # four digits nearest to them would be 614.4 and 638.4 µs: less than what the sessions bound
        (614.39e-6, 638.44e-6, "between 614.3 µs and 638.5 µs (95 %)"),
        (614.4e-6, 638.4e-6, "between 614.4 µs and 638.4 µs (95 %)"),
        (None, 0.99996e-3, "at most 1 ms (95 %)"),
        (-12.341e-6, None, "more than -12.35 µs (95 %)"),
    ],
)
def test_a_bound_of_the_re_arm_time_is_rounded_outward(above: float | None, at_most: float | None, told: str) -> None:
    ends = [None if end is None else Quantity(end, 0.0, "s") for end in (above, at_most)]
    stream = io.StringIO()
    print_rearm(ReArm((), *ends, ()), page(stream))
    assert told in stream.getvalue()
