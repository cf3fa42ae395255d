"""Partial findings of a large session: shown soon, marked as partial everywhere, not judged, then replaced."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication

from pulsewright.session import Channel, Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import Findings
from pulsewright_app.desk import measuring
from pulsewright_app.desk.measuring import first_part
from pulsewright_app.desk.panels.findings import FindingsPanel
from pulsewright_app.desk.panels.record_table import FIRST
from pulsewright_app.desk.panels.records import RecordsPanel
from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle, labelled


@pytest.fixture
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a first part have ten records of the walking session: 3 × 2,000 samples each."""
    monkeypatch.setattr(measuring, "_SAMPLES_AT_FIRST", 60_000)


def test_the_first_part_is_of_neighbouring_records_and_counts_nothing_sent(
    small_parts: None, walking_session: Callable[..., Session]
) -> None:
    session = walking_session(records=60)
    part = first_part(session, Settings(sent=61))
    assert part is not None
    assert (part.records, part.sent) == ((0, 10), None)
    later = first_part(session, Settings(records=(5, 60)))
    assert later is not None
    assert later.records == (5, 15)
    assert first_part(walking_session(records=20), Settings()) is None  # quickly done as a whole


@pytest.mark.parametrize(
    ("records", "channels", "length", "part"),
    [
        (2000, 12, 25_000, 13),  # 4 million samples
        (12, 12, 1_000_000, 1),  # a record has more, and more than the channels of it that are measured
        (30, 12, 250_000, 1),
        (300, 12, 100_000, 1),  # three would take longer than thirteen of 25,000
        (20_000, 12, 100, 125),  # 1,500 traces
        (36, 12, 10_240, None),
    ],
)
def test_the_first_part_is_soon_measured_however_long_or_many_the_records_are(
    records: int, channels: int, length: int, part: int | None
) -> None:
    samples = np.broadcast_to(np.int16(0), (records, channels, length))  # takes no room
    session = Session.from_samples(samples, [Channel(f"H{c:02d}", "M1") for c in range(channels)], 25e6)
    first = first_part(session, Settings())
    assert (None if first is None else first.records) == (None if part is None else (0, part))


def test_of_very_long_records_some_channels_come_first_the_reference_among_them() -> None:
    samples = np.broadcast_to(np.int16(0), (1, 12, 1_000_000))
    session = Session.from_samples(samples, [Channel(f"H{c:02d}", "M1") for c in range(12)], 25e6)
    first = first_part(session, Settings(reference="H07"))
    assert first is not None
    assert (first.records, first.channels) == ((0, 1), ("H00", "H07"))
    alone = first_part(session, Settings(channels=("H03", "H04", "H05"), reference="H04"))
    assert alone is None  # two of three: nearly the whole


def test_some_channels_are_named_as_long_as_the_others_are_not_measured(
    make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], settle: Settle,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(measuring, "_SAMPLES_AT_FIRST", 0)
    monkeypatch.setattr(measuring, "_SAMPLES_OF_FEW", 4_000)
    desk, seen = make_window(), []

    def look() -> None:
        if desk.results.findings is not None:
            seen.append((desk.results.findings.channels, desk.findings_panel.state.text()))

    desk.results.changed.connect(look)
    desk.document.open(walking_session())
    desk.viewing.set_channel(2)  # it is not among the first
    settle(desk)
    assert seen[0][0] == (0, 1)
    assert seen[0][1].startswith("Partial: the numbers below are of record 0 on H01, H02 (1 of 12).")
    assert seen[-1] == ((0, 1, 2), "")
    assert desk.message_bar.label.text() == ""


def test_partial_findings_come_first_and_say_so(
    small_parts: None, make_window: Callable[..., DeskWindow], walking_session: Callable[..., Session], settle: Settle
) -> None:
    desk = make_window()
    panel, seen = desk.findings_panel, []

    def look() -> None:
        if desk.results.findings is not None:
            row = panel.list.model().index(1, 0)
            font = row.data(Qt.ItemDataRole.FontRole)
            seen.append((desk.results.partial, panel.state.text(), font is not None and font.italic()))

    desk.results.changed.connect(look)
    desk.document.open(walking_session(records=60))
    settle(desk)
    partial, text, italic = seen[0]
    assert partial
    assert italic
    assert text.startswith("Partial: the numbers below are of records 0 … 9 (10 of 60).")
    assert not seen[-1][0]
    assert labelled(desk, "State of the findings") == ""
    assert desk.results.findings is not None
    assert len(desk.results.findings.records) == 60


def test_partial_numbers_are_marked_in_copies_figures_and_sentences(bench: Any, clean_findings: Findings) -> None:
    panel = bench.show(FindingsPanel)
    part = replace(
        clean_findings, records=clean_findings.records[:10], settings=replace(clean_findings.settings, records=(0, 10))
    )
    generation = bench.results.start()
    bench.results.take_partial(generation, part)
    bench.press(panel.copy_button)
    text = QGuiApplication.clipboard().text()
    assert text.startswith("Partial: the numbers below are of records 0 … 9 (10 of 24).")
    assert "10 of 24 records looked at, no trigger missing between them" in text
    panel.pages.setCurrentWidget(panel.figures["skew"])
    assert panel.figures["skew"].title.text() == "Partial. Skew against H01"
    assert bench.results.verdicts_out_of_date
    bench.results.finish(generation, clean_findings)
    assert panel.figures["skew"].title.text() == "Skew against H01"


def test_a_partial_that_is_cancelled_stays_partial(bench: Any, clean_findings: Findings) -> None:
    panel = bench.show(FindingsPanel)
    generation = bench.results.start()
    bench.results.take_partial(generation, clean_findings)
    bench.results.fail(generation, "")
    assert panel.state.text().startswith("Partial: ")
    assert bench.results.partial


def test_a_part_that_begins_later_says_which_records_it_is_of(bench: Any, clean_findings: Findings) -> None:
    panel, records = bench.show(FindingsPanel), bench.show(RecordsPanel)
    part = replace(clean_findings, records=clean_findings.records[5:15])
    generation = bench.results.start()
    bench.results.take_partial(generation, part)
    assert panel.state.text().startswith("Partial: the numbers below are of records 5 … 14 (10 of 24).")
    assert "measured columns are of records 5 … 14 only so far" in records.summary.text()
    cell = records.table.model().index(6, FIRST)
    assert cell.data(Qt.ItemDataRole.FontRole).italic()
    bench.results.finish(generation, clean_findings)
    assert "only so far" not in records.summary.text()
    assert cell.data(Qt.ItemDataRole.FontRole) is None or not cell.data(Qt.ItemDataRole.FontRole).italic()
