"""Marker pairs that follow their pulses from record to record, by keys and drags."""

from __future__ import annotations

import csv
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QFileDialog, QLabel

from pulsewright.review import marker_pairs, read_review, review_path_for, save_review
from pulsewright.session import Channel, Session
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.results import Findings
from pulsewright_app.csv_folder import write_csv
from pulsewright_app.desk.panels import rows_text, tables
from pulsewright_app.desk.panels.marker_table import DELTA, FIRST, INTERVALS, NAME, PLACE
from pulsewright_app.desk.panels.markers import MarkersPanel
from pulsewright_app.desk.panels.series_page import DELTA as SERIES_DELTA
from pulsewright_app.desk.panels.series_page import REASON, SeriesPage
from pulsewright_app.desk.panels.series_text import SeriesText
from pulsewright_app.desk.review_file import Kept, additions_of, review_of
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.evidence.marker_tables import marker_table
from pulsewright_app.theme import LIGHT

from .gestures import at, canvas_of, drag, picture, pixels

APART = 40e-6
ALONE = 3
"""A record whose second pulse is missing."""


@pytest.fixture
def two_pulses() -> Session:
    """Two pulses 40 µs apart that walk 2 µs a record together; invented, and no check of any number."""
    time = np.arange(1200) / 10e6
    samples = np.random.default_rng(6).normal(0.0, 20.0, (5, 2, len(time)))
    for record in range(5):
        for k in range(1 if record == ALONE else 2):
            samples[record] += 9000 * np.exp(-(((time - 30e-6 - 2e-6 * record - k * APART) / 1e-6) ** 2) / 2)
    channels = [Channel(f"H{c + 1:02d}", "M1", scale=1e-4) for c in range(2)]
    return Session.from_samples(np.round(samples).astype(np.int16), channels, 10e6, 0, trigger_time=np.arange(5) * 1e-3)


def times(desk: DeskWindow, record: int) -> list[float]:
    findings = desk.results.findings
    assert isinstance(findings, Findings)
    return [float(findings.pulses.time[i]) for i in findings.pulses.where(record, 0)]


@pytest.fixture
def following(make_window: Callable[..., DeskWindow], two_pulses: Session, qtbot: Any) -> DeskWindow:
    """A desk on which a pair was dragged onto both pulses of record 0 and made to follow them by its key."""
    desk = make_window(two_pulses)
    desk.viewing.set_lanes(False)
    first, second = times(desk, 0)
    pair = desk.document.add_pair(10e-6, 100e-6, 1e-8, 1e-8, 0, 0)
    drag(qtbot, desk, at(desk, 10e-6), at(desk, first))
    drag(qtbot, desk, at(desk, 100e-6), at(desk, second))
    assert desk.document.pair(pair.id).t2 == second  # type: ignore[union-attr]
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_T)
    assert desk.document.pairs[0].pulses == (0, 1)
    return desk


def cell(desk: DeskWindow, row: int) -> str:
    panel = desk.docks["markers_panel"].findChild(MarkersPanel)
    assert panel is not None
    return str(panel.table.model().index(row, 0).data())


def test_the_lines_go_where_the_pulses_are_in_the_next_record(following: DeskWindow, qtbot: Any) -> None:
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_PageDown)
    columns = {x for x, _ in pixels(picture(following), LIGHT.marker)}
    assert {round(canvas_of(following).x_of(t)) for t in times(following, 1)} <= columns
    assert cell(following, PLACE) == "follows pulses 0 and 1, H01, record 1"
    assert cell(following, FIRST).startswith("32.0")
    assert cell(following, DELTA).startswith("40.0")


def test_a_record_without_the_pulse_shows_no_number(following: DeskWindow, settle: Any) -> None:
    following.viewing.go_to(ALONE)
    settle(following)
    assert cell(following, FIRST) == cell(following, DELTA) == "not here"
    assert "only 1 pulse in record 3 on H01" in cell(following, PLACE)
    before = pixels(picture(following), LIGHT.marker)
    heights = {x: sum(column == x for column, _ in before) for x, _ in before}
    assert max(heights.values(), default=0) < canvas_of(following).plot_rect().height() / 2, "no line may stand there"


