"""What leaves the desk: the evidence sheet, pictures and tables, by real gestures."""

from __future__ import annotations

import csv
import json
import resource
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QImage
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
)

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.evidence.view_files import PictureSize
from pulsewright_app.samples import sample

from .gestures import Settle, labelled, message, press
from .shown_pages import PICTURE, SAVE_PICTURE, SAVE_SHEET, SHEET, called, click, how_it_goes, page_of


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


def test_the_sheet_is_saved_and_opened_and_says_what_the_desk_shows(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path, chosen: dict[str, Any]
) -> None:
    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(SHEET)
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
    click(qtbot, page_of(SHEET), SAVE_SHEET)
    assert not desk.close()
    assert desk.isVisible()
    assert message(desk).startswith("Writing the evidence sheet goes on: close the desk once more")
    settle(desk)
    assert chosen["file"].is_file()
    click(qtbot, page_of(SHEET), SAVE_SHEET)
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
    page = page_of(title)
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
        click(qtbot, page_of(PICTURE), SAVE_PICTURE)
        settle(desk)
    desk.open_path(sample("tank_faults.h5"))  # nothing belongs into the folder of the samples: it is the program's
    settle(desk)
    click(qtbot, page_of(PICTURE), SAVE_PICTURE)
    settle(desk)
    assert [path.parent for path in offered] == [faults.parent, reports, documents]


def test_no_sheet_of_findings_that_are_out_of_date(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    press(desk, qtbot, "Ctrl+E")
    page = page_of(SHEET)
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


@pytest.mark.usefixtures("undrawn")
def test_a_sheet_that_the_system_does_not_open_is_said_to_be_saved_all_the_same(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path, chosen: dict[str, Any],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(QDesktopServices, "openUrl", lambda _: False)
    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(SHEET)
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
    page = page_of(title)
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
    page = page_of(PICTURE)
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
    assert (root.attrib["width"], root.attrib["height"]) == ("900", "500")  # without a unit: pixels (SVG 2, 8.9)
    _, _, across, down = map(float, root.attrib["viewBox"].split())
    assert across / down == pytest.approx(900 / 500)
    links = [v for node in root.iter() for k, v in node.attrib.items() if k.endswith("href")]
    assert all(link.startswith(("#", "data:image/png;base64,")) for link in links)
    pictures = sum(link.startswith("data:") for link in links)
    assert pictures == (1 if view in ("afterglow", "map") else 0)


def test_no_picture_as_on_the_sheet_is_made_of_numbers_that_are_not_final(
    desk: DeskWindow, qtbot: Any, settle: Settle, chosen: dict[str, Any], tmp_path: Path
) -> None:
    press(desk, qtbot, "Ctrl+P")
    page = page_of(PICTURE)
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
