"""What leaves the desk: the evidence sheet, pictures, views for the sheet and tables, by real gestures."""

from __future__ import annotations

import csv
import json
import os
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QImage
from PySide6.QtWidgets import QAbstractButton, QApplication, QFileDialog, QLabel, QLineEdit, QSpinBox, QTableWidget

from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle, labelled, message, press

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def chosen(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What a person chooses in the system's own dialogs, and the files that the desk wants opened."""
    answers: dict[str, Any] = {"file": "", "form": "", "folder": "", "opened": []}
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(answers["file"]), answers["form"]))
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *_, **__: str(answers["folder"]))

    def open_url(url: QUrl) -> bool:
        answers["opened"].append(Path(url.toLocalFile()))
        return True

    monkeypatch.setattr(QDesktopServices, "openUrl", open_url)
    return answers


def page_of(desk: DeskWindow, title: str) -> Any:
    return next(w for w in QApplication.topLevelWidgets() if w.accessibleName() == title and w.isVisible())


def called(page: Any, name: str) -> Any:
    kinds = (QAbstractButton, QLineEdit, QSpinBox, QTableWidget, QLabel)
    return next(w for kind in kinds for w in page.findChildren(kind) if w.accessibleName() == name)


def click(qtbot: Any, page: Any, name: str) -> None:
    qtbot.mouseClick(called(page, name), LEFT)


def how_it_goes(page: Any) -> str:
    return called(page, f"How it goes: {page.accessibleName()}").text()


SHEET, PICTURE, VIEWS = "Save the evidence sheet", "Save the picture", "Views on the sheet"
SAVE_SHEET = "Choose a file, PDF or HTML, and save the sheet"
SAVE_PICTURE = "Choose a file, PNG or SVG, and save the picture"


def test_the_sheet_is_saved_and_opened_and_says_what_the_desk_shows(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path, chosen: dict[str, Any]
) -> None:
    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(desk, SHEET)
    qtbot.keyClicks(called(page, "Made by"), "A. Person")
    click(qtbot, page, "Write today's date")
    chosen["file"] = faults.parent / "out"  # typed without an ending
    chosen["form"] = "HTML, one file for any browser (*.html)"
    click(qtbot, page, SAVE_SHEET)
    settle(desk)
    written = faults.parent / "out.html"
    text = written.read_text(encoding="utf-8")
    assert how_it_goes(page).startswith(f"Saved: {written}.")
    assert chosen["opened"] == [written]
    assert "A. Person" in text
    assert called(page, "Date on the sheet").text() in text
    for verdict in desk.results.verdicts:  # each as the findings panel shows it
        assert verdict.name.replace("'", "&#39;") in text
    assert (
        json.loads(json.dumps([v.verdict for v in desk.results.verdicts])).count("fails")
        == text.count('<span class="verdict fails">') / 2
    )  # in the table, and with the claim


