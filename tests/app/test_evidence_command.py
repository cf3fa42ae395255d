"""``pulsewright evidence``: what it writes, what it refuses, and what stays as it was when it cannot write."""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from pulsewright.review import RejectedPulse, Review, save_review
from pulsewright_app.cli import app
from pulsewright_app.samples import sample, samples_folder

from .evidence_reading import Reader, pdf_text


def pulsewright(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words], env={"NO_COLOR": "1", "COLUMNS": "120"})


def copied(name: str, folder: Path) -> Path:
    for path in (sample(f"{name}.h5"), samples_folder() / f"{name}.claims.toml"):
        shutil.copy(path, folder)
    return folder / f"{name}.h5"


def refused(result: Result) -> str:
    """Return the one line that a wrong call ends with."""
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    return line


@pytest.fixture
def session(tmp_path: Path) -> Path:
    return copied("tank_walk", tmp_path)


def test_html_pdf_and_json_of_one_session_agree(session: Path) -> None:
    folder = session.parent
    for name in ("sheet.html", "sheet.pdf"):
        result = pulsewright("evidence", session, "--to", folder / name, "--json", folder / f"{name}.json")
        assert result.exit_code == 0, result.output
        assert result.stdout == f"{folder / name}: All 14 claims hold.\n"
    assert (folder / "sheet.html.json").read_bytes() == (folder / "sheet.pdf.json").read_bytes()
    body = json.loads((folder / "sheet.html.json").read_text("utf-8"))
    assert body["schema"] == "pulsewright-evidence/1"
    measured = json.loads(pulsewright("measure", session, "--json").stdout)
    assert body["findings"] == measured
    assert (folder / "sheet.pdf").read_bytes().startswith(b"%PDF-")
    assert "All 14 claims hold." in Reader((folder / "sheet.html").read_text("utf-8")).text


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(("name", "code"), [("tank_faults", 1), ("tank_slip", 1), ("tank_walk", 0)])
def test_the_exit_code_is_that_of_the_claims(name: str, code: int, tmp_path: Path) -> None:
    assert pulsewright("evidence", copied(name, tmp_path), "--to", tmp_path / "sheet.html").exit_code == code


@pytest.mark.usefixtures("undrawn")
def test_an_undecided_claim_ends_with_3(session: Path) -> None:
    claims = session.parent / "other.toml"
    claims.write_text(
        '[[claims]]\nname = "Of a channel that is not there"\nkind = "noise"\nlimit = "5 mV"\nchannels = "X"\n'
    )
    result = pulsewright("evidence", session, "--to", session.parent / "sheet.html", "--claims", claims)
    assert result.exit_code == 3, result.output
    assert "◇ undecided" in Reader((session.parent / "sheet.html").read_text("utf-8")).text


def test_another_process_writes_the_same_bytes(session: Path) -> None:
    folder = session.parent
    assert pulsewright("evidence", session, "--to", folder / "one.html").exit_code == 0
    run = "from pulsewright_app.cli import run; run()"
    words = [sys.executable, "-c", run, "evidence", session, "--to", folder / "two.html"]
    subprocess.run(words, env=os.environ | {"PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"}, check=True, timeout=120)
    assert (folder / "one.html").read_bytes() == (folder / "two.html").read_bytes()


@pytest.mark.usefixtures("undrawn")
def test_date_and_author_stand_on_the_sheet_or_are_left_to_fill_in(session: Path) -> None:
    target = session.parent / "sheet.html"
    assert pulsewright("evidence", session, "--to", target).exit_code == 0
    blank = sum(attributes.get("class") == "blank" for _, attributes in Reader(target.read_text("utf-8")).tags)
    assert blank == 2
    given = ("--date", "2026-11-25", "--by", "A. <b>Person</b>")
    assert pulsewright("evidence", session, "--to", target, *given).exit_code == 0
    page = Reader(target.read_text("utf-8"))
    assert "2026-11-25" in page.text and "A. <b>Person</b>" in page.text
    assert not [attributes for _, attributes in page.tags if attributes.get("class") == "blank"]


@pytest.mark.usefixtures("undrawn")
def test_what_the_review_took_out_stands_in_both_forms_with_its_reason(session: Path) -> None:
    rejected = RejectedPulse(0, "H01", 1220, "A bubble burst")
    review = Review(left_out={7: "Somebody knocked at the tank"}, rejected=[rejected])
    save_review(review, session.with_suffix(".review.json"))
    for name in ("sheet.html", "sheet.pdf"):
        assert pulsewright("evidence", session, "--to", session.parent / name).exit_code in (0, 1, 3)
    for why in ("Somebody knocked at the tank", "A bubble burst"):
        assert why in Reader((session.parent / "sheet.html").read_text("utf-8")).text
        assert why in pdf_text((session.parent / "sheet.pdf").read_bytes())


