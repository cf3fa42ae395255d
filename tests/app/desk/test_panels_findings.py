"""The findings panel, by clicks and keys."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication

from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Findings, MissedTrigger
from pulsewright_app.desk.panels.findings import FindingsPanel


def lines(panel: FindingsPanel) -> list[str]:
    model = panel.list.model()
    return [model.index(row, 0).data().replace("\u00a0", " ") for row in range(model.rowCount())]


def cell(panel: FindingsPanel, row: int, column: int) -> str:
    return str(panel.table.model().index(row, column).data())


@pytest.fixture
def faulty(clean_findings: Findings) -> Findings:
    """One missed trigger, a clipped record on H03, and H07 late."""
    health = list(clean_findings.health)
    health[2] = replace(health[2], clipped_samples=5, clipped_records=(17,))
    skews = tuple(
        replace(item, skew=Quantity(10.6e-9, 0.2e-9, "s")) if item.channel == 6 else item
        for item in clean_findings.alignment.channels
    )
    missed = (MissedTrigger(7, 1, ("position", "polarity", "time")),)
    return replace(
        clean_findings,
        health=tuple(health),
        alignment=replace(clean_findings.alignment, channels=skews),
        sequence=replace(clean_findings.sequence, missed=missed),
    )


def test_what_stands_out_comes_first(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    assert lines(panel)[:4] == [
        "What stands out",
        "◆ 1 trigger is missing after record 7, seen by position, polarity and time",
        "◆ H07 (M2) is 10.60 ± 0.39 ns later than H01: significant, 11 channels compared",
        "◆ H03 (M1) has 5 clipped samples in record 17",
    ]
    assert not panel.state.isVisible()


def test_a_number_is_never_parted_from_its_unit(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    shown = panel.list.model().index(2, 0).data()
    assert "10.60\u00a0±\u00a00.39\u00a0ns later" in shown
    assert "\u00a0" not in panel.as_text()


def test_choosing_a_finding_by_click_shows_its_evidence(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    bench.click(panel.list, 1)
    assert (bench.viewing.record, bench.viewing.channel, bench.viewing.view) == (7, 0, "map")
    bench.click(panel.list, 3)
    assert (bench.viewing.record, bench.viewing.channel, bench.viewing.view) == (17, 2, "single")


def test_choosing_a_finding_by_key_shows_its_evidence(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    bench.click(panel.list, 1)
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_Down)
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_Down)
    assert bench.viewing.record == 7  # moving through the list goes nowhere yet
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_Return)
    assert bench.viewing.record == 17


def test_a_heading_shows_nothing(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    bench.viewing.go_to(4)
    bench.click(panel.list, 0)
    assert bench.viewing.record == 4


def test_the_alignment_table_marks_what_excludes_0(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    assert [cell(panel, 0, c) for c in range(4)] == ["H01", "M1", "reference", ""]
    assert [cell(panel, 6, c) for c in range(4)] == ["H07", "M2", "10.60 ± 0.39 ns", "◆ excludes 0"]
    assert cell(panel, 7, 3) == "includes 0"
    bench.click(panel.table, 6, 2)
    assert (bench.viewing.channel, bench.viewing.view) == (6, "single")


def test_the_alignment_table_copies_at_full_precision(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    bench.click(panel.table, 6, 2)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    heading, row = QGuiApplication.clipboard().text().splitlines()
    cells = dict(zip(heading.split("\t"), row.split("\t"), strict=True))
    assert cells["Skew against H01 / s"] == "1.06e-08"
    assert float(cells["U / s"]) == pytest.approx(0.2e-9 * 1.959964)  # JCGM 100:2008, table G.2


def test_a_running_measuring_shows_progress_and_can_be_cancelled(bench: Any) -> None:
    panel = bench.show(FindingsPanel)
    assert panel.state.text() == "Nothing is measured: F5 measures the session."
    assert not panel.cancel_button.isVisible()
    generation = bench.results.start()
    bench.results.advance(generation, 0.4, "pulses of records 0 to 9")
    assert panel.state.text() == "Pulses of records 0 to 9, 40 %"
    assert panel.progress.value() == pytest.approx(0.4 * panel.progress.maximum())
    with bench.qtbot.waitSignal(panel.cancel_requested):
        bench.press(panel.cancel_button)
    bench.results.fail(generation, "")
    assert not panel.cancel_button.isVisible()
    assert panel.state.text() == "Nothing is measured: F5 measures the session."


def test_older_numbers_are_told_as_out_of_date_until_the_new_ones_are_there(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    generation = bench.results.start()
    assert panel.state.text().startswith("Out of date: the numbers below were measured by older settings.")
    font = panel.list.model().index(1, 0).data(Qt.ItemDataRole.FontRole)
    assert font.italic()
    assert panel.as_text().startswith("Out of date")
    bench.results.finish(generation, replace(faulty, reasons=("No sine was found.",)))
    assert not panel.state.isVisible()
    assert "No sine was found" in lines(panel)
    assert panel.list.model().index(1, 0).data(Qt.ItemDataRole.FontRole) is None


def test_an_error_is_told_in_words(bench: Any) -> None:
    panel = bench.show(FindingsPanel)
    bench.results.fail(bench.results.start(), "the session has no channel 'H13'; its channels are H01, H02.")
    assert panel.state.text() == "Could not measure: the session has no channel 'H13'; its channels are H01, H02."
    assert panel.state.isVisible()


def test_everything_copies_as_text(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    bench.press(panel.copy_button)
    text = QGuiApplication.clipboard().text()
    assert text.startswith("What stands out\n  ◆ 1 trigger is missing after record 7")
    assert "  ◆ H07 (M2): 10.60 ± 0.39 ns, 95 % interval excludes 0\n" in text
    assert "  Position quoted: midpoint (default)\n" in text
    bench.click(panel.list, 3)
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QGuiApplication.clipboard().text() == "What stands out\n  ◆ H03 (M1) has 5 clipped samples in record 17\n"


def test_older_numbers_are_told_as_such_when_some_of_them_are_copied(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    bench.results.mark_out_of_date()
    bench.click(panel.list, 3)
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    told = "What stands out\n  ◆ H03 (M1) has 5 clipped samples in record 17\n"
    assert QGuiApplication.clipboard().text() == f"Out of date: measured by older settings\n\n{told}"
    bench.click(panel.table, 6, 2)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert "Skew against H01 / s, not final" in QGuiApplication.clipboard().text()


def test_whoever_walks_through_the_list_stays_where_they_are_when_it_is_measured_anew(
    bench: Any, faulty: Findings
) -> None:
    panel = bench.show(FindingsPanel, height=420)
    bench.measured(faulty)
    for row in (3, 1):
        bench.click(panel.list, row)
    for key in (Qt.Key.Key_Down, Qt.Key.Key_Down, Qt.Key.Key_Right, Qt.Key.Key_Down):
        bench.qtbot.keyClick(panel.list, key)
    stood = lines(panel)[panel.list.currentIndex().row()]
    row = panel.list.currentIndex().row()
    panel.list.verticalScrollBar().setValue(15)
    before = panel.list.verticalScrollBar().value()
    bench.measured(replace(faulty, reasons=("No sine was found.",)))
    assert panel.list.currentIndex().row() == row and lines(panel)[row] == stood
    assert panel.list.verticalScrollBar().value() == before
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_Down)
    assert panel.list.currentIndex().row() == row + 2  # a heading lies between


@pytest.mark.parametrize("width", [240, 600])
def test_no_sentence_is_cut_at_any_width(bench: Any, faulty: Findings, width: int) -> None:
    """The room of every row holds its text, wrapped by Qt's own text layout."""
    from PySide6.QtGui import QTextDocument

    panel = bench.show(FindingsPanel, width=width)
    bench.measured(faulty)
    bench.qtbot.waitUntil(lambda: panel.list.visualRect(panel.list.model().index(1, 0)).height() > 0)
    for row, line in enumerate(lines(panel)):
        index = panel.list.model().index(row, 0)
        layout = QTextDocument()
        layout.setDefaultFont(index.data(Qt.ItemDataRole.FontRole) or panel.list.font())
        layout.setDocumentMargin(0)
        layout.setTextWidth(panel.list.viewport().width() - 8)
        layout.setPlainText(line)
        assert panel.list.visualRect(index).height() >= layout.size().height()


def test_a_session_without_an_alignment_has_no_table(bench: Any, altered: Any) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(altered(alignment={"reference": None, "method": None, "channels": (), "between_modules": ()}))
    assert not panel.table.isVisible()


def test_every_control_has_an_accessible_name(bench: Any, faulty: Findings) -> None:
    panel = bench.show(FindingsPanel)
    bench.measured(faulty)
    for widget in (panel.list, panel.table, panel.cancel_button, panel.copy_button):
        assert widget.accessibleName()
        assert widget.focusPolicy() & Qt.FocusPolicy.TabFocus
    row = panel.list.model().index(1, 0).data(Qt.ItemDataRole.AccessibleTextRole)
    assert row.startswith("Needs attention: ")
