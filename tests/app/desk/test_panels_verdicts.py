"""Verdicts and figures in the findings panel, by clicks and keys; what is asserted is what is shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QLabel

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.desk.panels.findings import FindingsPanel
from pulsewright_app.desk.plots.figure_window import FigureWindow
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, canvas_of, colours_of, press, shown_windows

SKEW = Quantity.from_terms(
    10.6e-9,
    "s",
    (
        Term("noise", 0.3e-9, "A", 22.0, "24 records"),
        Term("sample clock", 0.4e-9, "B", None, "setting clock_ppm"),
        Term("cable delay", 0.0, "B"),
        Term("splitter", 0.0, "B"),
    ),
)
VERDICTS = (
    Verdict("The beat is kept", "no_missed_trigger", None, "none", "holds", (), "all", "none missed"),
    Verdict(
        "All hear it at once", "skew", SKEW, "at most 5 ns", "fails", (), "at most 5 ns", "H07",
        low=-5e-9, high=5e-9, interval=(9.6e-9, 11.6e-9), probability=1e-30, figure="skew", method="Correlation.",
    ),
    Verdict(
        "It stands still", "jitter", None, "at most 5 ns", "undecided", (17,), "at most 5 ns", "2.4 ns",
        reason="the interval reaches across the limit", needed="about 65 more records", figure="jitter",
    ),
)  # fmt: skip


def lines(panel: FindingsPanel) -> list[str]:
    model = panel.list.model()
    return [model.index(row, 0).data().replace("\u00a0", " ") for row in range(model.rowCount())]


@pytest.fixture
def judged(bench: Any, clean_findings: Findings) -> tuple[Any, FindingsPanel]:
    panel = bench.show(FindingsPanel, width=420)
    bench.measured(clean_findings)
    bench.results.judge(VERDICTS)
    return bench, panel


def test_verdicts_come_first_with_word_and_shape(judged: tuple[Any, FindingsPanel]) -> None:
    _, panel = judged
    assert lines(panel)[:4] == [
        "Of 3 claims, 1 fails, 1 is undecided, 1 holds",
        "● holds  The beat is kept",
        "▲ fails  All hear it at once\nClaimed: at most 5 ns. Seen: H07",
        "◇ undecided  It stands still\nClaimed: at most 5 ns. Seen: 2.4 ns",
    ]


@pytest.mark.parametrize(("row", "colour"), [(1, LIGHT.holds), (2, LIGHT.fails), (3, LIGHT.undecided)])
def test_the_verdicts_colour_is_on_its_word(judged: tuple[Any, FindingsPanel], row: int, colour: str) -> None:
    _, panel = judged
    rect = panel.list.visualRect(panel.list.model().index(row, 0))
    pixels = colours_of(panel.list.viewport().grab(rect).toImage())
    assert (abs(pixels - QColor(colour).getRgb()[:3]).sum(axis=2) < 12).sum() > 15


def test_a_verdict_opens_into_its_numbers_and_budget_by_mouse(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    bench.click(panel.list, 2, from_left=4)
    told = lines(panel)[3:14]
    assert "Compared: 9.6 ns to 11.6 ns (95 %) with at most 5 ns" in told
    assert "Probability that it is true: below 0.01 %." in told
    assert any(
        line.startswith("Value 10.6 ns, standard uncertainty u 500 ps") for line in told
    )  # 0.3 and 0.4 in square
    assert "– noise: u 300 ps, 36.0 % of u², type A (24 records)" in told
    assert "– sample clock: u 400 ps, 64.0 % of u², type B (setting clock_ppm)" in told
    assert "– taken as exact: cable delay, splitter" in told
    assert "How: Correlation." in told
    assert bench.viewing.channel == 0  # opening goes nowhere
    bench.click(panel.list, 2, from_left=4)
    assert len([line for line in lines(panel) if line.startswith("How")]) == 0


def test_it_opens_and_closes_by_keys(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    bench.click(panel.list, 3)
    before = lines(panel)
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_Right)
    assert lines(panel)[4:6] == [
        "Why: the interval reaches across the limit",
        "What would decide it: about 65 more records",
    ]
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_Down)  # on a detail, Left closes what it belongs to
    bench.qtbot.keyClick(panel.list, Qt.Key.Key_Left)
    assert lines(panel) == before


def test_a_verdict_jumps_to_its_evidence(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    bench.click(panel.list, 3)
    assert (bench.viewing.record, bench.viewing.view) == (17, "afterglow")
    assert panel.pages.tabText(panel.pages.currentIndex()) == "Jitter"


def test_a_sentence_with_a_number_opens_and_one_without_does_not(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    row = next(i for i, line in enumerate(lines(panel)) if line.startswith("The pulse on H01 moves"))
    bench.click(panel.list, row, from_left=4)
    assert lines(panel)[row + 1].startswith("Value 5 µs, standard uncertainty u 200 ps, 22 degrees of freedom")
    assert lines(panel)[row + 2].startswith("95 % interval: 4.99")
    settings = next(i for i, line in enumerate(lines(panel)) if line.startswith("Position quoted"))
    count = len(lines(panel))
    bench.click(panel.list, settings, from_left=4)
    assert len(lines(panel)) == count


def test_what_is_open_stays_open_when_measured_anew(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    bench.click(panel.list, 2, from_left=4)
    moved = replace(VERDICTS[1], interval=(9.5e-9, 11.5e-9))
    bench.results.judge((VERDICTS[0], moved, VERDICTS[2]))
    assert "Compared: 9.5 ns to 11.5 ns (95 %) with at most 5 ns" in lines(panel)


def test_verdicts_by_older_numbers_are_marked(judged: tuple[Any, FindingsPanel], clean_findings: Findings) -> None:
    bench, panel = judged

    def italic() -> bool:
        font = panel.list.model().index(1, 0).data(Qt.ItemDataRole.FontRole)
        return font is not None and font.italic()

    assert not italic()
    bench.results.finish(bench.results.start(), clean_findings)
    assert italic()  # measured anew and not judged yet
    bench.results.judge(VERDICTS)
    assert not italic()


def test_verdicts_are_copied_first(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    bench.press(panel.copy_button)
    text = QGuiApplication.clipboard().text()
    assert text.startswith("Claims\n  ● holds: The beat is kept. Claimed: all. Seen: none missed\n  ▲ fails: All hear")


# -- figures ----------------------------------------------------------------------------------------------------


def figure(bench: Any, panel: FindingsPanel, name: str) -> Any:
    tab = next(i for i in range(panel.pages.count()) if panel.pages.tabText(i) == name)
    bench.qtbot.mouseClick(panel.pages.tabBar(), LEFT, pos=panel.pages.tabBar().tabRect(tab).center())
    return panel.pages.currentWidget()


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("Positions", "Positions on H01: increment 5.00000 ± 0.00041 µs"),
        ("Skew", "Skew against H01"),
        ("Jitter", "Jitter: standard deviation 4 ns (95 % interval 3 ns to 6 ns)"),
    ],
)
def test_a_figure_is_drawn_with_its_title(judged: tuple[Any, FindingsPanel], name: str, title: str) -> None:
    bench, panel = judged
    page = figure(bench, panel, name)
    assert page.title.text() == title
    assert page.plot.accessibleName() == title
    image = colours_of(page.plot.viewport().grab().toImage())
    assert (abs(image - QColor(LIGHT.plot).getRgb()[:3]).sum(axis=2) > 60).sum() > 200


def test_where_a_figure_cannot_be_drawn_the_reason_stands(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    page = figure(bench, panel, "Triggers")
    assert page.reason.isVisible()
    assert page.reason.text() == "No trigger gaps: the session has no trigger times."


def test_a_figure_of_older_settings_says_so(judged: tuple[Any, FindingsPanel], clean_findings: Findings) -> None:
    bench, panel = judged
    page = figure(bench, panel, "Skew")
    bench.results.start()
    assert page.title.text() == "Out of date. Skew against H01"
    bench.results.finish(bench.results.generation, clean_findings)
    assert page.title.text() == "Skew against H01"


def test_a_click_on_a_point_goes_to_its_channel(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    page = figure(bench, panel, "Skew")
    plot = page.plot.ci.getItem(0, 0)
    where = page.plot.mapFromScene(plot.vb.mapViewToScene(QPointF(6.0, 100.0)))  # 0.1 ns, written in ps
    bench.qtbot.mouseClick(page.plot.viewport(), LEFT, pos=where)
    assert bench.viewing.channel == 6


def test_a_figure_opens_large_and_its_numbers_copy(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    figure(bench, panel, "Skew")
    bench.press(panel.large_button)
    window = next(w for w in shown_windows() if isinstance(w, FigureWindow))
    assert window.windowTitle() == "Skew — Pulsewright"
    assert "positive is later" in window.note.text()
    for control in (*window.findChildren(QAbstractButton), *window.findChildren(QLabel), window.page.plot):
        assert control.accessibleName()
    bench.press(window.copy_button)
    heading, first, second = QGuiApplication.clipboard().text().splitlines()[:3]
    assert heading == "Channel\tModule\tSkew / s\t95 % from / s\t95 % to / s"
    assert first.split("\t")[:3] == ["H01", "M1", "0.0"]
    assert float(second.split("\t")[2]) == 0.1e-9
    bench.qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert not window.isVisible()


def test_a_large_window_without_a_figure_offers_nothing_to_show_or_copy(judged: tuple[Any, FindingsPanel]) -> None:
    bench, panel = judged
    figure(bench, panel, "Skew")
    bench.press(panel.large_button)
    window = next(w for w in shown_windows() if isinstance(w, FigureWindow))
    assert window.fit_button.isEnabled() and window.copy_button.isEnabled()
    bench.results.clear()
    bench.qtbot.waitUntil(lambda: not window.copy_button.isEnabled())
    assert not window.fit_button.isEnabled()
    window.close()


@pytest.mark.parametrize("by", ["double-click", "key"])
def test_a_small_figure_opens_by_double_click_or_key(judged: tuple[Any, FindingsPanel], by: str) -> None:
    bench, panel = judged
    page = figure(bench, panel, "Jitter")
    if by == "key":
        page.plot.setFocus()
        bench.qtbot.keyClick(page.plot, Qt.Key.Key_Return)
    else:
        bench.qtbot.mouseDClick(page.plot.viewport(), LEFT, pos=page.plot.viewport().rect().center())
    window = next(w for w in shown_windows() if isinstance(w, FigureWindow))
    assert window.windowTitle() == "Jitter — Pulsewright"
    assert "Curve: normal" in window.note.text()
    window.close()


def test_the_claims_file_beside_a_session_is_judged_on_the_desk(
    make_window: Callable[..., DeskWindow], faults: Path, qtbot: Any, settle: Settle
) -> None:
    """The recipe of the sample withholds two pings and delays H07 by 10 ns: the claims file says neither happened."""
    desk = make_window(faults)
    told = lines(desk.findings_panel)
    assert told[0].startswith(("Of ", "All "))
    failing = [line.partition("\n")[0] for line in told if line.startswith("▲ fails")]
    assert "▲ fails  Every ping was kept" in failing
    assert "▲ fails  All channels hear the test pulse at once" in failing
    canvas_of(desk).setFocus()
    press(desk, qtbot, "Alt+G")
    window = next(w for w in shown_windows() if isinstance(w, FigureWindow))
    assert "H07" in window.note.text()
    window.close()
    settle(desk)


def test_keys_with_control_held_are_the_desk_s_in_the_list_too(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path
) -> None:
    """Ctrl+Right moves the chosen pair back; right alone opens a sentence."""
    desk = make_window(faults)
    first, second = (desk.document.add_pair(t, t + 20e-6, 1e-9, 1e-9, 0, 0) for t in (10e-6, 40e-6))
    desk.viewing.select_marker(first.id)
    listed = desk.findings_panel.list
    listed.setFocus()
    listed.setCurrentIndex(listed.model().index(1, 0))
    rows = listed.model().rowCount()
    qtbot.keyClick(listed, Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    assert [pair.id for pair in desk.document.pairs] == [second.id, first.id]
    assert listed.model().rowCount() == rows
    settle(desk)
    qtbot.keyClick(listed, Qt.Key.Key_Right)
    assert listed.model().rowCount() > rows