def test_the_trigger_that_both_pulses_share_takes_no_part_in_the_difference(following: DeskWindow) -> None:
    """The trigger was not timed: Ts/√12 in each time (JCGM 100:2008, 4.3.7), none of it in their difference."""
    pair = following.document.pairs[0]
    assert pair.u1 > 0.9 * 1e-7 / np.sqrt(12.0)
    uncertain = float(cell(following, DELTA).split("±")[1].split()[0]) * 1e-6
    assert uncertain < 0.5 * 1.96 * np.hypot(pair.u1, pair.u2)


def test_dragging_a_line_fixes_it_and_the_other_goes_on_following(following: DeskWindow, qtbot: Any) -> None:
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_PageDown)
    first, second = times(following, 1)
    drag(qtbot, following, at(following, second), at(following, 90e-6))
    pair = following.document.pairs[0]
    assert (pair.pulses, pair.t1, pair.places) == ((0, None), first, ((1, 0), (1, 0)))
    assert pair.t2 == pytest.approx(90e-6, abs=2 * canvas_of(following).pixel_time)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert following.document.pairs[0].pulses == (0, 1)


def test_nudging_fixes_it_too_and_the_key_fixes_it_alone(following: DeskWindow, qtbot: Any) -> None:
    canvas = canvas_of(following)
    qtbot.keyClick(canvas, Qt.Key.Key_Right)
    assert following.document.pairs[0].pulses == (0, None)
    qtbot.keyClick(canvas, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert following.document.pairs[0].pulses == (0, 1)
    qtbot.keyClick(canvas, Qt.Key.Key_PageDown)
    qtbot.keyClick(canvas, Qt.Key.Key_T)
    assert following.document.pairs[0].pulses is None
    assert following.document.pairs[0].t1 == times(following, 1)[0]


def test_dropped_on_another_channel_a_marker_is_fixed_and_the_other_goes_on_following(
    following: DeskWindow, qtbot: Any, settle: Any
) -> None:
    following.viewing.set_lanes(True)
    settle(following)
    place = following.middle.view.level_row(1)
    assert place is not None
    there = at(following, times(following, 0)[1], (place.low + place.high) / 2)
    drag(qtbot, following, at(following, times(following, 0)[1]), there)
    pair = following.document.pairs[0]
    assert (pair.places, pair.pulses) == (((0, 0), (0, 1)), (0, None))
    assert cell(following, PLACE) == "t₁ follows pulse 0 of H01, record 0, t₂ of record 0, H02"
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_T)
    assert following.document.pairs[0].pulses == (0, 1)
    assert cell(following, PLACE) == "follows pulse 0 of H01 and pulse 1 of H02, record 0"


def test_a_pair_beside_the_pulses_cannot_follow_and_says_why(desk: DeskWindow, qtbot: Any) -> None:
    pair = desk.document.add_pair(100e-6, 120e-6, 1e-8, 1e-8, 0, 0)
    desk.viewing.select_marker(pair.id, 1)
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_T)
    assert desk.document.pairs[0].pulses is None
    told = [label.text() for label in desk.findChildren(QLabel) if "stands on no found pulse" in label.text()]
    assert told == ["Pair 1: marker 1 stands on no found pulse of H01 in record 0; drop both markers on pulses first."]


def test_the_review_keeps_what_is_followed_and_an_older_one_is_read(
    following: DeskWindow, two_pulses: Session, tmp_path: Path
) -> None:
    path = review_path_for(tmp_path / "run.h5")
    save_review(review_of(following.document.additions, frozenset(), Kept(), two_pulses, ""), path)
    assert additions_of(read_review(path), two_pulses)[0].pairs == following.document.pairs
    older = path.read_text().replace(',\n   "pulse": 0', "").replace(',\n   "pulse": 1', "")
    assert '"pulse"' not in older
    path.write_text(older)
    (fixed,) = additions_of(read_review(path), two_pulses)[0].pairs
    assert fixed.pulses is None
    assert fixed.t1 == following.document.pairs[0].t1


