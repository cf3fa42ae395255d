"""The records command: the rows that match, in three forms, with the numbers that `measure` prints."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pulsewright.review import RejectedPulse, Review, review_path_for, save_review
from pulsewright_app.cli import app
from pulsewright_app.samples import sample


@pytest.fixture(scope="module")
def faults(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("records") / "run.h5"
    shutil.copy(sample("tank_faults.h5"), path)
    review = Review(flags={3}, notes={4: "=1+1"}, left_out={5: "a crane passed"})
    save_review(review, review_path_for(path))
    return path


def run(*words: str | Path) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, [str(word) for word in words])
    return result.exit_code, result.stdout, result.stderr


def test_the_rows_that_match_carry_the_numbers_of_measure(faults: Path) -> None:
    code, out, _ = run("records", faults, "--where", "missed before", "--json")
    assert code == 0
    measured = json.loads(run("measure", faults, "--json")[1])
    rows = json.loads(out)["records"]
    after = [gap["after_record"] + 1 for gap in measured["sequence"]["missed"]]
    assert [row["record"] for row in rows] == after
    for row in rows:
        first = next(
            pulse
            for pulse in measured["pulses"]
            if (pulse["record"], pulse["channel"], pulse["order"]) == (row["record"], json.loads(out)["channel"], 0)
        )
        assert row["first_pulse_s"] == (first["time"] or {"value": None})["value"]


def test_what_a_person_said_is_printed_and_no_cell_is_a_formula(faults: Path) -> None:
    code, out, _ = run("records", faults, "--where", "flagged or noted or left out", "--csv")
    assert code == 0
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [row["record"] for row in rows] == ["3", "4", "5"]
    assert rows[0]["flagged"] == "true"
    assert rows[1]["note"] == "'=1+1"
    assert (rows[2]["left_out"], rows[2]["polarity"]) == ("a crane passed", "")


def test_a_wrong_filter_is_one_line_and_exit_code_2(faults: Path) -> None:
    code, out, err = run("records", faults, "--where", "flaged")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert 'the nearest is "flagged"' in err


def test_a_review_in_the_users_folder_counts_as_on_the_desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pulsewright.digest import quick_digest_of, sha256_of
    from pulsewright.review_places import review_places

    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    session = tmp_path / "run.h5"
    shutil.copy(sample("tank_walk.h5"), session)
    place = review_places(session, quick_digest_of(session), beside=False)[0]
    place.parent.mkdir(parents=True)
    save_review(Review(sha256_of(session), left_out={2: "a crane"}, rejected=[RejectedPulse(0, "H01", 0)]), place)
    code, out, err = run("measure", session, "--json")
    assert code in (0, 1, 3), err
    assert json.loads(out)["settings"]["left_out"] == {"value": [2], "from": "review"}
    assert str(place) in err