def test_no_sheet_of_findings_that_are_out_of_date(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    press(desk, qtbot, "Ctrl+E")
    page = page_of(desk, SHEET)
    assert called(page, SAVE_SHEET).isEnabled()
    desk.document.leave_out(3, "a bubble")
    assert not called(page, SAVE_SHEET).isEnabled()
    assert "measure" in how_it_goes(page)
    desk.saving.files.write_sheet(tmp_path / "never.html")
    settle(desk)
    assert not (tmp_path / "never.html").exists()
    assert called(page, SAVE_SHEET).isEnabled()  # measured anew meanwhile


def test_a_target_that_cannot_be_written_leaves_the_old_file(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    if os.geteuid() == 0:
        target = tmp_path / "gone" / "sheet.html"  # root may write anywhere, but not where there is no folder
    else:
        target = tmp_path / "locked" / "sheet.html"
        target.parent.mkdir()
        target.write_text("old")
        target.parent.chmod(0o500)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(desk, SHEET)
    chosen["file"], chosen["form"] = target, "HTML"
    click(qtbot, page, SAVE_SHEET)
    settle(desk)
    assert "cannot be written" in how_it_goes(page)
    assert chosen["opened"] == []
    assert not target.exists() or target.read_text() == "old"


@pytest.mark.parametrize(
    ("view", "keys"), [("single", "Alt+1"), ("stacked", "Alt+2"), ("afterglow", "Alt+3"), ("map", "Alt+4")]
)
def test_each_view_is_saved_as_png_and_svg_at_the_size_that_was_chosen(
    view: str, keys: str, desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    press(desk, qtbot, keys)
    settle(desk)
    press(desk, qtbot, "Ctrl+P")
    page = page_of(desk, PICTURE)
    for name, value in (("Width of the picture in pixels", 900), ("Height of the picture in pixels", 500)):
        box = called(page, name)
        box.selectAll()
        qtbot.keyClicks(box, str(value))
    qtbot.keyClick(called(page, "How many times as many pixels each way"), Qt.Key.Key_Up)
    for suffix, form in ((".png", "PNG"), (".svg", "SVG, lines (*.svg)")):
        chosen["file"], chosen["form"] = tmp_path / f"{view}{suffix}", form
        click(qtbot, page, SAVE_PICTURE)
        settle(desk)
        assert how_it_goes(page) == f"Saved: {tmp_path / f'{view}{suffix}'}."
    image = QImage(str(tmp_path / f"{view}.png"))
    assert (image.width(), image.height()) == (1800, 1000)
    assert len({image.pixel(QPoint(x, y)) for x in range(0, 1800, 9) for y in range(0, 1000, 9)}) > 5
    root = ElementTree.fromstring((tmp_path / f"{view}.svg").read_bytes())
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    links = [v for node in root.iter() for k, v in node.attrib.items() if k.endswith("href")]
    assert all(link.startswith(("#", "data:image/png;base64,")) for link in links)
    pictures = sum(link.startswith("data:") for link in links)
    assert pictures == (1 if view in ("afterglow", "map") else 0)


def test_views_are_added_captioned_moved_and_taken_off(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.go_to(4)
    press(desk, qtbot, "V")
    page = page_of(desk, VIEWS)
    table = called(page, VIEWS)
    editor = table.findChild(QLineEdit)
    qtbot.keyClicks(editor, "The plate at its fifth stop")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(desk)  # the table takes what was written when it is idle
    assert desk.document.sheet_views[0].caption == "The plate at its fifth stop"
    assert desk.document.sheet_views[0].record == 4
    desk.viewing.set_view("map")
    click(qtbot, page, "Add the view that is looked at to the sheet")
    assert [view.view for view in desk.document.sheet_views] == ["single", "map"]
    table.selectRow(1)
    click(qtbot, page, "Move the chosen view before the one above it")
    assert [view.view for view in desk.document.sheet_views] == ["map", "single"]
    table.selectRow(1)
    desk.viewing.go_to(0)
    click(qtbot, page, "Show the chosen view on the desk as it was added")
    assert (desk.viewing.view, desk.viewing.record) == ("single", 4)
    click(qtbot, page, "Take the chosen view off the sheet")
    assert [view.view for view in desk.document.sheet_views] == ["map"]
    qtbot.keyClick(table, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert [view.view for view in desk.document.sheet_views] == ["map", "single"]
    assert table.item(1, 1).text() == "The plate at its fifth stop"


def test_records_stepped_through_are_no_view_that_could_be_drawn_again(desk: DeskWindow, qtbot: Any) -> None:
    desk.viewing.set_view("afterglow")
    desk.viewing.glow.set_of("stepped")
    press(desk, qtbot, "V")
    assert "stepped through" in message(desk)
    assert desk.document.sheet_views == ()


def test_numbers_go_into_a_folder_with_the_markers(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    desk.document.add_pair(30e-6, 120e-6, 3e-9, 4e-9, 2, 1)
    chosen["folder"] = tmp_path / "numbers"
    press(desk, qtbot, "Ctrl+Shift+E")
    settle(desk)
    assert str(tmp_path / "numbers") in labelled(desk, "Answer to the last click")
    with (tmp_path / "numbers" / "markers.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = list(csv.DictReader(stream))
    # by algebra: 120 µs − 30 µs, and the root of 3² + 4² ns²
    assert float(row["difference (s)"]) == pytest.approx(90e-6, rel=1e-12)
    assert float(row["difference_u (s)"]) == pytest.approx(5e-9, rel=1e-9)
    assert (row["record"], row["channel"]) == ("2", "H02")
    assert (tmp_path / "numbers" / "pulses.csv").exists()


def test_the_picture_on_the_screen_is_copied(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "Ctrl+Shift+C")
    image = QApplication.clipboard().image()
    assert image.size() == desk.middle.view.grab().toImage().size()


def test_what_lies_beneath_the_record_goes_onto_the_sheet_and_comes_back(desk: DeskWindow, qtbot: Any) -> None:
    desk.viewing.go_to(6)
    press(desk, qtbot, "R")  # this record is the reference
    desk.viewing.go_to(8)
    press(desk, qtbot, "V")
    page = page_of(desk, VIEWS)
    desk.viewing.reference.take_mean()
    click(qtbot, page, "Add the view that is looked at to the sheet")
    assert [view.reference for view in desk.document.sheet_views] == [6, "mean"]
    desk.viewing.reference.leave()
    called(page, VIEWS).selectRow(0)
    click(qtbot, page, "Show the chosen view on the desk as it was added")
    assert (desk.viewing.reference.of, desk.viewing.reference.record, desk.viewing.record) == ("record", 6, 8)
