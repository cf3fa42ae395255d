"""Numbers as tables: the CSV files and the structured arrays say what the JSON says."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright.review import LevelMarker, Marker, Review, review_path_for, save_review
from pulsewright.session import Channel
from pulsewright.store import write_session
from pulsewright_app.cli import app
from pulsewright_app.csv_folder import cell
from pulsewright_app.samples import sample


def run(*words: str | Path) -> Any:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    """The JSON of the sample with faults, and the folder of its tables, from one run."""
    folder = tmp_path_factory.mktemp("tables")
    result = run("measure", sample("tank_faults.h5"), "--json", "--csv", folder)
    assert result.exit_code == 1, result.stderr
    assert "tables are in" in result.stderr
    return json.loads(result.stdout), folder


def test_the_review_s_markers_and_levels_are_among_the_tables(tmp_path: Path) -> None:
    """Δ is the difference of what was put down, u that of two independent errors (JCGM 100:2008, 5.1.2)."""
    session = tmp_path / "tank_walk.h5"
    shutil.copy(sample("tank_walk.h5"), session)
    markers = [Marker(t, 3e-9, 1, "gap", "H01", 2, 2) for t in (1e-5, 3e-5)]
    levels = [LevelMarker(v, u, 2, "H02", 4, "=gate", "by eye") for v, u in ((0.1, 3e-3), (0.4, 4e-3))]
    save_review(Review(markers=markers, level_markers=levels), review_path_for(session))
    assert run("measure", session, "--csv", tmp_path / "out").exit_code in (0, 1, 3)
    (pair,), (level,) = rows(tmp_path / "out", "markers"), rows(tmp_path / "out", "levels")
    assert (pair["name"], pair["record"], pair["intervals"]) == ("gap", "2", "2")
    assert float(pair["difference (s)"]) == pytest.approx(2e-5)
    assert float(pair["interval_u (s)"]) == pytest.approx(3e-9 * 2**0.5 / 2, rel=1e-6)
    assert (level["name"], level["unit"], level["note"], level["record_2"]) == ("'=gate", "V", "by eye", "4")
    assert float(level["difference"]) == pytest.approx(0.3)
    assert float(level["difference_u"]) == pytest.approx(5e-3)


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def same(text: str, value: float | None) -> bool:
    return text == "" if value is None else float(text) == value


def test_pulses_are_those_of_the_json(both: tuple[dict[str, Any], Path]) -> None:
    body, folder = both
    table = rows(folder, "pulses")
    assert len(table) == len(body["pulses"]) > 400
    for row, pulse in zip(table, body["pulses"], strict=True):
        assert (int(row["record"]), row["channel"]) == (pulse["record"], pulse["channel"])
        for name, unit in (("time", "s"), ("amplitude", "V"), ("width", "s")):
            quantity = pulse[name] or {"value": None}
            if pulse[name] is not None:
                assert same(row[f"{name} ({unit})"], quantity["value"])
                assert same(row[f"{name}_u ({unit})"], quantity["u"])


def test_skews_health_and_missed_are_those_of_the_json(both: tuple[dict[str, Any], Path]) -> None:
    body, folder = both
    for row, entry in zip(rows(folder, "skews"), body["alignment"]["channels"], strict=True):
        assert row["channel"] == entry["channel"]
        assert same(row["skew (s)"], entry["skew"]["value"])
        assert [float(row["skew_low (s)"]), float(row["skew_high (s)"])] == entry["skew"]["interval95"]
    for row, entry in zip(rows(folder, "health"), body["health"], strict=True):
        assert same(row["noise (V)"], entry["noise_rms"]["value"])
        assert same(row["enob"], entry["enob"])
        assert int(row["clipped_samples"]) == entry["clipped_samples"]
    missed = [(int(row["after_record"]), int(row["count"])) for row in rows(folder, "missed")]
    assert missed == [(gap["after_record"], gap["count"]) for gap in body["sequence"]["missed"]]


def test_single_quantities_carry_their_unit_in_the_row(both: tuple[dict[str, Any], Path]) -> None:
    body, folder = both
    table = {row["quantity"]: row for row in rows(folder, "quantities")}
    for name, quantity in (
        ("increment", body["sequence"]["increment"]),
        ("jitter", body["jitter"]["std"]),
        ("period", body["timing"]["trigger_period"]),
        ("between", body["alignment"]["largest_between"]),
    ):
        assert same(table[name]["value"], quantity["value"])
        assert table[name]["unit"] == quantity["unit"]
        assert float(table[name]["value_dof"]) == (quantity["dof"] or float("inf"))
    assert table["frequency"]["value"] == ""  # not measured: no sine


def test_verdicts_are_those_of_the_json(both: tuple[dict[str, Any], Path]) -> None:
    body, folder = both
    told = [(row["name"], row["verdict"], row["needed"]) for row in rows(folder, "claims")]
    assert told == [(entry["name"], entry["verdict"], entry["needed"]) for entry in body["claims"]]


def test_records_are_numbered_by_trigger(both: tuple[dict[str, Any], Path]) -> None:
    """Pings 9 and 24 of the recipe are missing."""
    _, folder = both
    numbers = [int(row["trigger"]) for row in rows(folder, "records")]
    assert numbers == [ping for ping in range(38) if ping not in (9, 24)]


def test_numpy_reads_what_was_written(both: tuple[dict[str, Any], Path]) -> None:
    _, folder = both
    table = np.genfromtxt(folder / "skews.csv", delimiter=",", names=True, dtype=None, encoding="utf-8")
    assert table["channel"].tolist() == [f"H{number:02d}" for number in range(1, 13)]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "＝1"])
def test_no_cell_of_text_is_run_as_a_formula(text: str) -> None:
    # common practice, no source: an apostrophe in front keeps a spreadsheet from running it
    assert cell(text) == f"'{text}"
    assert cell("H01") == "H01"
    assert cell(-1.5) == "-1.5"


def test_a_channel_named_like_a_formula(tmp_path: Path) -> None:
    random = np.random.default_rng(2)
    codes = np.round(random.normal(0, 30, (6, 2, 400))).astype(np.int16)
    channels = [Channel('=HYPERLINK("http://x")', "M1", scale=1e-4), Channel("H02", "M1", scale=1e-4)]
    write_session(tmp_path / "odd.h5", codes, channels, 1e6, 100)
    assert run("measure", tmp_path / "odd.h5", "--csv", tmp_path / "tables").exit_code == 0
    assert rows(tmp_path / "tables", "health")[0]["channel"] == '\'=HYPERLINK("http://x")'


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    result = run("measure", sample("tank_sine.h5"), "--csv", tmp_path / "taken")
    assert result.exit_code == 2
    assert "the tables cannot be written there" in result.stderr
    assert (tmp_path / "taken").read_text() == "a file"


# -- a draft of claims ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["tank_faults", "tank_sine"])
def test_a_draft_is_refused_until_each_limit_is_filled_in(tmp_path: Path, name: str) -> None:
    from pulsewright.claim_kinds import KINDS
    from pulsewright.claims_file import read_claims

    draft = tmp_path / "new.claims.toml"
    result = run("claims", draft, "--from", sample(f"{name}.h5"))
    assert result.exit_code == 0, result.stderr
    lines = draft.read_text(encoding="utf-8").splitlines()
    kind = ""
    while 'limit = ""' in lines:
        result = run("measure", sample(f"{name}.h5"), "--claims", draft)
        first = lines.index('limit = ""')
        assert result.exit_code == 2
        assert f"line {first + 1}: " in result.stderr
        assert "its limit is not filled in" in result.stderr
        kind = lines[first - 1].removeprefix('kind = "').rstrip('"')
        lines[first] = f"limit = {KINDS[kind].example}"
        draft.write_text("\n".join(lines), encoding="utf-8")
    assert run("measure", sample(f"{name}.h5"), "--claims", draft).exit_code in (0, 1, 3)
    beside, drafted = (read_claims(path) for path in (sample(f"{name}.claims.toml"), draft))
    assert drafted.settings.keys() == beside.settings.keys()


def test_a_draft_takes_the_place_of_no_file(tmp_path: Path) -> None:
    draft = tmp_path / "new.claims.toml"
    draft.write_text("mine")
    result = run("claims", draft, "--from", sample("tank_sine.h5"))
    assert result.exit_code == 2
    assert "is there already" in result.stderr
    assert draft.read_text() == "mine"
    assert run("claims", tmp_path / "no" / "a.toml", "--from", sample("tank_sine.h5")).exit_code == 2
    assert "does not end in .toml" in run("claims", tmp_path / "a.h5", "--from", sample("tank_sine.h5")).stderr


def test_a_draft_beside_a_draft(tmp_path: Path) -> None:
    """A first draft whose limits are open does not stand in the way of a second one."""
    shutil.copy(sample("tank_sine.h5"), tmp_path)
    first = tmp_path / "tank_sine.claims.toml"
    assert run("claims", first, "--from", tmp_path / "tank_sine.h5").exit_code == 0
    assert run("claims", tmp_path / "b.toml", "--from", tmp_path / "tank_sine.h5").exit_code == 0