def test_one_marker_follows_alone_while_the_other_stays_fixed(following: DeskWindow, qtbot: Any) -> None:
    """Δ of a pulse against a fixed time: u² = u(pulse)² + u(fixed)², the trigger's part with it (JCGM 100, 5.1.2)."""
    canvas, alone = canvas_of(following), Qt.KeyboardModifier.AltModifier
    fixed = following.document.pairs[0].t1
    following.viewing.select_marker(1, 1)
    qtbot.keyClick(canvas, Qt.Key.Key_T, alone)
    assert following.document.pairs[0].pulses == (None, 1)
    assert following.actions_by_name["follow_one"].isChecked() is False  # the chosen marker is the fixed one
    qtbot.keyClick(canvas, Qt.Key.Key_PageDown)
    assert cell(following, PLACE) == "t₂ follows pulse 1, H01, record 1, t₁ of record 0"
    second = times(following, 1)[1]
    value, uncertain = cell(following, DELTA).removesuffix(" µs").split(" ± ")
    assert float(value) == pytest.approx((second - fixed) * 1e6, abs=2e-3)
    found = following.results.findings.pulses  # type: ignore[union-attr]
    u = found.time_u[found.where(1, 0)[1]]
    assert float(uncertain) == pytest.approx(1.959964 * np.hypot(u, following.document.pairs[0].u1) * 1e6, rel=0.05)
    columns = {x for x, _ in pixels(picture(following), LIGHT.marker)}
    for line in (canvas.x_of(t) for t in (fixed, second)):
        assert {round(line - 0.5), round(line), round(line + 0.5)} & columns
    following.viewing.select_marker(1, 2)
    assert following.actions_by_name["follow_one"].isChecked()
    assert not following.actions_by_name["follow"].isChecked()
    qtbot.keyClick(canvas, Qt.Key.Key_T, alone)
    assert following.document.pairs[0].pulses is None
    qtbot.keyClick(canvas, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert following.document.pairs[0].pulses == (None, 1)


def test_the_key_lets_the_other_one_follow_too(following: DeskWindow, qtbot: Any) -> None:
    """In another record than the one in which the marker that is fixed was put down."""
    canvas = canvas_of(following)
    following.viewing.select_marker(1, 1)
    qtbot.keyClick(canvas, Qt.Key.Key_T, Qt.KeyboardModifier.AltModifier)
    qtbot.keyClick(canvas, Qt.Key.Key_PageDown)
    following.viewing.zoom_time((0.0, 110e-6))
    drag(qtbot, following, at(following, times(following, 0)[0]), at(following, times(following, 1)[0]))
    assert following.document.pairs[0].pulses == (None, 1)
    qtbot.keyClick(canvas, Qt.Key.Key_T)
    assert following.document.pairs[0].pulses == (0, 1)
    assert following.actions_by_name["follow"].isChecked()


def test_the_fixed_marker_is_dragged_and_the_other_goes_on_following(following: DeskWindow, qtbot: Any) -> None:
    canvas = canvas_of(following)
    following.viewing.select_marker(1, 1)
    qtbot.keyClick(canvas, Qt.Key.Key_T, Qt.KeyboardModifier.AltModifier)
    drag(qtbot, following, at(following, times(following, 0)[0]), at(following, 10e-6))
    pair = following.document.pairs[0]
    assert pair.pulses == (None, 1)
    assert pair.t1 == pytest.approx(10e-6, abs=2 * canvas.pixel_time)
    qtbot.keyClick(canvas, Qt.Key.Key_PageDown)
    assert float(cell(following, FIRST).split()[0]) == pytest.approx(pair.t1 * 1e6, abs=0.01)
    assert cell(following, PLACE) == "t₂ follows pulse 1, H01, record 1, t₁ of record 0"


def test_dragged_while_another_channel_is_current_the_other_one_goes_on_following(
    following: DeskWindow, qtbot: Any, settle: Any
) -> None:
    following.viewing.set_lanes(True)
    following.viewing.set_channel(1)
    settle(following)
    place = following.middle.view.level_row(0)
    assert place is not None
    height = (place.low + place.high) / 2
    drag(qtbot, following, at(following, times(following, 0)[0], height), at(following, 10e-6, height))
    pair = following.document.pairs[0]
    assert (pair.pulses, pair.places) == ((None, 1), ((0, 0), (0, 0)))


def test_a_pair_of_which_one_follows_is_tabulated_too(following: DeskWindow, qtbot: Any, settle: Any) -> None:
    following.viewing.select_marker(1, 2)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_T, Qt.KeyboardModifier.AltModifier)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_T, Qt.KeyboardModifier.ShiftModifier)
    settle(following)
    (page,) = following.findChildren(SeriesPage)
    assert "marker 1 follows pulse 0 of H01 by its midpoint; marker 2 is fixed at 70." in page.told.text()
    assert shown(page, ALONE, REASON) == ""  # its first pulse is there
    value = float(shown(page, 1, SERIES_DELTA).split()[0])
    assert value == pytest.approx(38.0, abs=0.05)  # the pulses walk 2 µs a record


