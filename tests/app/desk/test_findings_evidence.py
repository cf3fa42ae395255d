"""On the sample with faults every finding opens into its numbers, and leads to where it can be seen.

The recipe of the sample withholds the pings after records 8 and 22, delays H07 by 10 ns, clips H02 in record 14
and makes H05 noisy: where to look is known from it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint

from pulsewright_app.desk.window import DeskWindow

from .gestures import LEFT, Settle, colours_of

Look = tuple[str, str, int, str]


class Findings:
    """The list of the findings on a desk, read and clicked as a person does."""

    def __init__(self, window: DeskWindow, qtbot: Any, settle: Settle) -> None:
        self.window, self.qtbot, self.settle = window, qtbot, settle
        self.list = window.findings_panel.list

    def lines(self) -> list[str]:
        model = self.list.model()
        return [str(model.index(row, 0).data()).replace("\u00a0", " ") for row in range(model.rowCount())]

    def row(self, beginning: str) -> int:
        return next(row for row, line in enumerate(self.lines()) if line.lstrip("●▲◇◆ ").startswith(beginning))

    def click(self, beginning: str, on_sign: bool = False) -> int:
        row = self.row(beginning)
        index = self.list.model().index(row, 0)
        self.list.scrollTo(index)
        self.settle(self.window)
        rect = self.list.visualRect(index)
        spot = rect.topLeft() + (QPoint(4, 8) if on_sign else QPoint(rect.width() // 2, 8))
        self.qtbot.mouseClick(self.list.viewport(), LEFT, pos=spot)
        self.settle(self.window)
        return row

    def opened(self, beginning: str) -> list[str]:
        before = len(self.lines())
        row = self.click(beginning, on_sign=True)
        return self.lines()[row + 1 : row + 1 + len(self.lines()) - before]

    def look(self) -> Look:
        viewing, session = self.window.viewing, self.window.document.session
        assert session is not None
        pages = self.window.findings_panel.pages
        name = session.channels[viewing.channel].name
        return viewing.view, name, viewing.record, pages.tabText(pages.currentIndex())


@pytest.fixture
def findings(make_window: Callable[..., DeskWindow], faults: Path, qtbot: Any, settle: Settle) -> Findings:
    window = make_window(faults)
    window.resize(1600, 1000)
    settle(window)
    return Findings(window, qtbot, settle)


def test_each_finding_leads_to_where_it_can_be_seen(findings: Findings) -> None:
    for beginning, look in (
        ("1 trigger is missing after record 22", ("map", "H01", 22, "Triggers")),
        ("H07 (M2) is 11", ("single", "H07", 22, "Skew")),
        ("H02 (M1) has 6 clipped", ("single", "H02", 14, "Skew")),
        ("fails  Every ping was kept", ("map", "H01", 8, "Triggers")),
        ("fails  Nothing is clipped", ("single", "H02", 14, "Triggers")),
        ("holds  The modules are aligned", ("single", "H05", 14, "Skew")),
        ("undecided  Channels of a module", ("single", "H07", 14, "Skew")),
        ("holds  The drive turns", ("single", "H01", 14, "Skew")),
        ("H09 (M3): 390", ("single", "H09", 14, "Skew")),
        ("No position of the pulse in record 0, H05", ("single", "H05", 0, "Skew")),
    ):
        findings.click(beginning)
        assert (beginning, findings.look()) == (beginning, look)


def test_a_missing_trigger_opens_into_what_each_witness_saw(findings: Findings) -> None:
    """The recipe's period is 50 ms and its pings move on by one stop: over a withheld ping both double."""
    time, position, polarity = findings.opened("1 trigger is missing after record 8")
    assert time.startswith("Time: 99.99") or time.startswith("Time: 100.0")
    assert time.endswith("2.000 trigger periods")
    assert position == "Position: stop 8 in record 8, stop 10 in record 9, where stop 9 was due"
    assert polarity == "Polarity: positive in record 8, positive in record 9, although it changes at each trigger"


def test_what_tells_several_numbers_opens_into_each_with_its_budget(findings: Findings) -> None:
    told = findings.opened("H05 (M2): noise")
    noise, offset = told.index("Noise, rms:"), told.index("Offset:")
    assert told[noise + 1].startswith("Value 32.0") and "mV" in told[noise + 1]
    assert noise < told.index("Budget of u:") < offset < len(told) - 2
    assert told[offset + 1].startswith("Value −1.5")
    gains = findings.opened("Gains against H01")
    assert gains[0].startswith("Gain of H08") and any(line.startswith("Gain of H06") for line in gains)


def test_each_channels_skew_opens_into_its_budget(findings: Findings) -> None:
    told = findings.opened("H07 (M2): 11")
    assert told[0].startswith("Value 11.1")
    shares = [float(line.split(", ")[1].split(" %")[0]) for line in told if "% of u²" in line]
    assert sum(shares) == pytest.approx(100.0, abs=0.05 * len(shares) + 1e-9)  # each is rounded to 0.1 %


def test_a_tab_shows_its_whole_word_whether_it_is_chosen_or_not(findings: Findings) -> None:
    """A g hangs below the line: what is drawn of it must be as high on a tab that is not chosen."""
    bar = findings.window.findings_panel.pages.tabBar()
    tab = next(i for i in range(bar.count()) if bar.tabText(i) == "Triggers")

    def height() -> int:
        rows = (colours_of(bar.grab(bar.tabRect(tab)).toImage()).max(axis=2) < 120).any(axis=1)
        return int(rows.nonzero()[0].max() - rows.nonzero()[0].min())

    not_chosen = height()
    findings.qtbot.mouseClick(bar, LEFT, pos=bar.tabRect(tab).center())
    findings.settle(findings.window)
    assert not_chosen == height() > 0
