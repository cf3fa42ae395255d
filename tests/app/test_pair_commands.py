"""A marker pair that follows pulses of two channels, by the command line: tables, claim and sheet have one number.

What is expected is computed from the truth of the sample, sample_sessions/scenario.py: the echo comes later than the
drive by twice the way to the plate over the speed of sound.
"""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from pulsewright.review import Marker, Review, review_path_for, save_review
from pulsewright_app.cli import app
from pulsewright_app.samples import sample

from .evidence_reading import Reader
from .test_sample_findings import scenario

NAMED = 2
"""The record that the pair was put down in."""
CLAIM = '[[claims]]\nname = "far enough"\nkind = "marker_pair"\npair = "way"\nlimit = "209.12 us ± 1 us"\n'


def run(*words: str | Path) -> Any:
    return CliRunner().invoke(app, [str(word) for word in words])


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The walking sample with a pair from the test pulse on H01 (of M1) to the echo on H06 (of M2), and a claim."""
    path = tmp_path_factory.mktemp("pairs") / "tank_walk.h5"
    shutil.copy(sample("tank_walk.h5"), path)
    path.with_suffix(".claims.toml").write_text(CLAIM, encoding="utf-8")
    arrival = float(scenario.echo_time(scenario.FIRST_DISTANCE + NAMED * scenario.STEP))
    ends = ((scenario.DRIVE_TIME, "H01", 0), (arrival, "H06", 1))
    markers = [Marker(time, 1e-9, 1, "way", channel, NAMED, pulse=pulse) for time, channel, pulse in ends]
    save_review(Review(markers=markers), review_path_for(path))
    return path


@pytest.fixture(scope="module")
def measured(session: Path) -> tuple[dict[str, Any], Path]:
    """The JSON, and the folder of the tables."""
    result = run("measure", session, "--json", "--csv", session.parent / "out")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout), session.parent / "out"


def test_every_record_has_the_way_to_the_plate_and_back(measured: tuple[dict[str, Any], Path]) -> None:
    told = rows(measured[1] / "marker_series.csv")
    assert [int(row["record"]) for row in told] == list(range(36))
    assert {(row["channel"], row["channel_2"]) for row in told} == {("H01", "H06")}
    shake = 2 * scenario.REPEATABILITY / scenario.SPEED_OF_SOUND
    for record, row in enumerate(told):
        expected = (
            float(scenario.echo_time(scenario.FIRST_DISTANCE + scenario.STEP * (record % scenario.STOPS)))
            - scenario.DRIVE_TIME
        )
        u = np.hypot(float(row["difference_u (s)"]), shake)
        assert u < 100e-9, "so large a u would be no check"
        assert abs(float(row["difference (s)"]) - expected) < 4 * u
        assert row["polarity"] == row["polarity_2"] == ("-1" if record % 2 else "1")


@pytest.mark.usefixtures("undrawn")
def test_tables_claim_and_sheet_have_one_number(session: Path, measured: tuple[dict[str, Any], Path]) -> None:
    told, folder = measured
    (pair,) = rows(folder / "markers.csv")
    series = rows(folder / "marker_series.csv")
    assert (pair["channel"], pair["channel_2"], pair["follows"]) == ("H01", "H06", "t1: 0, t2: 1")
    for key in ("difference (s)", "difference_u (s)", "t1 (s)", "t2 (s)"):
        assert pair[key] == series[NAMED][key]
    (claim,) = rows(folder / "claims.csv")
    measured_claim = float(claim["measured"]), float(claim["measured_u"])
    assert measured_claim == (float(pair["difference (s)"]), pytest.approx(float(pair["difference_u (s)"]), rel=1e-12))
    numbers = session.parent / "sheet.json"
    result = run("evidence", session, "--to", session.parent / "sheet.html", "--json", numbers)
    assert result.exit_code == 0, result.stderr
    page = Reader((session.parent / "sheet.html").read_text(encoding="utf-8")).text
    assert "follows pulse 0 of H01 and pulse 1 of H06, record 2" in page
    assert "H01 → H06" in page
    (row,) = json.loads(numbers.read_text(encoding="utf-8"))["sheet"]["markers"]["rows"]
    assert row[3]["value"] == float(pair["difference (s)"]) == told["claims"][0]["measured"]["value"]