@pytest.fixture
def page(following: DeskWindow, qtbot: Any, settle: Any) -> SeriesPage:
    """The page of the pair over all records, opened by its key."""
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_T, Qt.KeyboardModifier.ShiftModifier)
    settle(following)
    (found,) = following.findChildren(SeriesPage)
    return found


def shown(page: SeriesPage, row: int, column: int) -> str:
    return str(page.table.model().index(row, column).data())


def test_the_pair_is_tabulated_over_all_records(page: SeriesPage, following: DeskWindow) -> None:
    """Mean and standard deviation copied from the foot are NumPy's, of the differences copied above it."""
    assert page.table.model().rowCount() == 5 + 2
    assert shown(page, ALONE, SERIES_DELTA) == ""
    assert shown(page, ALONE, REASON) == "only 1 pulse in record 3 on H01, so no pulse 1"
    assert shown(page, 5, REASON) == "of 4 of 5 records"
    page.copy_button.click()
    lines = [line.split("\t") for line in QGuiApplication.clipboard().text().splitlines()]
    values = np.array([float(line[SERIES_DELTA]) for line in lines[1:6] if line[SERIES_DELTA]])
    assert len(values) == 4
    assert float(lines[6][SERIES_DELTA]) == pytest.approx(np.mean(values), rel=1e-12)
    assert float(lines[7][SERIES_DELTA]) == pytest.approx(np.std(values, ddof=1), rel=1e-9)


def test_very_many_rows_are_copied_while_the_page_goes_on(
    page: SeriesPage, following: DeskWindow, settle: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    page.copy_button.click()
    at_once = QGuiApplication.clipboard().text()
    asked: list[int] = []
    threads: list[bool] = []
    cells = SeriesText.cells

    def watched(rows: SeriesText) -> Any:
        threads.append(threading.current_thread() is threading.main_thread())
        return cells(rows)

    monkeypatch.setattr(rows_text, "MOST_AT_ONCE", 5)
    monkeypatch.setattr(SeriesText, "cells", watched)
    monkeypatch.setattr(tables, "exact_text", lambda cell: asked.append(cell.row()) or "")
    QGuiApplication.clipboard().setText("")
    page.table.selectAll()
    page.copy()
    assert not asked  # no cell by itself
    settle(following)
    assert QGuiApplication.clipboard().text() == at_once
    assert threads == [False]
    assert page.told.text() == "7 rows in the clipboard."


def test_choosing_a_row_goes_to_its_record(page: SeriesPage, following: DeskWindow, qtbot: Any) -> None:
    box = page.table.visualRect(page.table.model().index(2, 1))
    qtbot.mouseClick(page.table.viewport(), Qt.MouseButton.LeftButton, pos=box.center())
    assert following.viewing.record == 2


def test_the_table_is_saved_as_csv_with_every_u(
    page: SeriesPage, following: DeskWindow, qtbot: Any, settle: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(tmp_path / "pair"), ""))
    qtbot.mouseClick(page.csv_button, Qt.MouseButton.LeftButton)
    settle(following)
    with (tmp_path / "pair.csv").open(encoding="utf-8", newline="") as stream:
        heading, *rows = list(csv.reader(stream))
    assert len(rows) == 5
    cells = [dict(zip(heading, row, strict=True)) for row in rows]
    assert [row["record"] for row in cells] == ["0", "1", "2", "3", "4"]
    assert cells[ALONE]["reason"].startswith("only 1 pulse")
    first, second = times(following, 2)
    assert float(cells[2]["difference (s)"]) == pytest.approx(second - first, rel=1e-12)
    assert float(cells[2]["difference_u (s)"]) > 0
    assert page.told.text() == f"5 records in {tmp_path / 'pair.csv'}"