# -- refusals ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["sheet.txt", "sheet", "sheet.html.gz", "tank_walk.h5"])
def test_another_kind_of_file_is_refused_before_anything_is_measured(session: Path, name: str) -> None:
    before = session.read_bytes()
    line = refused(pulsewright("evidence", session, "--to", session.parent / name))
    assert line == f"pulsewright: {name}: an evidence sheet is written as .html or .pdf; end the name of the file so."
    assert session.read_bytes() == before


@pytest.mark.parametrize("name", ["tank_walk.h5", "tank_walk.review.json", "numbers"])
def test_json_goes_over_no_other_file(session: Path, name: str) -> None:
    target = session.parent / "sheet.html"
    line = refused(pulsewright("evidence", session, "--to", target, "--json", session.parent / name))
    assert line.startswith(f"pulsewright: {name}: the numbers go into a file that ends in .json")
    assert not target.exists()


@pytest.mark.usefixtures("undrawn")
def test_a_folder_that_is_not_there_is_said(session: Path) -> None:
    target = session.parent / "nowhere" / "sheet.pdf"
    line = refused(pulsewright("evidence", session, "--to", target))
    assert line.startswith(f"pulsewright: {target}: cannot be written (No such file or directory)")


@pytest.mark.usefixtures("undrawn")
def test_a_folder_in_place_of_the_file_is_said(session: Path) -> None:
    target = session.parent / "sheet.html"
    target.mkdir()
    assert "cannot be written" in refused(pulsewright("evidence", session, "--to", target))
    assert target.is_dir()


def test_a_wrong_claims_file_is_said_with_its_line(session: Path) -> None:
    claims = session.parent / "wrong.toml"
    claims.write_text('[[claims]]\nname = "x"\nkind = "skew"\nlimit = "5 volts"\n')
    line = refused(pulsewright("evidence", session, "--to", session.parent / "sheet.html", "--claims", claims))
    assert "wrong.toml, line 4" in line


@contextmanager
def full_disk(room: int) -> Iterator[None]:
    """Let every write beyond so many bytes fail, as on a full disk: EFBIG in place of ENOSPC, the same path."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("name", ["sheet.html", "sheet.pdf"])
def test_a_full_disk_leaves_the_old_sheet_whole(session: Path, name: str) -> None:
    target = session.parent / name
    target.write_bytes(b"the old sheet")
    before = sorted(session.parent.iterdir())
    with full_disk(4096):
        line = refused(pulsewright("evidence", session, "--to", target))
    assert "File too large" in line
    assert target.read_bytes() == b"the old sheet"
    assert sorted(session.parent.iterdir()) == before, "something half written was left behind"


def test_a_session_that_changes_under_the_hands_makes_no_sheet(session: Path) -> None:
    from pulsewright.errors import EvidenceError
    from pulsewright_app.evidence.writing import write_sheet
    from pulsewright_app.inputs import open_with_settings

    target = session.parent / "sheet.html"
    given = open_with_settings(session)
    with given.session:
        assessment = given.assess()
        with session.open("r+b") as stream:
            stream.seek(-2, os.SEEK_END)
            stream.write(b"\x01\x02")
        with pytest.raises(EvidenceError, match="the file has changed since it was measured"):
            write_sheet(assessment, given.session, given.review, target)
    assert not target.exists()


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("asked", [1, 3, 6])
def test_a_sheet_that_is_called_off_leaves_nothing(session: Path, asked: int) -> None:
    from pulsewright_analysis.findings import Cancelled
    from pulsewright_app.evidence.writing import write_sheet
    from pulsewright_app.inputs import open_with_settings

    times: list[int] = []
    told: list[str] = []

    def cancelled() -> bool:
        times.append(1)
        return len(times) >= asked

    given = open_with_settings(session)
    before = sorted(session.parent.iterdir())
    with given.session, pytest.raises(Cancelled):
        write_sheet(
            given.assess(), given.session, given.review, session.parent / "sheet.pdf",
            progress=lambda share, doing: told.append(doing), cancelled=cancelled,
        )  # fmt: skip
    assert sorted(session.parent.iterdir()) == before
    assert len(told) < asked


def test_a_headless_demo_writes_the_sheet_into_its_folder(tmp_path: Path) -> None:
    assert pulsewright("demo", "--headless", "--out", tmp_path / "out").exit_code == 0
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"findings.json", "findings.txt", "evidence.html", "evidence.pdf"}
    text = pdf_text((tmp_path / "out" / "evidence.pdf").read_bytes())
    assert "what went wrong in this run?" in text
