"""The desk judges the claims of a session, and judges anew when claims or markers change."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from .gestures import message, press


def told(window: Any) -> dict[str, str]:
    return {verdict.name: verdict.verdict for verdict in window.results.verdicts}


def test_the_verdicts_are_those_of_the_command_line(make_window: Any, faults: Path) -> None:
    from pulsewright_app.measure_command import assess_file

    window = make_window(faults)
    assert window.results.verdicts == assess_file(faults)[0].verdicts
    assert set(told(window).values()) == {"holds", "fails", "undecided"}


def test_claims_that_are_read_again_are_judged_without_measuring_anew(
    make_window: Any, qtbot: Any, settle: Any, faults: Path
) -> None:
    window = make_window(faults)
    generation = window.results.findings_generation
    claims = faults.with_suffix(".claims.toml")
    text = claims.read_text(encoding="utf-8").replace('kind = "skew"\nlimit = "5 ns"', 'kind = "skew"\nlimit = "20 ns"')
    claims.write_text(text, encoding="utf-8")
    name = "All channels hear the test pulse at once"
    assert told(window)[name] == "fails"
    press(window, qtbot, "Shift+F5")
    settle(window)
    assert told(window)[name] == "holds"
    assert window.results.findings_generation == generation
    claims.write_text("[[claims]]\nlimit = 3\n", encoding="utf-8")
    press(window, qtbot, "Shift+F5")
    settle(window)
    assert claims.name in message(window)
    assert told(window)[name] == "holds"  # those before it stay
    claims.unlink()
    press(window, qtbot, "Shift+F5")
    settle(window)
    assert window.results.verdicts == ()
    assert "There is no claims file" in message(window)


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


def test_verdicts_on_older_claims_or_markers_are_out_of_date_and_make_no_sheet(
    make_window: Any, settle: Any, faults: Path
) -> None:
    window = make_window(faults)
    document, results, files = window.document, window.results, window.saving.files
    assert not results.verdicts_out_of_date and files.sheet_refused() == ""
    more = '\n[[claims]]\nname = "gap"\nkind = "marker_pair"\npair = "gap"\nlimit = "100 us ± 1 us"\n'
    document.set_claims_text(document.claims_text + more, "Add a claim")
    assert results.verdicts_out_of_date
    assert files.sheet_refused() == "The claims are not judged by these findings yet."
    assert "Out of date: the verdicts" in window.findings_panel.as_text()
    settle(window)
    assert not results.verdicts_out_of_date and files.sheet_refused() == ""
    assert "Out of date" not in window.findings_panel.as_text()
    document.add_pair(10e-6, 110e-6, 1e-9, 1e-9, record=0, channel=0, name="gap")
    assert results.verdicts_out_of_date and files.sheet_refused()
    settle(window)
    assert not results.verdicts_out_of_date and told(window)["gap"] == "holds"
    document.flag(3)
    assert not results.verdicts_out_of_date, "no verdict rests on a flag"


def test_the_next_record_against_a_claim_is_one_that_a_claim_fails_by(
    make_window: Any, qtbot: Any, faults: Path
) -> None:
    window = make_window(faults)
    fails = {r for verdict in window.results.verdicts if verdict.verdict == "fails" for r in verdict.records}
    assert fails
    seen = set()
    for _ in range(len(fails) + 1):
        press(window, qtbot, "Shift+V")
        seen.add(window.viewing.record)
    assert seen == fails


def test_what_is_not_judged_is_not_said_to_hold(
    make_window: Any, qtbot: Any, settle: Any, faults: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> None:
        raise ValueError("no such claim")

    monkeypatch.setattr("pulsewright_analysis.claims.judge", broken)
    window = make_window(faults)
    assert "The claims are not judged: Judging came to nothing: ValueError: no such claim" in message(window)
    assert window.results.verdicts_out_of_date
    press(window, qtbot, "Shift+V")
    assert "could not be judged" in message(window)


def test_claims_that_wait_for_the_measuring_are_not_said_to_hold(make_window: Any, qtbot: Any, faults: Path) -> None:
    window = make_window(faults)
    window.results.clear()  # as while the session is being measured
    window.results.start()
    press(window, qtbot, "Shift+V")
    assert "not judged yet" in message(window)


def test_undecided_claims_have_no_record_against_them(make_window: Any, qtbot: Any, settle: Any, faults: Path) -> None:
    from dataclasses import replace

    window = make_window(faults)
    window.results.judge(tuple(replace(v, verdict="undecided", records=(3,)) for v in window.results.verdicts[:2]))
    press(window, qtbot, "Shift+V")
    assert window.viewing.record == 0
    assert message(window) == "No record speaks against a claim; 2 claims could not be decided."


def test_without_claims_nothing_is_said_of_them(make_window: Any, qtbot: Any, walking_session: Any) -> None:
    window = make_window(walking_session())
    press(window, qtbot, "Shift+V")
    assert "Nothing is claimed of this session" in message(window)
