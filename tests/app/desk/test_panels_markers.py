"""The markers panel, by clicks and keys."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QApplication, QLineEdit, QSpinBox, QWidget

from pulsewright_app.desk.additions import Additions, LevelPair, PlacedLevel
from pulsewright_app.desk.habits.manners import set_font_percent
from pulsewright_app.desk.panels.marker_table import (
    DELTA,
    EACH,
    FIRST,
    INTERVALS,
    NAME,
    PLACE,
    RATE,
    SECOND,
)
from pulsewright_app.desk.panels.markers import MarkersPanel
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle


def text(panel: MarkersPanel, row: int, pair: int = 0) -> str:
    return str(panel.table.model().index(row, pair).data())


def spin_of(panel: MarkersPanel, pair: int = 0) -> QSpinBox:
    spin = panel.table.indexWidget(panel.table.model().index(INTERVALS, pair))
    assert isinstance(spin, QSpinBox)
    return spin


def test_ten_equal_pulses_60_us_apart_span_nine_intervals(bench: Any) -> None:
    """540 µs over nine intervals is 60 µs each (common practice, no source); U = 1.96·√2·0.5 µs, JCGM 100, 5.1.2."""
    panel = bench.show(MarkersPanel)
    bench.document.add_pair(100e-6, 640e-6, 0.5e-6, 0.5e-6, 2, 3, intervals=9)
    assert text(panel, FIRST) == "100.00 ± 0.98 µs"
    assert text(panel, SECOND) == "640.00 ± 0.98 µs"
    assert text(panel, DELTA) == "540.0 ± 1.4 µs"
    assert text(panel, EACH) == "60.00 ± 0.15 µs"
    assert text(panel, RATE) == "1.8519 ± 0.0048 kHz"
    assert text(panel, PLACE) == "record 2, H04"


def test_the_number_of_intervals_is_set_by_the_arrow_keys_and_by_typing(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    bench.document.add_pair(0.0, 540e-6, 1e-7, 1e-7, 0, 0)
    spin = spin_of(panel)
    spin.setFocus()
    bench.qtbot.keyClick(spin, Qt.Key.Key_Up)
    assert text(panel, EACH).startswith("270.")
    spin_of(panel).selectAll()
    bench.qtbot.keyClicks(spin_of(panel), "9")
    bench.qtbot.keyClick(spin_of(panel), Qt.Key.Key_Return)
    assert bench.document.pairs[0].intervals == 9
    assert text(panel, EACH).startswith("60.0")
    bench.document.undo()
    assert spin_of(panel).value() == 2


def test_a_box_whose_pair_is_gone_writes_nothing(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    panel.add_pair()
    spin = spin_of(panel)
    told: list[QWidget] = []
    panel.table.itemDelegateForRow(INTERVALS).commitData.connect(told.append)
    spin.stepBy(1)
    assert told == [spin]
    panel.remove_pair()
    spin.stepBy(1)  # its arrow is still held
    assert told == [spin]


def test_dragging_a_marker_keeps_the_spin_box(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    pair = bench.document.add_pair(0.0, 1e-6, 1e-9, 1e-9, 0, 0)
    before = spin_of(panel)
    bench.document.move_marker(pair.id, 2, 3e-6, 1e-9, merge=True)
    assert text(panel, DELTA).startswith("3.0")
    assert spin_of(panel) is before


def test_add_puts_a_pair_on_samples_and_selects_it(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    assert panel.hint.isVisible()
    bench.press(panel.add_button)
    (pair,) = bench.document.pairs
    for time in (pair.t1, pair.t2):
        assert time * 25e6 == pytest.approx(round(time * 25e6), abs=1e-6)
    assert pair.t1 < pair.t2
    assert pair.u1 == pytest.approx(40e-9 / 12**0.5)  # JCGM 100:2008, 4.3.7
    assert bench.viewing.selected_marker == (pair.id, 1)
    assert not panel.hint.isVisible()


def test_add_stays_within_the_stretch_that_is_shown(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    bench.viewing.zoom_time((0.2e-6, 0.8e-6))
    bench.press(panel.add_button)
    (pair,) = bench.document.pairs
    assert 0.2e-6 <= pair.t1 < pair.t2 <= 0.8e-6


def test_remove_by_button_and_by_delete(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    for _ in range(2):
        bench.press(panel.add_button)
    bench.click(panel.table, DELTA, 0)
    bench.press(panel.remove_button)
    assert [pair.name for pair in bench.document.pairs] == ["Pair 2"]
    bench.click(panel.table, DELTA, 0)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_Delete)
    assert bench.document.pairs == ()
    assert panel.hint.isVisible()


def test_choosing_a_time_selects_its_marker_and_the_selection_is_followed(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    first = bench.document.add_pair(0.0, 1e-6, 1e-9, 1e-9, 0, 0)
    second = bench.document.add_pair(0.0, 2e-6, 1e-9, 1e-9, 0, 0)
    bench.click(panel.table, SECOND, 0)
    assert bench.viewing.selected_marker == (first.id, 2)
    bench.viewing.select_marker(second.id, 2)
    assert bench.viewing.selected_marker == (second.id, 2)
    assert [index.column() for index in panel.table.selectionModel().selectedColumns()] == [1]
    bench.viewing.select_marker(second.id, 1)
    assert bench.viewing.selected_marker == (second.id, 1)
    assert panel.table.currentIndex().row() == FIRST


def test_a_pair_is_renamed_in_its_cell(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    bench.press(panel.add_button)
    bench.click(panel.table, NAME, 0)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_F2)
    (editor,) = (line for line in panel.table.findChildren(QLineEdit) if not isinstance(line.parent(), QSpinBox))
    editor.selectAll()
    bench.qtbot.keyClicks(editor, "Wall echo")
    bench.qtbot.keyClick(editor, Qt.Key.Key_Return)
    bench.qtbot.waitUntil(lambda: text(panel, NAME) == "Wall echo")  # the editor commits a moment later


def test_equal_times_have_no_rate(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    bench.document.add_pair(1e-6, 1e-6, 1e-9, 1e-9, 0, 0)
    assert text(panel, RATE) == "not defined"


def test_the_sample_clock_s_share_is_in_the_difference(bench: Any) -> None:
    """u = 100 ppm of 1 ms is 0.1 µs, U = 1.96 times that."""
    panel = bench.show(MarkersPanel)
    bench.document.add_pair(0.0, 1e-3, 0.0, 0.0, 0, 0)
    bench.document.set_setting("clock_ppm", 100)
    assert text(panel, DELTA) == "1.00000 ± 0.00020 ms"


def test_copying_keeps_full_precision_with_a_line_for_each_pair(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    bench.document.add_pair(1 / 3e6, 2 / 3e6, 1e-9, 1e-9, 4, 2, intervals=3)
    bench.document.add_pair(0.0, 1e-6, 1e-9, 1e-9, 0, 0)
    bench.viewing.select_marker(None)
    bench.press(panel.copy_button)
    heading, first, second = QGuiApplication.clipboard().text().splitlines()
    cells = dict(zip(heading.split("\t"), first.split("\t"), strict=True))
    assert float(cells["t1 / s"]) == 1 / 3e6
    assert float(cells["Δ / s"]) == 2 / 3e6 - 1 / 3e6
    assert float(cells["U(Δ) / s"]) == pytest.approx(1.959964 * 2**0.5 * 1e-9)  # JCGM 100:2008, table G.2
    assert (cells["N"], cells["Record"], cells["Channel"]) == ("3", "4", "H03")
    assert second.startswith("Pair 2\t")
    bench.click(panel.table, DELTA, 1)
    bench.qtbot.keyClick(panel.table, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    assert QGuiApplication.clipboard().text().splitlines()[1:] == [second]


def test_without_a_session_no_pair_can_be_added(bench: Any) -> None:
    bench.document.open(None)
    panel = bench.show(MarkersPanel)
    assert not panel.add_button.isEnabled()


@pytest.fixture
def usual_letters() -> Iterator[None]:
    """Give the letters back the size that they had."""
    yield
    set_font_percent(100)


@pytest.mark.parametrize("percent", [100, 200])
def test_a_whole_pair_is_seen_in_letters_of_any_size(
    usual_letters: None, desk: DeskWindow, settle: Settle, percent: int
) -> None:
    """Name to Δ/N of a pair, without scrolling."""
    set_font_percent(percent)
    panel = desk.markers_panel
    desk.document.add_pair(15.0e-6, 254.0e-6, 1e-8, 1e-8, 0, 0)
    desk.document.add_pair(15.0e-6, 20.0e-6, 1e-9, 1e-9, 0, 0)
    settle(desk)
    table, seen = panel.table, panel.table.viewport().visibleRegion().boundingRect()
    for row in range(NAME, EACH + 1):
        assert seen.contains(table.visualRect(table.model().index(row, 0))), row


@pytest.mark.parametrize("percent", [100, 200])
def test_the_buttons_stand_in_columns(usual_letters: None, desk: DeskWindow, settle: Settle, percent: int) -> None:
    set_font_percent(percent)
    desk.document.add_pair(15.0e-6, 254.0e-6, 1e-8, 1e-8, 0, 0)
    settle(desk)
    panel = desk.markers_panel
    follow = next(b for b in panel.findChildren(QAbstractButton) if b.text() == "Follow")
    places = [
        b.geometry() for b in panel.findChildren(QAbstractButton) if b.parent() is follow.parent() and b.isVisible()
    ]
    assert len(places) == 11
    rows = sorted({place.top() for place in places})
    columns = sorted({place.left() for place in places})
    assert len(rows) == -(-11 // len(columns)) > 1  # each row but the last is full
    widths = {place.width() for place in places}
    assert max(widths) - min(widths) <= 1  # whole pixels
    assert len({place.height() for place in places}) == 1
    right = follow.parentWidget().width()
    assert max(place.right() for place in places) == pytest.approx(right - 1, abs=1)  # as wide as the table


def test_every_control_has_an_accessible_name(bench: Any) -> None:
    panel = bench.show(MarkersPanel)
    bench.press(panel.add_button)
    assert spin_of(panel).accessibleName() == "Intervals of Pair 1"
    for widget in (panel.table, panel.add_button, panel.remove_button, panel.copy_button):
        assert widget.accessibleName()
        assert widget.focusPolicy() & Qt.FocusPolicy.TabFocus


def test_levels_with_the_number_of_a_pair_before_have_no_box_of_intervals(bench: Any, walking_session: Any) -> None:
    """The numbers begin anew with each session."""
    panel = bench.show(MarkersPanel)
    bench.document.add_pair(0.0, 540e-6, 1e-7, 1e-7, 0, 0)
    assert spin_of(panel)
    levels = LevelPair(1, "Levels 1", PlacedLevel(0.0, 1e-3, "hand"), PlacedLevel(0.5, 1e-3, "hand"), 0, 0)
    bench.document.open(walking_session(), additions=Additions(levels=(levels,)))
    index = panel.table.model().index(INTERVALS, 0)
    assert panel.table.model().index(NAME, 0).data() == "Levels 1"
    assert panel.table.indexWidget(index) is None


@pytest.mark.parametrize("pairs_in_sight", [1, 2])
def test_as_many_pairs_are_in_sight_as_are_whole_the_chosen_one_among_them(bench: Any, pairs_in_sight: int) -> None:
    panel = bench.show(MarkersPanel)
    for _ in range(3):
        panel.add_button.click()
    table = panel.table
    wide, beside = table.columnWidth(0), panel.width() - table.viewport().width()
    panel.resize(beside + round((pairs_in_sight + 0.6) * wide), 500)
    for pair in (0, 2, 1):
        table.setCurrentIndex(table.model().index(FIRST, pair))
        QApplication.processEvents()
        places = [table.visualRect(table.model().index(FIRST, column)) for column in range(3)]
        room = range(-3, table.viewport().width() + 3)  # less than the air beside a number
        assert places[pair].left() in room and places[pair].right() in room
        seen = [place for place in places if table.viewport().rect().adjusted(3, 0, -3, 0).intersects(place)]
        assert len(seen) == pairs_in_sight
