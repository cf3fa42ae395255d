"""Numbers with the generation they belong to: none from older settings passes as up to date."""

from __future__ import annotations

from dataclasses import replace

import pytest

pytest.importorskip("PySide6.QtCore", exc_type=ImportError, reason="Qt's core library is missing")

from pulsewright_analysis.results import Findings
from pulsewright_app.desk.results import Results


@pytest.mark.parametrize("partial", [False, True])
def test_what_was_being_measured_when_a_setting_changed_is_out_of_date(clean_findings: Findings, partial: bool) -> None:
    results = Results()
    generation = results.start()
    results.mark_out_of_date()  # a setting changed, and the next measuring has not begun
    hand_over = results.take_partial if partial else results.finish
    hand_over(generation, clean_findings)
    assert results.out_of_date
    assert results.verdicts_out_of_date
    results.finish(results.start(), clean_findings)
    assert not results.out_of_date


def test_a_setting_that_changed_before_the_measuring_began_is_in_it(clean_findings: Findings) -> None:
    results = Results()
    results.finish(results.start(), clean_findings)
    results.mark_out_of_date()
    assert results.out_of_date
    results.finish(results.start(), clean_findings)
    assert not results.out_of_date


@pytest.mark.parametrize(("stop", "told"), [(1, "record 0"), (3, "records 0 … 2")])
def test_partial_findings_say_which_records_they_are_of(clean_findings: Findings, stop: int, told: str) -> None:
    results = Results()
    results.take_partial(results.start(), replace(clean_findings, records=clean_findings.records[:stop]))
    assert results.part == told
