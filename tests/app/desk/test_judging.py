"""The desk judges the claims of a session, and judges anew when claims or markers change."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from pulsewright.claims_file import read_claims


def told(window: Any) -> dict[str, str]:
    return {verdict.name: verdict.verdict for verdict in window.results.verdicts}


def test_the_verdicts_are_those_of_the_command_line(make_window: Any, faults: Path) -> None:
    from pulsewright_app.measure_command import assess_file

    window = make_window(faults)
    assert window.results.verdicts == assess_file(faults).verdicts
    assert set(told(window).values()) == {"holds", "fails", "undecided"}


def test_other_claims_are_judged_without_measuring_anew(make_window: Any, settle: Any, faults: Path) -> None:
    window = make_window(faults)
    generation = window.results.findings_generation
    claims = faults.with_suffix(".claims.toml")
    text = claims.read_text(encoding="utf-8").replace('kind = "skew"\nlimit = "5 ns"', 'kind = "skew"\nlimit = "20 ns"')
    claims.write_text(text, encoding="utf-8")
    name = "All channels hear the test pulse at once"
    assert told(window)[name] == "fails"
    window.document.set_claims_file(read_claims(claims))
    settle(window)
    assert told(window)[name] == "holds"
    assert window.results.findings_generation == generation
    window.document.set_claims_file(None)
    settle(window)
    assert window.results.verdicts == ()


def test_a_marker_pair_is_judged_where_it_stands(make_window: Any, settle: Any, faults: Path) -> None:
    claims = faults.with_suffix(".claims.toml")
    more = '\n[[claims]]\nname = "gap"\nkind = "marker_pair"\npair = "gap"\nlimit = "100 us ± 1 us"\n'
    claims.write_text(claims.read_text(encoding="utf-8") + more, encoding="utf-8")
    window = make_window(faults)
    assert told(window)["gap"] == "undecided"
    pair = window.document.add_pair(10e-6, 110e-6, 1e-9, 1e-9, record=0, channel=0, name="gap")
    settle(window)
    assert told(window)["gap"] == "holds"
    window.document.undo()
    settle(window)
    assert told(window)["gap"] == "undecided", pair
