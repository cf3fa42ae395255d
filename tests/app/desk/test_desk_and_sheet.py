"""The numbers on the desk are those on the evidence sheet: the panel's own lines against the parsed HTML."""

from __future__ import annotations

from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright_app.desk.panels.findings import FindingsPanel
from pulsewright_app.evidence.building import sheet_of
from pulsewright_app.evidence.writing import as_html
from pulsewright_app.inputs import open_with_settings
from pulsewright_app.samples import sample

from ..evidence_reading import TOKEN, Reader


@pytest.mark.parametrize("name", ["tank_faults", "tank_sine"])
def test_every_number_that_the_findings_panel_shows_stands_on_the_sheet(bench: Any, name: str) -> None:
    given = open_with_settings(sample(f"{name}.h5"))
    with given.session as session:
        assessment = given.assess()
        page = Reader(as_html(sheet_of(assessment, session, given.review)).decode("utf-8"))
    panel = bench.show(FindingsPanel)
    bench.measured(assessment.findings)
    model = panel.list.model()
    lines = [str(model.index(row, 0).data()) for row in range(model.rowCount())]
    shown = [token for line in lines for token in TOKEN.findall(line)]
    assert len(shown) > 60
    known = set(TOKEN.findall(page.text))
    assert [token for token in shown if token not in known] == []
