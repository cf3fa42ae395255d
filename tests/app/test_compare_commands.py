"""`compare` and `rearm` as a person types them."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from pulsewright.quantity import Quantity
from pulsewright.settings import layered
from pulsewright_analysis.findings import measure
from pulsewright_analysis.re_arm import ReArm
from pulsewright_analysis.swapping import skew_of
from pulsewright_app.cli import app
from pulsewright_app.inputs import Input, open_with_settings
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
    assert "Skew of H07 against H01" in page and "significant" in page
    for narrow in (80, 100):  # a terminal's usual width, and the page's
        lines = CliRunner().invoke(app, ["compare", str(WALK), str(FAULTS)], env={"COLUMNS": str(narrow)}).stdout
        marked = [line for line in lines.splitlines() if line.rstrip().endswith(" significant")]
        assert len(marked) == len(significant), f"cut at {narrow} letters"
    counts = {entry["name"]: (entry["old"], entry["new"]) for entry in body["counts"]}
    assert counts["missed triggers"] == (0, 2)


def test_claims_are_judged_before_and_after(both: tuple[dict[str, Any], str]) -> None:
    body, page = both
    told = {entry["name"]: (entry["old"]["verdict"], entry["new"]["verdict"]) for entry in body["claims"]}
    assert told["Nothing is clipped"] == ("holds", "fails")
    lines = page.splitlines()
    clipped = next(number for number, line in enumerate(lines) if line.startswith("Nothing is clipped"))
    assert lines[clipped].split()[3:] == ["holds", "fails", "changed"]
    assert lines[clipped + 1].strip() == "after: H02 6 samples in record 14"
    quiet = next(number for number, line in enumerate(lines) if line.startswith("The modules hold the same pings"))
    assert not lines[quiet + 1].startswith(" "), "what was seen of a claim that holds"


def test_exchanged_channels_of_two_modules_are_measured_against_each_other(both: tuple[dict[str, Any], str]) -> None:
    body, page = both
    seven, nine = body["swapped"]
    assert (seven["channels"], nine["channels"]) == (["H01", "H07"], ["H02", "H09"])
    for found in (seven, nine):
        half = (found["old"]["value"] + found["new"]["value"]) / 2
        assert found["recorder"]["value"] == pytest.approx(half, abs=1e-15)
    assert "Recorder's" in page


def test_wrong_calls_end_with_one_line_before_anything_is_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    def measured_after_all(*_: object) -> None:
        raise AssertionError("it was measured first")

    monkeypatch.setattr(Input, "assess", measured_after_all)
    for words, expected in (
        (("compare", WALK, FAULTS, "--same", "cable"), "'cable' is not one of"),
        (("compare", WALK, FAULTS, "--swapped", "H01"), "is no pair of channels"),
        (("compare", WALK, FAULTS, "--swapped", "H01:H99"), "no channel H99 is measured"),
        (("rearm", WALK, FAULTS, "--periods", "50 ms"), "1 for 2 sessions"),
        (("rearm", WALK, "--periods", "0 ms"), "not above 0"),
    ):
        result = run(*words)
        assert result.exit_code == 2, result.output
        assert expected in result.stderr
        assert result.stderr.count("\n") == 1


@pytest.mark.parametrize(("name", "share"), [("tank_sine.h5", 1e-6), ("tank_faults.h5", 0.2)])
def test_a_skew_against_another_channel_is_that_of_measuring_against_it(name: str, share: float) -> None:
    """From phases it is the same; two correlations add up to the third but for what interpolating leaves of u."""
    with open_with_settings(sample(name)).session as session:
        settings = layered(claims={"span": "190 us .. 330 us"} if "faults" in name else {})
        found = measure(session, settings)
        against = measure(session, replace(settings, reference="H07"))
    for entry in against.alignment.channels:
        channel = against.channel_name(entry.channel)
        if channel == "H07":
            continue
        skew = skew_of("H07", channel, found)
        assert entry.skew is not None
        assert skew.value == pytest.approx(entry.skew.value, abs=share * entry.skew.u)
        assert skew.u == pytest.approx(entry.skew.u, rel=0.02)
        assert skew_of(channel, "H07", found).value == pytest.approx(-skew.value)


def test_of_a_sine_the_skew_nearest_to_zero_is_told() -> None:
    with open_with_settings(sample("tank_sine.h5")).session as session:
        found = measure(session, layered())
    frequency = found.alignment.frequency
    assert frequency is not None
    skew = skew_of("H02", "H05", found)
    turned = [replace(p, skew=replace(p.skew, value=p.skew.value + 1 / frequency.value)) for p in found.alignment.pairs]
    again = skew_of("H02", "H05", replace(found, alignment=replace(found.alignment, pairs=tuple(turned))))
    assert again.value == pytest.approx(skew.value, abs=1e-15)


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
        (-12.341e-6, None, "more than −12.35 µs (95 %)"),
    ],
)
def test_a_bound_of_the_re_arm_time_is_rounded_outward(above: float | None, at_most: float | None, told: str) -> None:
    ends = [None if end is None else Quantity(end, 0.0, "s") for end in (above, at_most)]
    stream = io.StringIO()
    print_rearm(ReArm((), *ends, ()), page(stream))
    assert told in stream.getvalue()
