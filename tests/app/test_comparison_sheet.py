"""The sheet of a comparison says the same in HTML and PDF, and what it says is what was compared.

The HTML is read with the standard library's parser, the PDF with pypdf.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pulsewright_app.cli import app
from pulsewright_app.samples import sample

from .evidence_reading import Reader, packed, pdf_text


def compared(*more: str | Path) -> tuple[str, int]:
    files = (sample("tank_walk.h5"), sample("tank_faults.h5"))
    claims = sample("tank_faults.h5").with_suffix(".claims.toml")
    call = ["compare", *map(str, files), "--claims", str(claims), "--same", "clock", "--swapped", "H01:H05"]
    run = CliRunner().invoke(app, [*call, *map(str, more)])
    return run.stdout, run.exit_code


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict, Reader, str]:
    folder = tmp_path_factory.mktemp("sheets")
    out, code = compared("--to", folder / "c.html", "--json", "--by", "A. Person", "--date", "26 November 2026")
    assert code == 1  # claims fail of the new session
    compared("--to", folder / "c.pdf")
    page = Reader((folder / "c.html").read_text(encoding="utf-8"))
    return json.loads(out), page, pdf_text((folder / "c.pdf").read_bytes())


def test_every_quantity_stands_in_both_forms(made: tuple[dict, Reader, str]) -> None:
    body, page, pdf = made
    exact = [value for value, _ in page.data]
    told = [text for _, text in page.data]
    for quantity in body["quantities"]:
        meaning = quantity["meaning"]
        assert meaning[:1].upper() + meaning[1:] in page.text
        assert packed(meaning[1:]) in packed(pdf)
        for side in ("old", "new", "difference"):
            if quantity[side] is not None:
                place = exact.index(str(quantity[side]["value"]))
                assert packed(told[place]) in packed(pdf)
    called = sum(word.strip() == "significant" for word in page.words)
    assert called == sum(quantity["significant"] is True for quantity in body["quantities"]) > 0


def test_claims_swapped_inputs_and_sessions_stand_in_both_forms(made: tuple[dict, Reader, str]) -> None:
    body, page, pdf = made
    for side in ("old", "new"):
        assert body[side]["sha256"] in page.text
        assert body[side]["sha256"] in packed(pdf)
    for claim in body["claims"]:
        assert claim["name"] in page.text
        assert packed(claim["name"]) in packed(pdf)
    (swapped,) = body["swapped"]
    values = [value for value, _ in page.data]
    for share in ("recorder", "cable"):
        assert str(swapped[share]["value"]) in values
    for remark in body["remarks"]:
        assert remark in page.text
        assert packed(remark) in packed(pdf)
    assert "A. Person" in page.text
    assert "26 November 2026" in page.text


def test_the_page_needs_nothing_from_outside_and_runs_nothing(made: tuple[dict, Reader, str]) -> None:
    _, page, _ = made
    assert not [tag for tag, _ in page.tags if tag in ("script", "link", "iframe", "img")]
    assert not [a for _, a in page.tags for key in ("src", "href") if (a.get(key) or "#")[0] != "#"]


def test_the_same_comparison_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.html", "b.html"):
        compared("--to", tmp_path / name)
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_a_name_that_is_no_sheet_is_refused_before_anything_is_measured(tmp_path: Path) -> None:
    out, code = compared("--to", tmp_path / "sheet.doc")
    assert code == 2
    assert out == ""
    assert list(tmp_path.iterdir()) == []


def test_an_old_sheet_stays_whole_where_the_new_one_cannot_be_written(tmp_path: Path) -> None:
    target = tmp_path / "sheet.html"
    target.mkdir()
    shutil.copy(sample("tank_walk.h5"), target / "kept")
    _, code = compared("--to", target)
    assert code == 2
    assert (target / "kept").exists()
