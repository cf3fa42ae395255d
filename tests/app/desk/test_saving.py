"""What leaves the desk: the evidence sheet, pictures, views for the sheet and tables, by real gestures."""

from __future__ import annotations

import csv
import json
import re
import resource
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QImage
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFileDialog,
    QLabel,
    QLineEdit,
    QSpinBox,
    QStyleOptionViewItem,
    QTableWidget,
)

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.evidence.view_files import PictureSize
from pulsewright_app.samples import sample

from .gestures import Settle, labelled, message, press, shown_windows

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
    return next(w for w in shown_windows() if w.accessibleName() == title)


def called(page: Any, name: str) -> Any:
    kinds = (QAbstractButton, QLineEdit, QSpinBox, QTableWidget, QLabel, QComboBox)
    return next(w for kind in kinds for w in page.findChildren(kind) if w.accessibleName() == name)


def click(qtbot: Any, page: Any, name: str) -> None:
    qtbot.mouseClick(called(page, name), LEFT)


def view_caption(desk: DeskWindow) -> str:
    return labelled(desk, f"What the {desk.middle.view.NAME} view shows")


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


def test_a_desk_that_is_writing_says_so_before_it_closes(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    chosen["file"] = tmp_path / "out.html"
    press(desk, qtbot, "Ctrl+E")
    click(qtbot, page_of(desk, SHEET), SAVE_SHEET)
    assert not desk.close()
    assert desk.isVisible()
    assert message(desk).startswith("Writing the evidence sheet goes on: close the desk once more")
    settle(desk)
    assert chosen["file"].is_file()
    click(qtbot, page_of(desk, SHEET), SAVE_SHEET)
    assert not desk.close()  # another sheet, and it is said of that one, too
    assert desk.close()


@pytest.mark.parametrize(
    ("keys", "title", "button", "name"),
    [("Ctrl+E", SHEET, SAVE_SHEET, "out.pdf"), ("Ctrl+P", PICTURE, SAVE_PICTURE, "out.png")],
)
def test_a_name_without_its_ending_writes_over_no_other_file(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path,
    keys: str, title: str, button: str, name: str,
) -> None:  # fmt: skip
    """The system asks whether to write over the name as it was typed: of `out` it knows nothing."""
    signed = tmp_path / name
    signed.write_text("signed already")
    press(desk, qtbot, keys)
    page = page_of(desk, title)
    chosen["file"] = tmp_path / "out"
    click(qtbot, page, button)
    settle(desk)
    assert signed.read_text() == "signed already"
    assert how_it_goes(page).startswith(f"{signed} is there already: choose it by its whole name")
    chosen["file"] = signed
    click(qtbot, page, button)
    settle(desk)
    assert how_it_goes(page).startswith(f"Saved: {signed}.")


def test_the_folder_offered_is_the_session_s_and_then_that_of_the_file_before(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    offered: list[Path] = []
    reports, documents = tmp_path / "reports", tmp_path / "documents"
    reports.mkdir()
    documents.mkdir()
    monkeypatch.setattr("platformdirs.user_documents_path", lambda: documents)

    def ask(_: Any, title: str, start: str, *__: Any) -> tuple[str, str]:
        offered.append(Path(start))
        return str(reports / "one.png"), ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", ask)
    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+P")
    for _ in range(2):
        click(qtbot, page_of(desk, PICTURE), SAVE_PICTURE)
        settle(desk)
    desk.open_path(sample("tank_faults.h5"))  # nothing belongs into the folder of the samples: it is the program's
    settle(desk)
    click(qtbot, page_of(desk, PICTURE), SAVE_PICTURE)
    settle(desk)
    assert [path.parent for path in offered] == [faults.parent, reports, documents]


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


@contextmanager
def full_disk(room: int) -> Iterator[None]:
    """Let every write beyond so many bytes fail, as on a full disk, root's too: EFBIG in place of ENOSPC."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_sheet_that_the_system_does_not_open_is_said_to_be_saved_all_the_same(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path, chosen: dict[str, Any],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda _: False)
    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(desk, SHEET)
    chosen["file"], chosen["form"] = faults.parent / "out.html", "HTML"
    click(qtbot, page, SAVE_SHEET)
    settle(desk)
    assert how_it_goes(page).startswith(f"Saved: {faults.parent / 'out.html'}.")
    assert "opened it in no program" in how_it_goes(page)


@pytest.mark.parametrize(
    ("key", "title", "button", "name"),
    [("Ctrl+E", SHEET, SAVE_SHEET, "sheet.html"), ("Ctrl+P", PICTURE, SAVE_PICTURE, "view.png")],
)
def test_a_disk_that_fills_up_leaves_the_old_file_whole(
    key: str,
    title: str,
    button: str,
    name: str,
    desk: DeskWindow,
    qtbot: Any,
    settle: Settle,
    chosen: dict[str, Any],
    tmp_path: Path,
) -> None:
    target = tmp_path / name
    target.write_bytes(b"the old file")
    press(desk, qtbot, key)
    page = page_of(desk, title)
    chosen["file"], chosen["form"] = target, name.rpartition(".")[2].upper()
    with full_disk(4096):
        click(qtbot, page, button)
        settle(desk)
    assert "cannot be written" in how_it_goes(page)
    assert "File too large" in how_it_goes(page)
    assert chosen["opened"] == []
    assert target.read_bytes() == b"the old file"
    assert [path.name for path in tmp_path.iterdir()] == [name], "something half written was left behind"


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


def test_no_picture_as_on_the_sheet_is_made_of_numbers_that_are_not_final(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    press(desk, qtbot, "Ctrl+P")
    page = page_of(desk, PICTURE)
    assert called(page, SAVE_PICTURE).isEnabled()
    desk.results.mark_out_of_date()
    assert "older than the settings" in how_it_goes(page)
    assert not called(page, SAVE_PICTURE).isEnabled()
    desk.saving.files.write_picture(tmp_path / "old.png", PictureSize(600, 400))
    settle(desk)
    assert not (tmp_path / "old.png").exists()
    box = called(page, "How the view is drawn")
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Down)
    assert called(page, SAVE_PICTURE).isEnabled()
    chosen["file"], chosen["form"] = tmp_path / "screen.png", "PNG"
    click(qtbot, page, SAVE_PICTURE)
    settle(desk)
    assert not QImage(str(tmp_path / "screen.png")).isNull()


def test_what_the_sheet_does_not_draw_of_a_view_is_said(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_view("afterglow")
    desk.viewing.glow.set_half_life(3)
    press(desk, qtbot, "Ctrl+P")
    page = page_of(desk, PICTURE)
    assert how_it_goes(page).endswith("; without the fade, which the sheet does not draw.")
    desk.viewing.glow.set_mean(True)
    assert how_it_goes(page).endswith("; without the fade and the mean, which the sheet does not draw.")
    desk.activateWindow()
    press(desk, qtbot, "V")
    assert how_it_goes(page_of(desk, VIEWS)) == "Added without the fade and the mean, which the sheet does not draw."
    page_of(desk, VIEWS).close()
    press(desk, qtbot, "Ctrl+Shift+V")
    assert how_it_goes(page_of(desk, VIEWS)) == ""  # it was said of a view that was added before
    desk.viewing.set_view("single")
    assert how_it_goes(page).endswith("with its caption below.")
    desk.viewing.trims.step_scale(0, up=True)
    lacking = "what is drawn larger or higher than recorded"
    assert how_it_goes(page).endswith(f"; without {lacking}, which the sheet does not draw.")


def test_a_caption_goes_on_being_written_while_other_things_are_added(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "V")
    table = called(page_of(desk, VIEWS), VIEWS)
    editor = table.findChild(QLineEdit)
    qtbot.keyClicks(editor, "The plate")
    desk.document.flag(3)
    assert table.findChild(QLineEdit) is editor and editor.text() == "The plate"
    qtbot.keyClicks(editor, " stands still")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: desk.document.sheet_views[0].caption == "The plate stands still")


def test_an_empty_caption_says_how_to_write_one(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    press(desk, qtbot, "V")
    table = called(page_of(desk, VIEWS), VIEWS)

    def shown() -> str:
        option, index = QStyleOptionViewItem(), table.model().index(0, 1)
        table.itemDelegateForIndex(index).initStyleOption(option, index)
        return option.text

    qtbot.keyClick(table.findChild(QLineEdit), Qt.Key.Key_Escape)
    assert shown() == "No caption: double-click or F2 to write one"
    qtbot.keyClick(table, Qt.Key.Key_F2)
    editor = next(editor for editor in table.findChildren(QLineEdit) if editor.isVisible())  # not the one before
    qtbot.keyClicks(editor, "The plate")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    settle(desk)
    assert shown() == "The plate"


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


@pytest.mark.parametrize("view", ["stacked", "afterglow"])
def test_a_view_that_is_looked_at_again_shows_the_records_that_the_sheet_draws(
    view: str, desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    from pulsewright_app.evidence.view_pictures import drawing_of

    session = desk.document.session
    assert session is not None
    press(desk, qtbot, "Alt+2" if view == "stacked" else "Alt+3")
    line = desk.middle.rail_row.filter_row.line
    line.setFocus()
    line.clear()
    qtbot.keyClicks(line, "record < 5")
    qtbot.keyClick(line, Qt.Key.Key_Return)
    desk.viewing.glow.set_of("matching")
    desk.middle.view.canvas.setFocus()
    press(desk, qtbot, "V")
    page = page_of(desk, VIEWS)
    line.clear()  # all records again, and another view
    qtbot.keyClick(line, Qt.Key.Key_Return)
    desk.viewing.glow.set_of("all")
    desk.viewing.set_view("map")
    called(page, VIEWS).selectRow(0)
    click(qtbot, page, "Show the chosen view on the desk as it was added")
    settle(desk)
    drawn = drawing_of(desk.document.sheet_views[0], session, desk.results.findings, desk.reviewing.as_it_stands()())
    assert line.text() == "record < 5"
    for told in (drawn.caption, view_caption(desk)):
        numbers = {int(number) for number in re.findall(r"\b\d+\b", told)}
        assert 5 in numbers if view == "afterglow" else numbers >= {0, 4}, told
        assert session.records not in numbers, told


def test_a_filter_that_means_nothing_any_more_is_said_and_all_records_are_shown(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "V")
    page = page_of(desk, VIEWS)
    (view,) = desk.document.sheet_views
    desk.document.set_sheet_views((replace(view, filter="loudness > 3"),), "As another version wrote it")
    called(page, VIEWS).selectRow(0)
    click(qtbot, page, "Show the chosen view on the desk as it was added")
    assert "All records are shown" in how_it_goes(page)
    assert "loudness" in how_it_goes(page)
    assert desk.viewing.matching is None


def test_lanes_that_are_saved_have_their_values_and_unit(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    from matplotlib.figure import Figure

    from pulsewright_app.desk.saving.current_view import current_view
    from pulsewright_app.evidence.view_pictures import drawing_of

    session, view = desk.document.session, current_view(desk.document, desk.viewing)
    assert session is not None
    assert not isinstance(view, str)
    figure = Figure(figsize=(7, 6))
    drawing_of(view, session, desk.results.findings, desk.reviewing.as_it_stands()()).draw(figure)
    figure.draw_without_rendering()
    for lane, channel in zip(figure.axes, session.channels, strict=True):
        low, high = lane.get_ylim()
        written = [t.get_text() for t in lane.get_yticklabels() if low <= t.get_position()[1] <= high]
        assert len(written) >= 1
        assert all(text == "0 V" or text.endswith(channel.unit) for text in written), written
