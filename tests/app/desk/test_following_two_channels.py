"""Marker pairs whose two ends follow pulses of two channels, by keys and drags.

Expected spacings are the algebra by which the samples are made below; H02's pulse steps, H01's stands still.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QLabel

from pulsewright.review import read_review, review_path_for, save_review
from pulsewright.session import Channel, Session
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.results import Findings
from pulsewright_app.csv_folder import write_csv
from pulsewright_app.desk.panels.marker_table import DELTA, INTERVALS, PLACE
from pulsewright_app.desk.panels.markers import MarkersPanel
from pulsewright_app.desk.panels.series_page import DELTA as SERIES_DELTA
from pulsewright_app.desk.panels.series_page import POLARITY, REASON, SeriesPage
from pulsewright_app.desk.review_file import Kept, additions_of, review_of
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.evidence.building import sheet_of
from pulsewright_app.evidence.sheet import Number
from pulsewright_app.theme import LIGHT

from .gestures import at, canvas_of, drag, picture, pixels

RECORDS, SILENT = 6, 4
PING = 20e-6
"""Where H01 has its only pulse, in every record."""


def arrival(record: int) -> float:
    """Seconds from the trigger; the arrival walks 3 µs a record."""
    return 50e-6 + 3e-6 * record


@pytest.fixture
def session() -> Session:
    """A ping on H01, and its arrival on H02, upside down in every second record and missing in one."""
    time, random = np.arange(1200) / 10e6, np.random.default_rng(6)
    samples = random.normal(0.0, 20.0, (RECORDS, 2, len(time)))
    for record in range(RECORDS):
        samples[record, 0] += 9000 * np.exp(-(((time - PING) / 1e-6) ** 2) / 2)
        if record != SILENT:
            sign = -1 if record % 2 else 1
            samples[record, 1] += sign * 8000 * np.exp(-(((time - arrival(record)) / 1e-6) ** 2) / 2)
    channels = [Channel(f"H{c + 1:02d}", "M1", scale=1e-4) for c in range(2)]
    codes = np.round(samples).astype(np.int16)
    return Session.from_samples(codes, channels, 10e6, 0, trigger_time=np.arange(RECORDS) * 1e-3)


@pytest.fixture
def following(make_window: Callable[..., DeskWindow], session: Session, qtbot: Any, settle: Any) -> DeskWindow:
    """A desk on which a pair's first line was dropped on H01's pulse, its second on H02's, and made to follow."""
    desk = make_window(session)
    desk.viewing.set_lanes(True)
    settle(desk)
    desk.document.add_pair(10e-6, 100e-6, 1e-8, 1e-8, 0, 0, name="way")
    for channel, start, end in ((0, 10e-6, PING), (1, 100e-6, arrival(0))):
        row = desk.middle.view.level_row(channel)
        assert row is not None
        height = (row.low + row.high) / 2
        drag(qtbot, desk, at(desk, start, height), at(desk, end, height))
    qtbot.keyClick(canvas_of(desk), Qt.Key.Key_T)
    pair = desk.document.pairs[0]
    assert (pair.places, pair.pulses) == (((0, 0), (0, 1)), (0, 0))
    return desk


def cell(desk: DeskWindow, row: int) -> str:
    panel = desk.docks["markers_panel"].findChild(MarkersPanel)
    assert panel is not None
    return str(panel.table.model().index(row, 0).data())


def lines(desk: DeskWindow) -> set[int]:
    """The columns of pixels in which a marker's line stands."""
    found = [x for x, _ in pixels(picture(desk), LIGHT.marker)]
    return {x for x in set(found) if found.count(x) > canvas_of(desk).plot_rect().height() / 2}


def microseconds(text: str) -> float:
    value, unit = text.split("±")[0].strip(), text.split()[-1]
    assert unit == "µs"
    return float(value)


def test_each_line_goes_where_its_own_channels_pulse_is(following: DeskWindow, qtbot: Any, settle: Any) -> None:
    for record in range(1, 4):
        qtbot.keyClick(canvas_of(following), Qt.Key.Key_PageDown)
        settle(following)
        canvas = canvas_of(following)
        expected = [canvas.x_of(PING), canvas.x_of(arrival(record))]
        columns = lines(following)
        assert all(any(abs(x - place) <= 1.5 for x in columns) for place in expected)
        assert microseconds(cell(following, DELTA)) == pytest.approx((arrival(record) - PING) * 1e6, abs=0.05)
        assert cell(following, PLACE) == f"follows pulse 0 of H01 and pulse 0 of H02, record {record}"


def test_where_one_channel_has_no_pulse_it_says_which(following: DeskWindow, settle: Any) -> None:
    following.viewing.go_to(SILENT)
    settle(following)
    assert cell(following, DELTA) == "not here"
    assert cell(following, PLACE).endswith(f"no pulse in record {SILENT} on H02, so no pulse 0")
    assert not lines(following)