def test_the_page_says_what_to_do_where_no_pair_follows(page: SeriesPage, following: DeskWindow, qtbot: Any) -> None:
    qtbot.keyClick(page.table, Qt.Key.Key_T)
    assert page.told.text().startswith("No pair follows its pulses")
    assert page.table.model().rowCount() == 0
    assert not page.copy_button.isEnabled()


def test_it_is_among_the_csv_tables_with_no_formula_in_its_name(following: DeskWindow, tmp_path: Path) -> None:
    following.document.rename_pair(1, "=1+1")
    session, findings = following.document.session, following.results.findings
    assert session is not None
    assert findings is not None
    review = review_of(following.document.additions, frozenset(), Kept(), session, "")
    write_csv(Assessment(findings, (), None), tmp_path, review)
    with (tmp_path / "marker_series.csv").open(encoding="utf-8", newline="") as stream:
        heading, *rows = list(csv.reader(stream))
    assert len(rows) == 5
    assert {row[heading.index("name")] for row in rows} == {"'=1+1"}
    apart = heading.index("difference (s)")
    assert rows[ALONE][apart] == ""
    assert float(rows[0][apart]) == pytest.approx(APART, abs=0.1e-6)  # as the samples were made


def test_n_is_suggested_by_the_pulses_between_and_undone(following: DeskWindow, qtbot: Any) -> None:
    following.document.set_intervals(1, 7)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_N)
    assert following.document.pairs[0].intervals == 1  # two pulses make one interval
    assert cell(following, INTERVALS) == "1"
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert following.document.pairs[0].intervals == 7


def test_the_panel_shows_the_suggested_n_and_its_button_takes_it(following: DeskWindow, qtbot: Any) -> None:
    following.document.set_intervals(1, 7)
    panel = following.markers_panel
    (told,) = (label for label in panel.findChildren(QLabel) if "By the pulses between" in label.text())
    assert (told.isVisible(), told.text()) == (True, "By the pulses between, N = 1")
    (take,) = (b for b in panel.findChildren(QAbstractButton) if b.text() == "Take it")
    qtbot.mouseClick(take, Qt.MouseButton.LeftButton)
    assert cell(following, INTERVALS) == "1"
    assert told.text() == "By the pulses between, N = 1, as set"
    assert not take.isVisible()
    following.viewing.select_marker(None)
    assert not told.isVisible()


def test_no_n_is_suggested_where_no_pulses_lie_between(following: DeskWindow, qtbot: Any) -> None:
    pair = following.document.add_pair(90e-6, 100e-6, 1e-8, 1e-8, 0, 0, intervals=3)
    following.viewing.select_marker(pair.id, 1)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_N)
    assert following.document.pairs[1].intervals == 3
    assert [label for label in following.findChildren(QLabel) if "fewer than two pulses of H01" in label.text()]


def test_the_order_of_pairs_is_changed_by_keys_kept_and_undone(
    following: DeskWindow, two_pulses: Session, qtbot: Any
) -> None:
    second = following.document.add_pair(90e-6, 100e-6, 1e-8, 1e-8, 0, 0, name="Echo")
    following.viewing.select_marker(second.id, 1)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_Left, Qt.KeyboardModifier.ControlModifier)
    assert cell(following, NAME) == "Echo"
    review = review_of(following.document.additions, frozenset(), Kept(), two_pulses, "")
    assert [first.name for first, _ in marker_pairs(review)] == ["Echo", "Pair 1"]
    findings = following.results.findings
    assert findings is not None
    on_the_sheet = marker_table(review, findings)
    assert on_the_sheet is not None
    assert [row[0] for row in on_the_sheet.rows] == ["Echo", "Pair 1"]
    assert additions_of(review, two_pulses)[0].pairs == following.document.pairs
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert cell(following, NAME) == "Pair 1"
