"""A newcomer's way by gestures alone: from the first screen to a measured spacing, a picture and a sheet on disk."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QUrl
from PySide6.QtGui import QDesktopServices, QImage
from PySide6.QtWidgets import QAbstractButton, QFileDialog, QTableView, QWidget

from pulsewright.quantity import parse_number
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import LIGHT

from .gestures import LEFT, Settle, at, button, canvas_of, drag, picture, pixels, press, pulse_of, shown_windows


def cell(desk: DeskWindow, heading: str) -> str:
    """What the markers panel shows of the first pair beside a heading."""
    table = next(t for t in desk.findChildren(QTableView) if t.accessibleName() == "Marker pairs")
    model = table.model()
    headings = [str(model.headerData(row, table.verticalHeader().orientation())) for row in range(model.rowCount())]
    assert table.isVisible()
    return str(model.index(headings.index(heading), 0).data())


def page(name: str) -> QWidget:
    return next(w for w in shown_windows() if w.accessibleName() == name)


def click(qtbot: Any, shown: QWidget, name: str) -> None:
    qtbot.mouseClick(next(b for b in shown.findChildren(QAbstractButton) if b.accessibleName() == name), LEFT)


def back_to(desk: DeskWindow, qtbot: Any) -> None:
    """Click the desk's title: offscreen there is none, so that Qt is told."""
    desk.activateWindow()
    qtbot.waitUntil(lambda: desk.isActiveWindow() and desk.focusWidget() is not None)


def onto_the_pulse(desk: DeskWindow, qtbot: Any, start: float, record: int) -> None:
    """Drag the marker at a time onto the current record's pulse, three pixels beside it as a hand does."""
    time, _ = pulse_of(desk, record, desk.viewing.channel)
    end = at(desk, time)
    end.setX(end.x() + 3)
    drag(qtbot, desk, at(desk, start), end)


def test_from_the_first_screen_to_a_spacing_a_picture_and_a_sheet(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers: list[Path] = []
    # the window in which a file is named is the system's, and the sheet's reader another program
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(answers.pop()), ""))
    opened: list[QUrl] = []
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda url: opened.append(url) or True)

    desk = make_window()
    qtbot.mouseClick(button(desk, "Try the sample with faults"), LEFT)
    settle(desk)
    assert desk.windowTitle().startswith("tank_faults.h5")

    for record in (1, 2):  # step, and see the next record
        before = picture(desk)
        press(desk, qtbot, "PgDown")
        settle(desk)
        assert desk.middle.view.caption.text().startswith(f"Record {record} ")
        assert picture(desk) != before

    qtbot.mouseClick(button(desk, "Afterglow"), LEFT)
    settle(desk)
    assert "all 36 records" in desk.middle.view.caption.text()

    qtbot.mouseDClick(canvas_of(desk).viewport(), LEFT, pos=at(desk, 100e-6))
    settle(desk)
    assert pixels(picture(desk), LIGHT.marker)
    first, second = (desk.document.pairs[0].t1, desk.document.pairs[0].t2)
    onto_the_pulse(desk, qtbot, first, 2)
    press(desk, qtbot, "PgDown")
    settle(desk)
    onto_the_pulse(desk, qtbot, second, 3)
    settle(desk)
    read = cell(desk, "Δ")
    # from the recipe of the sample, sample_sessions/scenario.py: the plate moves 7.5 mm a ping, the sound goes there
    # and back at 1482.4 m/s, so 2 × 7.5 mm / 1482.4 m/s; it proves the way through the desk, not the measurement
    from_recipe = 2 * 7.5e-3 / 1482.4
    value, spread = re.fullmatch(r"(.*) ± (.*)", read).groups()  # type: ignore[union-attr]
    unit = spread.split()[-1]
    value = value if value.split()[-1] == unit else f"{value} {unit}"
    assert parse_number(value, "s") == pytest.approx(from_recipe, abs=parse_number(spread, "s"))

    press(desk, qtbot, "V")
    click(qtbot, page("Views on the sheet"), "Close this page")
    back_to(desk, qtbot)
    press(desk, qtbot, "Ctrl+P")
    answers.append(tmp_path / "spacing.png")
    click(qtbot, page("Save the picture"), "Choose a file, PNG or SVG, and save the picture")
    settle(desk)
    saved = QImage(str(tmp_path / "spacing.png"))
    assert saved.size() == desk.middle.view.size()  # as large as what was looked at
    click(qtbot, page("Save the picture"), "Close this page")
    back_to(desk, qtbot)

    press(desk, qtbot, "Ctrl+E")
    answers.append(tmp_path / "evidence.html")
    click(qtbot, page("Save the evidence sheet"), "Choose a file, PDF or HTML, and save the sheet")
    settle(desk)
    sheet = (tmp_path / "evidence.html").read_text(encoding="utf-8")
    assert [url.toLocalFile() for url in opened] == [str(tmp_path / "evidence.html")]
    assert "Every ping was kept" in sheet
    assert "Afterglow" in sheet
