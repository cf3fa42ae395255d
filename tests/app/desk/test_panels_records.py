"""The records panel, by clicks and keys."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QLineEdit

from pulsewright_analysis.record_table import record_table
from pulsewright_analysis.results import Findings, MissedTrigger
from pulsewright_app.desk.panels.record_table import (
    CLIPPED,
    FIRST,
    FLAG,
    GAP,
    LEFT_OUT,
    NOTE,
    NUMBER,
    POLARITY,
    RESIDUAL,
    TRIGGER,
)
from pulsewright_app.desk.panels.records import RecordsPanel
from pulsewright_app.desk.panels.tables import tab_separated

from .gestures import colours_of

TICK = 12  # pixels from a cell's left edge, inside its tick box


def text(panel: RecordsPanel, row: int, column: int) -> str:
    return str(panel.table.model().index(row, column).data())


def numbers(panel: RecordsPanel) -> list[int]:
    return [int(text(panel, row, NUMBER)) for row in range(panel.table.model().rowCount())]


@pytest.fixture
def panel(bench: Any, clean_findings: Findings) -> RecordsPanel:
    health = list(clean_findings.health)
    health[2] = replace(health[2], clipped_samples=3, clipped_records=(17,))
    missed = (MissedTrigger(7, 1, ("time",)), MissedTrigger(15, 2, ("time",)))
    sequence = replace(clean_findings.sequence, missed=missed)
    bench.measured(replace(clean_findings, health=tuple(health), sequence=sequence))
    shown: RecordsPanel = bench.show(RecordsPanel, width=1100)
    return shown


def test_a_row_tells_what_was_measured(panel: RecordsPanel) -> None:
    assert text(panel, 3, TRIGGER) == "3.072 ms"
    assert text(panel, 0, GAP) == ""
    assert text(panel, 3, GAP) == "1.024 ms"
    assert text(panel, 8, GAP) == "2.048 ms, 1 missed"
    assert text(panel, 16, GAP) == "3.072 ms, 2 missed"
    assert (text(panel, 3, POLARITY), text(panel, 4, POLARITY)) == ("negative", "positive")
    assert text(panel, 3, FIRST) == "115.0000 ± 0.0059 µs"  # U = 1.96 · 3 ns
    assert text(panel, 0, RESIDUAL) == "−4.0 ± 5.9 ns"
    assert text(panel, 17, CLIPPED) == "H03"


def test_the_columns_follow_the_current_channel(bench: Any, panel: RecordsPanel, altered: Any) -> None:
    sign = altered().polarity.sign.copy()
    sign[:, 4] *= -1
    bench.measured(altered(polarity={"sign": sign}))
    bench.viewing.set_channel(4)
    assert text(panel, 3, POLARITY) == "positive"
    assert text(panel, 3, RESIDUAL) == ""  # only the channel that tells the sequence has residuals
    assert "polarity and first pulse on H05" in panel.summary.text()


def test_a_click_goes_to_the_record_and_stepping_is_followed(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 5)
    assert bench.viewing.record == 5
    bench.viewing.step(3)
    assert panel.chosen_records() == [8]
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Down)
    assert bench.viewing.record == 9


def test_a_click_on_a_heading_sorts_by_number_not_by_text(bench: Any, panel: RecordsPanel) -> None:
    header = panel.table.horizontalHeader()
    place = header.viewport().rect().center()
    place.setX(header.sectionViewportPosition(RESIDUAL) + header.sectionSize(RESIDUAL) // 2)
    bench.qtbot.mouseClick(header.viewport(), Qt.MouseButton.LeftButton, pos=place)
    ascending = header.sortIndicatorOrder() is Qt.SortOrder.AscendingOrder
    assert numbers(panel) == list(range(24)) if ascending else list(range(23, -1, -1))
    bench.qtbot.mouseClick(header.viewport(), Qt.MouseButton.LeftButton, pos=place)
    assert numbers(panel) == (list(range(23, -1, -1)) if ascending else list(range(24)))
    bench.click(panel.table, 0)
    assert bench.viewing.record == numbers(panel)[0]


@pytest.mark.parametrize("column", [NUMBER, TRIGGER, FLAG])
def test_the_sort_arrow_stands_beside_its_heading(bench: Any, panel: RecordsPanel, column: int) -> None:
    """By construction: letters are 1 or 2 pixels apart, and the arrow, at the right, is no wider than 10."""
    header = panel.table.horizontalHeader()
    panel.table.sortByColumn(column, Qt.SortOrder.AscendingOrder)
    bench.qtbot.wait(20)
    left, width = header.sectionViewportPosition(column), header.sectionSize(column)
    section = colours_of(header.viewport().grab().toImage())[2:-3, left + 3 : left + width - 3]
    inked = (section.sum(axis=2) < 540).any(axis=0).nonzero()[0]
    gaps = np.diff(inked)
    last = int((gaps > 3).nonzero()[0][-1])
    assert inked[-1] - inked[last + 1] < 10
    assert inked[last] > inked[0] + 15  # the word is there, before it


def test_sorting_by_gap_puts_the_longest_together(panel: RecordsPanel) -> None:
    panel.table.sortByColumn(GAP, Qt.SortOrder.DescendingOrder)
    assert numbers(panel)[:2] == [16, 8]
    assert numbers(panel)[-1] == 0  # it has no gap before it: empty cells stay last
    panel.table.sortByColumn(GAP, Qt.SortOrder.AscendingOrder)
    assert numbers(panel)[-1] == 0


def test_what_is_chosen_stays_chosen_when_sorted(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 3)
    bench.click(panel.table, 5, shift=True)
    panel.table.sortByColumn(NUMBER, Qt.SortOrder.DescendingOrder)
    assert panel.chosen_records() == [3, 4, 5]
    assert text(panel, panel.table.currentIndex().row(), NUMBER) == str(bench.viewing.record)


def test_flagging_in_a_sorted_table_flags_the_record_that_is_shown(bench: Any, panel: RecordsPanel) -> None:
    panel.table.sortByColumn(NUMBER, Qt.SortOrder.DescendingOrder)
    bench.click(panel.table, 1, FLAG, from_left=TICK)
    assert bench.document.flags == {22}


def test_f_flags_the_chosen_records_and_takes_the_flags_away(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 3)
    bench.click(panel.table, 5, shift=True)
    assert panel.chosen_records() == [3, 4, 5]
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_F)
    assert bench.document.flags == {3, 4, 5}
    assert "3 flagged" in panel.summary.text()
    assert panel.flag_button.text() == "Unflag"
    bench.press(panel.flag_button)
    assert bench.document.flags == frozenset()


def test_the_tick_box_flags_one_record(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 6, FLAG, from_left=TICK)
    assert bench.document.flags == {6}


def test_a_note_is_written_in_the_cell_and_undone(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 2, NOTE)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_F2)
    editor = panel.table.findChild(QLineEdit)
    bench.qtbot.keyClicks(editor, "plate touched")
    bench.qtbot.keyClick(editor, Qt.Key.Key_Return)
    bench.qtbot.waitUntil(lambda: text(panel, 2, NOTE) == "plate touched")  # the editor commits a moment later
    assert bench.document.notes == {2: "plate touched"}
    bench.document.undo()
    assert text(panel, 2, NOTE) == ""


def test_a_record_is_left_out_with_a_reason_and_taken_back(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 9)
    assert not panel.leave_out_button.isEnabled()  # no reason yet
    bench.qtbot.keyClicks(panel.reason, "pump on")
    bench.qtbot.mouseClick(panel.leave_out_button, Qt.MouseButton.LeftButton)
    assert text(panel, 9, LEFT_OUT) == "pump on"
    assert "1 left out" in panel.summary.text()
    assert panel.reason.text() == ""
    assert panel.leave_out_button.text() == "Take back in"
    assert panel.table.hasFocus()  # not whatever follows a button that was switched off
    panel.leave_out_button.setFocus()
    bench.press(panel.leave_out_button)
    assert text(panel, 9, LEFT_OUT) == ""
    assert bench.document.left_out == {}


def test_copying_keeps_full_precision(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 3)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    heading, row = QGuiApplication.clipboard().text().splitlines()
    cells = dict(zip(heading.split("\t"), row.split("\t"), strict=True))
    assert cells["Record"] == "3"
    assert float(cells["First pulse / s"]) == 100e-6 + 5e-6 * 3
    assert float(cells["Trigger / s"]) == 3 * 1.024e-3
    assert cells["Flag"] == "no"


def test_numbers_of_older_settings_are_told_as_such(bench: Any, panel: RecordsPanel) -> None:
    assert "out of date" not in panel.summary.text()
    bench.results.mark_out_of_date()
    assert "measured columns are out of date" in panel.summary.text()
    assert panel.table.model().index(3, FIRST).data(Qt.ItemDataRole.FontRole).italic()


def test_without_findings_the_trigger_times_are_still_there(bench: Any) -> None:
    panel = bench.show(RecordsPanel)
    assert text(panel, 3, GAP) == "1.024 ms"
    assert text(panel, 3, POLARITY) == ""


def test_an_untimed_trigger_has_the_factor_of_a_uniform_error(bench: Any, clean_findings: Findings) -> None:
    """0.95·√3 = 1.645 standard deviations hold 95 % of a uniform distribution (JCGM 100:2008, 4.3.7)."""
    shared = np.full(len(clean_findings.pulses), 40e-9 / np.sqrt(12))
    own = {name: np.full(len(shared), 1e-13) for name in clean_findings.pulses.times_u}
    findings = replace(clean_findings, pulses=replace(clean_findings.pulses, trigger_u=shared, times_u=own))
    rows = record_table(bench.document.session, findings, 0)
    assert rows.first_pulse_expanded[0] == pytest.approx(0.95 * 20e-9, rel=1e-3)


def test_stepping_keys_are_left_to_the_desk(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 5)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_End)
    assert bench.viewing.record == 5


def test_every_control_has_an_accessible_name(panel: RecordsPanel) -> None:
    for widget in (panel.table, panel.flag_button, panel.reason, panel.leave_out_button):
        assert widget.accessibleName()
        assert widget.focusPolicy() & Qt.FocusPolicy.TabFocus


def test_another_session_finds_nothing_typed_and_nothing_chosen(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 5)
    bench.click(panel.table, 0, shift=True)
    assert panel.chosen_records() == [0, 1, 2, 3, 4, 5]
    bench.viewing.go_to(0)
    bench.qtbot.keyClicks(panel.reason, "bubbles")
    bench.open()
    assert panel.reason.text() == ""
    assert panel.chosen_records() == [0]
    panel.table.setFocus()
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_F)
    assert bench.document.flags == {0}


def test_a_filter_that_no_record_matches_is_told_where_the_rows_would_be(bench: Any, panel: RecordsPanel) -> None:
    bench.viewing.set_filter("flagged", np.zeros(0, dtype=np.int64))
    bench.viewing.set_only_matching(True)
    assert panel.table.model().rowCount() == 0
    told = "No record matches the filter."
    assert panel.table.accessibleDescription().startswith(told)
    image = colours_of(panel.table.viewport().grab().toImage())
    letters = (abs(image - image[-1, -1]).sum(axis=2) > 90).sum()
    assert letters > 20 * len(told)
    bench.viewing.set_only_matching(False)
    assert panel.table.accessibleDescription() == ""


def test_what_is_copied_says_which_columns_are_not_final(bench: Any, panel: RecordsPanel) -> None:
    bench.click(panel.table, 3)
    bench.results.mark_out_of_date()
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    headings = QGuiApplication.clipboard().text().splitlines()[0].split("\t")
    assert [heading for heading in headings if heading.endswith(", not final")] == [
        "Polarity, not final", "First pulse / s, not final", "Residual / s, not final", "Clipped, not final",
    ]  # fmt: skip


def test_what_is_copied_is_what_the_cells_say_at_full_precision(bench: Any, panel: RecordsPanel) -> None:
    bench.document.note(4, "plate\tstill\nmoving")
    bench.document.flag_many([2, 5])
    bench.document.leave_out_many([7], "bubbles")
    for column in (NUMBER, RESIDUAL, NOTE):
        panel.table.sortByColumn(column, Qt.SortOrder.DescendingOrder)
        panel.table.selectAll()
        bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
        assert QGuiApplication.clipboard().text() == tab_separated(panel.table.model(), range(24))
    bench.click(panel.table, 5)
    bench.click(panel.table, 3, shift=True)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QGuiApplication.clipboard().text() == tab_separated(panel.table.model(), [3, 4, 5])


def test_the_chosen_records_are_gathered_once_and_anew_where_they_are_others(bench: Any, panel: RecordsPanel) -> None:
    panel.table.selectAll()
    chosen = panel.chosen_records()
    assert chosen == list(range(bench.document.session.records))
    bench.results.mark_out_of_date()
    assert panel.chosen_records() is chosen
    panel.table.show_row(1)
    assert panel.chosen_records() == [1]
    panel.table.sortByColumn(0, Qt.SortOrder.DescendingOrder)
    assert panel.chosen_records() == [1]
    panel.table.show_row(1)
    assert panel.chosen_records() == [chosen[-2]]
