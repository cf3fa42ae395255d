"""Cable delays that are given beside a session: by option, review and claims file; in every place that tells them."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from pulsewright.errors import EvidenceError
from pulsewright.review import Review, review_path_for, save_review
from pulsewright.session import Channel, Session
from pulsewright.settings import layered
from pulsewright.store import write_session
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.claim_draft import draft
from pulsewright_analysis.findings import measure
from pulsewright_app.cli import app
from pulsewright_app.evidence.building import sheet_of

RATE = 5e6


def pulsewright(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words], env={"NO_COLOR": "1", "COLUMNS": "160"})


def ping_session() -> Session:
    """Three hydrophones that hear one pulse in each of eight records; the file says that H03 has 5 ns of cable."""
    time = (np.arange(400) - 50) / RATE
    volts = np.exp(-(((time - 20e-6) / 1e-6) ** 2) / 2) + np.random.default_rng(3).normal(0, 0.002, (8, 3, 400))
    channels = [Channel(f"H0{c}", "M1", scale=1e-4, delay=5e-9 if c == 3 else 0.0) for c in (1, 2, 3)]
    codes = np.round(volts / 1e-4).astype(np.int16)
    return Session.from_samples(codes, channels, RATE, 50, trigger_offset=np.zeros(8))


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """The session as a file, with a claims file that gives H01 and H02 a delay."""
    path = tmp_path / "ping.h5"
    session = ping_session()
    write_session(path, session.codes(), session.channels, RATE, 50, trigger_offset=np.zeros(8))
    path.with_name("ping.claims.toml").write_text('[settings.delays]\nH01 = "1 ns"\nH02 = 2e-9\n', encoding="utf-8")
    return path


def measured(file: Path, *options: str) -> dict[str, Any]:
    result = pulsewright("measure", file, "--json", *options)
    assert result.exit_code == 0, result.stderr
    body: dict[str, Any] = json.loads(result.stdout)
    return body


def test_each_layer_gives_the_delays_that_it_names(file: Path) -> None:
    save_review(Review(settings={"delays": {"H02": "7 ns"}}), review_path_for(file))
    body = measured(file, "--delay", "H03=12 ns")
    assert body["settings"]["delays"] == {
        "value": {"H01": 1e-9, "H02": 7e-9, "H03": 12e-9},
        "from": "option",
        "from_each": {"H01": "claims", "H02": "review", "H03": "option"},
    }
    assert [channel["delay_s"] for channel in body["session"]["channels"]] == [1e-9, 7e-9, 12e-9]
    page = pulsewright("measure", file, "--delay", "H03=12 ns").stdout
    assert "Cable delays given: H01 1 ns (claims file), H02 7 ns (review), H03 12 ns (option)" in page


def test_an_option_moves_the_skew_by_minus_the_change(file: Path) -> None:
    """Expected: algebra; the file says 5 ns."""

    def skew(*options: str) -> float:
        return float(measured(file, *options)["alignment"]["channels"][2]["skew"]["value"])

    assert skew("--delay", "H03=12 ns") == pytest.approx(skew() - 7e-9, abs=1e-15)
    assert skew("--delay", "H03=5 ns") == skew()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("H03=12", "delays: H03: '12' is a second or more; write the unit with it, like \"H03=12 ns\"."),
        ("12 ns", "delays: '12 ns' is no channel with its delay; write it like \"H03=12 ns\"."),
        ("H99=12 ns", "delays: the session has no channel 'H99'; its channels are H01, H02, H03."),
    ],
)
def test_what_is_no_delay_ends_in_one_line(file: Path, given: str, said: str) -> None:
    result = pulsewright("measure", file, "--delay", given)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == f"pulsewright: {said}\n"


def test_describe_tells_which_delays_count(file: Path) -> None:
    page = pulsewright("describe", file).stdout
    assert "H02 is measured with a cable delay of 2 ns, from the claims file, in place of the file's 0 s." in page
    assert "H03 is measured" not in page
    file.with_name("ping.claims.toml").write_text("[settings]\ndelays = 3\n", encoding="utf-8")
    result = pulsewright("describe", file)
    assert result.exit_code == 0 and "Which cable delays are taken off when it is measured cannot be told" in (
        result.stdout
    )


@pytest.mark.usefixtures("undrawn")
def test_the_sheet_tells_each_delay_and_where_it_came_from() -> None:
    session = ping_session()
    settings = layered(option={"delays": "H03=12 ns"}, claims={"delays": {"H01": "1 ns"}})
    sheet = sheet_of(Assessment(measure(session, settings)), session)
    rows = {str(row[0]): row for row in sheet.settings.rows}
    assert rows["Cable delays given"][1:] == ("H01 1 ns (claims file), H03 12 ns (option)", "claims file and option")
    delays = {str(row[1]): getattr(row[4], "text", "") for row in sheet.recorder.rows}
    assert delays == {"H01": "1 ns", "H02": "0 s", "H03": "12 ns"}


@pytest.mark.usefixtures("undrawn")
def test_findings_by_other_delays_than_the_reviews_make_no_sheet() -> None:
    session = ping_session()
    review = Review(settings={"delays": {"H01": "1 ns"}})
    findings = measure(session, layered(review=review.measuring_settings(), claims={"delays": {"H02": "2 ns"}}))
    assert sheet_of(Assessment(findings), session, review).outcome is None
    for other, words in ((review, "older than the review's cable delay of H01"), (Review(), "delay of H01 that the")):
        before = findings if other != review else replace(findings, settings=layered())
        with pytest.raises(EvidenceError, match=words):
            sheet_of(Assessment(before), session, other)
    by_option = measure(session, layered(option={"delays": {"H01": "3 ns"}}, review=review.measuring_settings()))
    assert sheet_of(Assessment(by_option), session, review).outcome is None


def test_a_draft_of_claims_keeps_the_delays(tmp_path: Path) -> None:
    import tomllib

    findings = measure(ping_session(), layered(option={"delays": ["H03=12.5 ns", "H01=0"]}))
    written = tomllib.loads(draft(findings))["settings"]["delays"]
    assert layered(claims={"delays": written}).delays == (("H01", 0.0), ("H03", 12.5e-9))