def test_one_end_is_fixed_by_its_key_and_the_other_goes_on(following: DeskWindow, qtbot: Any) -> None:
    canvas = canvas_of(following)
    following.viewing.select_marker(1, 1)
    qtbot.keyClick(canvas, Qt.Key.Key_T, Qt.KeyboardModifier.AltModifier)
    qtbot.keyClick(canvas, Qt.Key.Key_PageDown)
    assert following.document.pairs[0].pulses == (None, 0)
    assert cell(following, PLACE) == "t₂ follows pulse 0 of H02, record 1, t₁ of record 0, H01"
    assert microseconds(cell(following, DELTA)) == pytest.approx((arrival(1) - PING) * 1e6, abs=0.05)
    qtbot.keyClick(canvas, Qt.Key.Key_T, Qt.KeyboardModifier.AltModifier)
    assert following.document.pairs[0].pulses == (0, 0)


def test_an_end_beside_its_channels_pulse_says_which_channel(following: DeskWindow, qtbot: Any) -> None:
    row = following.middle.view.level_row(1)
    assert row is not None
    height = (row.low + row.high) / 2
    drag(qtbot, following, at(following, arrival(0), height), at(following, 90e-6, height))
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_T)
    assert following.document.pairs[0].pulses == (0, None)
    told = "way: marker 2 stands on no found pulse of H02 in record 0; drop both markers on pulses first."
    assert [label for label in following.findChildren(QLabel) if label.text() == told]


def test_n_is_suggested_in_every_record(following: DeskWindow, qtbot: Any) -> None:
    following.document.set_intervals(1, 7)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_PageDown)
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_N)
    assert cell(following, INTERVALS) == "1"


def test_the_page_lists_every_record_with_both_polarities(
    following: DeskWindow, qtbot: Any, settle: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    qtbot.keyClick(canvas_of(following), Qt.Key.Key_T, Qt.KeyboardModifier.ShiftModifier)
    settle(following)
    (page,) = following.findChildren(SeriesPage)
    assert page.told.text().startswith("way follows pulse 0 of H01 and pulse 0 of H02, each by its midpoint.")
    model = page.table.model()
    for record in (0, 1, 2, 3, 5):
        shown = microseconds(str(model.index(record, SERIES_DELTA).data()))
        assert shown == pytest.approx((arrival(record) - PING) * 1e6, abs=0.05)
        assert model.index(record, POLARITY).data() == ("+, −" if record % 2 else "+, +")
    assert model.index(SILENT, REASON).data() == f"no pulse in record {SILENT} on H02, so no pulse 0"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(tmp_path / "pair"), ""))
    qtbot.mouseClick(page.csv_button, Qt.MouseButton.LeftButton)
    settle(following)
    rows = read_rows(tmp_path / "pair.csv")
    assert {(row["channel"], row["channel_2"]) for row in rows} == {("H01", "H02")}
    assert [row["polarity_2"] for row in rows[:4]] == ["1", "-1", "1", "-1"]
    assert float(rows[3]["difference (s)"]) == pytest.approx(arrival(3) - PING, abs=50e-9)


def read_rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_the_review_keeps_it_and_sheet_and_tables_have_the_desks_numbers(
    following: DeskWindow, session: Session, tmp_path: Path
) -> None:
    findings = following.results.findings
    assert isinstance(findings, Findings)
    path = review_path_for(tmp_path / "run.h5")
    save_review(review_of(following.document.additions, frozenset(), Kept(), session, ""), path)
    review = read_review(path)
    assert additions_of(review, session)[0].pairs == following.document.pairs
    older = path.with_name("older.json")
    older.write_text(path.read_text().replace(',\n   "pulse": 0', ""))
    assert '"pulse"' not in older.read_text()
    (fixed,) = additions_of(read_review(older), session)[0].pairs
    assert (fixed.pulses, fixed.places) == (None, ((0, 0), (0, 1)))
    sheet = sheet_of(Assessment(findings), session, review)
    assert sheet.markers is not None and sheet.marker_series is not None
    (row,) = sheet.markers.rows
    delta = row[3]
    assert isinstance(delta, Number)
    assert delta.text == cell(following, DELTA)
    assert row[-1] == "follows pulse 0 of H01 and pulse 0 of H02, record 0"
    (over,) = sheet.marker_series.rows
    assert (over[0], over[1], over[-1]) == ("way", "H01 → H02", f"{RECORDS - 1} of {RECORDS}")
    write_csv(Assessment(findings, (), None), tmp_path, review)
    (told,), rows = read_rows(tmp_path / "markers.csv"), read_rows(tmp_path / "marker_series.csv")
    assert (told["channel"], told["channel_2"], told["follows"]) == ("H01", "H02", "t1: 0, t2: 0")
    assert delta.quantity is not None
    assert float(told["difference (s)"]) == float(rows[0]["difference (s)"]) == delta.quantity.value
    assert float(told["difference_u (s)"]) == float(rows[0]["difference_u (s)"]) == delta.quantity.u
    mean = np.mean([float(row["difference (s)"]) for row in rows if row["difference (s)"]])
    assert isinstance(over[2], Number) and over[2].quantity is not None
    assert over[2].quantity.value == pytest.approx(mean, rel=1e-12)
