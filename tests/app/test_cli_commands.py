"""The commands as a person types them: what they print, and the exit code."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typer
from typer.testing import CliRunner, Result

from pulsewright.session import Channel
from pulsewright.store import write_session
from pulsewright_app.cli import INTERRUPTED, OWN_FAULT, app
from pulsewright_app.samples import sample, samples_folder


def pulsewright(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words], env={"NO_COLOR": "1", "COLUMNS": "120"})


def found(*words: str | Path) -> Any:
    result = pulsewright(*words)
    assert result.exit_code in (0, 1, 3), result.stderr  # 1 and 3: a claim fails, or is undecided
    return json.loads(result.stdout)


def copied(name: str, folder: Path) -> Path:
    """Return a copy of a sample session with its claims file."""
    for path in (sample(f"{name}.h5"), samples_folder() / f"{name}.claims.toml"):
        shutil.copy(path, folder)
    return folder / f"{name}.h5"


COMMANDS = typer.main.get_group(app).commands
"""Every command that the program has."""


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(command: str, monkeypatch: Any, tmp_path: Path) -> None:
    result = pulsewright(command, "--help")
    assert result.exit_code == 0
    assert f"Example: pulsewright {command}" in result.stdout
    example = (COMMANDS[command].help or "").partition("Example: pulsewright ")[2].partition("\n\n")[0]
    # the command takes these words as they stand, whether the files that they name exist or not
    monkeypatch.chdir(tmp_path)
    COMMANDS[command].make_context(command, shlex.split(example)[1:])


@pytest.mark.parametrize("command", COMMANDS)
def test_no_option_is_broken_in_the_help_at_any_width(command: str) -> None:
    """All options and endings of file names that are written there are those of the widest help."""

    def typed(columns: int) -> set[str]:
        result = CliRunner().invoke(app, [command, "--help"], terminal_width=columns)
        assert result.exit_code == 0
        return set(re.findall(r"(?<!\S)--?[a-z][\w-]*|(?<!\S)\.[a-z][\w-]*", result.stdout))

    whole = typed(120)
    for columns in range(50, 100, 3):
        assert typed(columns) == whole


def test_without_a_command_the_help_is_shown() -> None:
    result = pulsewright()
    assert result.exit_code == 0
    assert "Commands:" in result.stdout


def test_version() -> None:
    assert pulsewright("--version").stdout.startswith("pulsewright ")


def test_plan_says_what_is_left_before_the_next_trigger() -> None:
    # common practice, no source: 25,000 samples at 25 MS/s and a trigger every 1.024 ms leave 600 samples, 24 µs
    call = ("plan", "--sample-rate", "25 MS/s", "--trigger-period", "1.024 ms", "--record-length", "25000")
    assert "24 µs (600 samples)" in pulsewright(*call).stdout
    assert found(*call, "--json") == {
        "record_length": 25_000,
        "record_duration_s": 1e-3,
        "dead_time_s": 24e-6,
        "dead_time_samples": 600,
        "longest_record_samples": 25_600,
        "wait_s": 24e-6,
        "re_arm_margin_s": 24e-6,
        "keeps_one_trigger_in": 1,
    }


def test_plan_says_that_triggers_are_lost() -> None:
    result = pulsewright(
        "plan", "--sample-rate", "25 MS/s", "--trigger-period", "1.024 ms", "--record-length", "25600",
        "--re-arm", "1 us",
    )  # fmt: skip
    assert "Only one trigger in 2 is kept" in result.stdout


@pytest.fixture(scope="module")
def faults() -> Any:
    return found("measure", sample("tank_faults.h5"), "--json")


def test_measure_prints_nothing_but_json(faults: Any) -> None:
    assert faults["schema"] == "pulsewright-findings/1"
    assert faults["session"]["file"].endswith("tank_faults.h5")
    assert faults["session"]["sha256"] == sha256(sample("tank_faults.h5").read_bytes()).hexdigest()
    assert {entry["verdict"] for entry in faults["claims"]} == {"holds", "fails", "undecided"}


def test_measure_finds_what_was_put_into_the_sample_with_faults(faults: Any) -> None:
    sequence = faults["sequence"]
    assert sequence["missed_total"] == 2
    assert all(set(gap["seen_in"]) == {"position", "polarity", "time"} for gap in sequence["missed"])
    assert len({gap["after_record"] for gap in sequence["missed"]}) == 2
    late = max((entry for entry in faults["alignment"]["channels"] if entry["skew"]), key=_skew)
    # 2.1 m of polyethylene cable at 5.05 ns/m (handbook value)
    assert abs(late["skew"]["value"] - 2.1 * 5.05e-9) < 2 * late["skew"]["u"]


def test_a_part_that_is_measured_is_said_to_be_one() -> None:
    """In this part of the sample no ping is missed: those behind it say nothing about it."""
    page = pulsewright("measure", sample("tank_faults.h5"), "--records", "0:5").stdout
    assert page.splitlines()[0].endswith("; 5 of the records measured")
    assert "none missed in 5 records that were measured" in " ".join(page.split())


def _skew(entry: dict[str, Any]) -> float:
    return float(entry["skew"]["value"])


def test_the_readable_page_and_the_json_tell_the_same(faults: Any) -> None:
    page = pulsewright("measure", sample("tank_faults.h5")).stdout
    for gap in faults["sequence"]["missed"]:
        assert f"after record {gap['after_record']}" in page
    for health in faults["health"]:
        if health["clipped_samples"]:
            row = next(line for line in page.splitlines() if line.startswith(health["channel"]) and "mV" in line)
            assert f" {health['clipped_samples']} " in row
    assert "claims file" in page


def test_an_option_counts_before_the_review_and_that_before_the_claims_file(tmp_path: Path) -> None:
    file = copied("tank_walk", tmp_path)
    review = {"schema": "pulsewright-review/1", "settings": {"position": "peak", "reference": "H02"}}
    file.with_suffix(".review.json").write_text(json.dumps(review | {"left_out": {"3": "a boat passed"}}))
    body = found("measure", file, "--json", "--reference", "H03")
    settings = body["settings"]
    assert settings["reference"] == {"value": "H03", "from": "option"}
    assert settings["position"] == {"value": "peak", "from": "review"}
    assert settings["left_out"] == {"value": [3], "from": "review"}
    assert settings["span"]["from"] == "claims"
    assert settings["cycle"]["from"] == "default"
    assert body["alignment"]["reference"] == "H03"
    assert 3 not in {pulse["record"] for pulse in body["pulses"]}


@pytest.mark.parametrize("digest", ["session_sha256", "session_quick_digest"])
def test_a_review_of_another_session_is_not_applied(tmp_path: Path, digest: str) -> None:
    """A review that the desk saved early knows the quick digest only, and the desk refuses it by that one."""
    file = copied("tank_walk", tmp_path)
    review = {"schema": "pulsewright-review/1", digest: "0" * 64}
    file.with_suffix(".review.json").write_text(json.dumps(review))
    result = pulsewright("measure", file)
    assert result.exit_code == 2
    assert "belongs to another session" in result.stderr


def test_every_measuring_option_reaches_its_setting(tmp_path: Path) -> None:
    file = copied("tank_walk", tmp_path)
    file.with_suffix(".claims.toml").unlink()
    settings = found(
        "measure", file, "--json", "--span", "190 us .. 330 us", "--alignment-span", "5 us .. 25 us",
        "--channels", "H01,H02,H05", "--channel", "H01", "--records", "0:20", "--position", "leading",
        "--reference", "H02", "--threshold", "50 mV", "--min-width", "0.2 us", "--min-gap", "10 us",
        "--method", "correlation", "--sent", "20", "--increment", "10.12 us", "--cycle", "12",
        "--re-arm", "3 us", "--clock-ppm", "2", "--delay-u", "50 ps", "--splitter-u", "20 ps",
        "--trigger-offset-u", "0.1 ns", "--scale-percent", "0.5 %",
    )["settings"]  # fmt: skip
    given = {name: entry["value"] for name, entry in settings.items() if entry["from"] == "option"}
    assert given == {
        "span": [190e-6, 330e-6],
        "alignment_span": [5e-6, 25e-6],
        "channels": ["H01", "H02", "H05"],
        "channel": "H01",
        "records": [0, 20],
        "position": "leading",
        "reference": "H02",
        "threshold": 0.05,
        "min_width": pytest.approx(0.2e-6),
        "min_gap": pytest.approx(10e-6),
        "alignment_method": "correlation",
        "sent": 20,
        "increment": pytest.approx(10.12e-6),
        "cycle": 12,
        "re_arm": pytest.approx(3e-6),
        "clock_ppm": 2.0,
        "delay_u": pytest.approx(50e-12),
        "splitter_u": pytest.approx(20e-12),
        "trigger_offset_u": pytest.approx(0.1e-9),
        "scale_percent": 0.5,
    }


def test_a_claims_file_elsewhere_is_used_when_named(tmp_path: Path) -> None:
    claims = tmp_path / "elsewhere.toml"
    claims.write_text('[settings]\nspan = "190 us .. 330 us"\nposition = "centroid"\n')
    settings = found("measure", sample("tank_walk.h5"), "--claims", claims, "--json")["settings"]
    assert settings["position"] == {"value": "centroid", "from": "claims"}


def test_describe_says_what_is_in_a_file_and_what_is_odd() -> None:
    result = pulsewright("describe", sample("tank_faults.h5"))
    assert result.exit_code == 0
    for part in ("Module M3", "H09, H10, H11, H12", "Trigger offsets", "SHA-256", "The file is whole"):
        assert part in result.stdout
    assert "clipped samples, in record" in result.stdout


def test_describe_calls_a_clean_session_clean() -> None:
    assert "nothing in it is odd" in pulsewright("describe", sample("tank_walk.h5")).stdout


def test_an_interruption_is_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("pulsewright_app.measure_command.run_measure", interrupted)
    result = pulsewright("measure", "any.h5")
    assert result.exit_code == INTERRUPTED
    assert result.stderr == ""
    assert result.stdout == ""


def test_a_fault_of_the_program_is_one_line_with_an_exit_code_of_its_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def faulty(*_: object) -> int:
        raise RuntimeError("two\nlines")

    monkeypatch.setattr("pulsewright_app.measure_command.run_measure", faulty)
    result = pulsewright("measure", "any.h5")
    assert result.exit_code == OWN_FAULT
    assert result.stderr.count("\n") == 1
    assert "RuntimeError: two lines" in result.stderr


def odd_session(folder: Path) -> Path:
    """Write a session with one oddity of each kind."""
    samples = np.random.default_rng(3).integers(-20, 21, (8, 2, 50)).astype(np.int16)
    samples[:, 1, :] = 7
    samples[2, 0, 10:14] = 2047
    samples[5] = samples[4]
    times = np.array([0.0, 1.0, 2.0, 2.0, 3.0, 4.0, 7.0, 8.0]) * 1e-3
    offsets = np.array([1e-7, *[np.nan] * 7])
    ends = {"lowest_code": -2048, "highest_code": 2047}
    channels = [Channel(name, "M1", scale=1e-3, **ends) for name in ("H01", "H02")]
    path = folder / "odd.h5"
    write_session(path, samples, channels, 1e6, 5, trigger_time=times, trigger_offset=offsets)
    return path


def test_describe_names_everything_odd_and_still_calls_the_file_whole(tmp_path: Path) -> None:
    page = " ".join(pulsewright("describe", odd_session(tmp_path)).stdout.split())
    assert "The file is whole. Odd in it:" in page
    for oddity in (
        "H02 holds the same value in every sample",
        "H01 has 4 clipped samples, in record 2",
        "the trigger time of the record before is repeated in record 3",
        "after record 5 the next trigger comes 3 ms later",
        "record 5 holds the same samples as record 4",
        "Trigger offsets known for 1 of 8",
    ):
        assert oddity in page


def table_rows(page: str) -> dict[str, list[str]]:
    """Return the first line of each row of a printed table by the words in its first column."""
    rows = [re.split(r"\s{2,}", line.strip()) for line in page.splitlines() if re.search(r"\s{2,}", line.strip())]
    return {row[0]: row[1:] for row in rows}


def test_a_budget_is_printed_term_by_term() -> None:
    result = pulsewright(
        "measure", sample("tank_faults.h5"), "--delay-u", "50 ps", "--splitter-u", "20 ps", "--budget", "between M1 M3"
    )
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("M3 against M1: ")
    rows = table_rows(result.stdout)
    # four channels on each module: 50 ps·√(1/4 + 1/4), and 20 ps likewise
    assert rows["cable delay"][:3] == ["35.4 ps", "B", "∞"]
    assert rows["splitter"][:3] == ["14.1 ps", "B", "∞"]
    assert rows["noise of the channels"][1] == "A"
    assert "delay_u = 50 ps (option)" in result.stdout
    assert "taken as exact: clock_ppm is 0" in result.stdout
    assert "U (95 %) = " in rows["combined"][-1]


def test_settings_of_a_claims_file_reach_the_budget(tmp_path: Path) -> None:
    file = copied("tank_walk", tmp_path)
    claims = file.with_suffix(".claims.toml")
    more = '[settings]\nclock_ppm = 25\nscale_percent = "0.5 %"\n'
    claims.write_text(claims.read_text(encoding="utf-8").replace("[settings]\n", more), encoding="utf-8")
    page = pulsewright("measure", file, "--budget", "noise H05").stdout
    assert page.startswith("Noise of H05: ")
    assert "scale_percent = 0.5 % (claims)" in page
    assert "u of the sample clock: 25 ppm (claims file)" in pulsewright("measure", file).stdout


def test_the_reference_has_an_exact_skew_against_itself() -> None:
    page = pulsewright("measure", sample("tank_walk.h5"), "--budget", "skew H01").stdout
    assert "Skew of H01 against H01: 0 s" in page
    assert "Exact by definition" in page
