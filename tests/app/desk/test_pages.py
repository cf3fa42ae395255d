"""The pages of the menu Hand over beyond saving itself: title, size, Stop, before measuring, and whose keys count."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QComboBox, QFileDialog, QLabel, QSpinBox, QWidget

from pulsewright.review import read_review, review_path_for
from pulsewright_analysis.findings import Watch
from pulsewright_app.desk.habits.manners import set_font_percent
from pulsewright_app.desk.saving.picture_page import IN_DARK, IN_LIGHT, ON_SCREEN
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.theme import DARK

from .gestures import Settle, colours_of, labelled, message, press, shown_windows
from .shown_pages import PICTURE, SAVE_PICTURE, SAVE_SHEET, SHEET, called, click, how_it_goes, page_of


@pytest.fixture
def target(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The file that a person chooses in the system's own dialog."""
    path = tmp_path / "out.png"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(path), "PNG"))
    return path


class Gate:
    """Holds whoever asks whether to go on, until it is opened."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.reached, self.opened = threading.Event(), threading.Event()
        usual = Watch.check

        def held(watch: Watch) -> None:
            self.reached.set()
            self.opened.wait(30)
            usual(watch)

        monkeypatch.setattr(Watch, "check", held)


# -- the sheet ----------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("undrawn")
def test_the_title_is_typed_kept_in_the_review_taken_back_and_stands_on_the_sheet(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path, target: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    from typer.testing import CliRunner

    from pulsewright_app.cli import app

    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(SHEET)
    field = called(page, "Title of the sheet")
    usual = field.placeholderText()
    assert usual
    qtbot.keyClicks(field, "Acceptance of the recorder <7>")
    html = target.with_suffix(".html")
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(html), "HTML"))
    page.open_after.setChecked(False)
    click(qtbot, page, SAVE_SHEET)
    settle(desk)
    assert "Acceptance of the recorder &lt;7&gt;" in html.read_text(encoding="utf-8")
    desk.close()
    assert read_review(review_path_for(faults)).sheet_title == "Acceptance of the recorder <7>"
    other = target.with_name("command.html")
    CliRunner().invoke(app, ["evidence", str(faults), "--to", str(other)])
    assert "Acceptance of the recorder &lt;7&gt;" in other.read_text(encoding="utf-8")
    again = make_window(faults)
    press(again, qtbot, "Ctrl+E")
    page = page_of(SHEET)
    field = called(page, "Title of the sheet")
    assert field.text() == "Acceptance of the recorder <7>"
    field.clear()
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert again.document.sheet_title == ""
    again.document.undo()
    assert field.text() == "Acceptance of the recorder <7>"


@pytest.mark.parametrize("leave", ["close", "close_session"])
def test_a_title_that_is_still_being_typed_is_kept_when_the_session_goes(
    leave: str, make_window: Callable[..., DeskWindow], qtbot: Any, faults: Path
) -> None:
    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(SHEET)
    field = called(page, "Title of the sheet")
    field.setFocus()
    qtbot.waitUntil(field.hasFocus)
    qtbot.keyClicks(field, "Half a ti")
    getattr(desk, leave)()
    assert read_review(review_path_for(faults)).sheet_title == "Half a ti"


def test_what_is_not_measured_is_measured_from_the_sheets_page(
    make_window: Callable[..., DeskWindow], qtbot: Any, settle: Settle, faults: Path
) -> None:
    desk = make_window(faults)
    press(desk, qtbot, "Ctrl+E")
    page = page_of(SHEET)
    measure = called(page, "Measure the session, so that the sheet can be saved")
    assert not measure.isVisible()
    desk.results.clear()
    assert measure.isVisible()
    assert not called(page, SAVE_SHEET).isEnabled()
    qtbot.mouseClick(measure, Qt.MouseButton.LeftButton)
    assert not measure.isVisible(), "it is being measured"
    settle(desk)
    assert called(page, SAVE_SHEET).isEnabled(), how_it_goes(page)


# -- the picture --------------------------------------------------------------------------------------------


def test_the_picture_is_as_large_as_the_view_until_a_size_is_chosen(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "Ctrl+P")
    page = page_of(PICTURE)
    size = desk.middle.view.size()
    assert (page.across.value(), page.down.value()) == (size.width(), size.height())
    page.close()
    desk.resize(desk.width() + 80, desk.height())
    press(desk, qtbot, "Ctrl+P")
    assert page.across.value() == desk.middle.view.width() != size.width()
    qtbot.keyClick(page.across, Qt.Key.Key_Up)
    chosen = page.across.value()
    page.close()
    press(desk, qtbot, "Ctrl+P")
    assert page.across.value() == chosen


@pytest.mark.parametrize("dark", [False, True])
def test_the_screen_is_saved_before_anything_is_measured(
    dark: bool, desk: DeskWindow, qtbot: Any, settle: Settle, target: Path
) -> None:
    desk.viewing.set_dark(dark)
    desk.results.clear()
    press(desk, qtbot, "Ctrl+P")
    page = page_of(PICTURE)
    assert "as it is on the screen" in how_it_goes(page)
    click(qtbot, page, SAVE_PICTURE)
    settle(desk)
    assert "not measured yet" in how_it_goes(page)
    assert not target.exists()
    page.drawn.setFocus()
    qtbot.keyClick(page.drawn, Qt.Key.Key_Down)
    assert page.drawn.currentText() == ON_SCREEN
    assert not page.across.isEnabled()
    qtbot.keyClick(page.density, Qt.Key.Key_Up)
    click(qtbot, page, SAVE_PICTURE)
    settle(desk)
    assert how_it_goes(page) == f"Saved: {target}."
    image, view = QImage(str(target)), desk.middle.view
    assert (image.width(), image.height()) == (2 * view.width(), 2 * view.height())
    shown = view.canvas.mapTo(view, view.canvas.plot_rect().center().toPoint())
    around = {image.pixelColor(2 * shown.x() + x, 2 * shown.y() + y).name() for x in range(60) for y in range(60)}
    assert (DARK.plot in around) is dark


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("view", ["single", "map"])
def test_the_screen_is_saved_in_the_colours_that_are_chosen(
    dark: bool, view: Any, desk: DeskWindow, qtbot: Any, settle: Settle, target: Path
) -> None:
    """The same picture, pixel by pixel, as of a desk that is in these colours; the desk has its own again."""
    saved = []
    for own in (dark, not dark):
        desk.viewing.set_dark(own)
        desk.viewing.set_view(view)
        settle(desk)
        press(desk, qtbot, "Ctrl+P")
        page = page_of(PICTURE)
        page.drawn.setCurrentText(IN_DARK if dark else IN_LIGHT)
        settle(desk)
        assert ("for a moment" in how_it_goes(page)) is (own is not dark)
        click(qtbot, page, SAVE_PICTURE)
        settle(desk)
        assert how_it_goes(page) == f"Saved: {target}."
        assert desk.viewing.dark is own
        saved.append(colours_of(QImage(str(target))))
        page.close()
    assert (saved[0] == saved[1]).all()
    assert bool(saved[0].mean() < 110) is dark


def test_a_desk_in_other_colours_for_a_moment_has_its_own_when_stopped(
    desk: DeskWindow, qtbot: Any, settle: Settle, target: Path
) -> None:
    settle(desk)
    press(desk, qtbot, "Ctrl+P")
    page = page_of(PICTURE)
    page.drawn.setCurrentText(IN_DARK)
    click(qtbot, page, SAVE_PICTURE)
    assert desk.viewing.dark
    click(qtbot, page, "Leave off making the picture")
    assert not desk.viewing.dark
    assert how_it_goes(page) == "Writing the picture was called off."
    settle(desk)
    assert not target.exists()
    assert called(page, SAVE_PICTURE).isEnabled()


def test_a_screen_is_not_written_as_lines(desk: DeskWindow, qtbot: Any, tmp_path: Path) -> None:
    press(desk, qtbot, "Ctrl+P")
    page = page_of(PICTURE)
    page.drawn.setCurrentText(ON_SCREEN)
    page.write(tmp_path / "out.svg")
    assert "written as .png" in how_it_goes(page)
    assert list(tmp_path.glob("out*")) == []


def test_a_picture_under_way_is_stopped_and_the_old_file_stays(
    desk: DeskWindow, qtbot: Any, settle: Settle, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target.write_bytes(b"the old picture")
    press(desk, qtbot, "Alt+3")
    settle(desk)
    press(desk, qtbot, "Ctrl+P")
    page = page_of(PICTURE)
    stop = called(page, "Leave off making the picture")
    assert not stop.isVisible()
    gate = Gate(monkeypatch)
    click(qtbot, page, SAVE_PICTURE)
    assert gate.reached.wait(30)
    assert stop.isVisible()
    assert not called(page, SAVE_PICTURE).isEnabled()
    qtbot.mouseClick(stop, Qt.MouseButton.LeftButton)
    gate.opened.set()
    settle(desk)
    assert how_it_goes(page) == "Writing the picture was called off."
    assert not stop.isVisible()
    assert target.read_bytes() == b"the old picture"
    assert [path.name for path in target.parent.glob(".pulsewright*")] == []


# -- tables -------------------------------------------------------------------------------------------------


def test_a_table_under_way_is_stopped_by_a_key_and_the_old_file_stays(
    desk: DeskWindow, qtbot: Any, settle: Settle, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "records.csv"
    path.write_text("the old table")
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_, **__: (str(path), "CSV"))
    stop = desk.actions_by_name["cancel"]
    assert not stop.isEnabled()
    gate = Gate(monkeypatch)
    desk.saving.save_records(list(range(8)))
    assert gate.reached.wait(30)
    assert stop.isEnabled()
    press(desk, qtbot, "Ctrl+.")
    gate.opened.set()
    settle(desk)
    assert not stop.isEnabled()
    assert message(desk) == "Writing the records was called off."
    assert path.read_text() == "the old table"
    assert sorted(file.name for file in tmp_path.glob("*.csv")) == ["records.csv"]
    assert list(tmp_path.glob(".pulsewright*")) == []
    desk.saving.save_records(list(range(8)))
    settle(desk)
    assert len(path.read_text().splitlines()) == 9
    assert str(path) in labelled(desk, "Answer to the last click")


# -- whose keys ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("key", "title"), [("Ctrl+E", SHEET), ("Ctrl+P", PICTURE)])
def test_a_page_in_front_keeps_its_keys_and_escape_gives_them_back(
    key: str, title: str, desk: DeskWindow, qtbot: Any
) -> None:
    press(desk, qtbot, key)
    page = page_of(title)
    qtbot.waitUntil(lambda: QApplication.activeWindow() is page)
    record, view = desk.viewing.record, desk.viewing.view
    for pressed in (Qt.Key.Key_PageDown, Qt.Key.Key_Space, Qt.Key.Key_M, Qt.Key.Key_F):
        qtbot.keyClick(page, pressed)
    assert (desk.viewing.record, desk.viewing.view, desk.document.pairs) == (record, view, ())
    assert not desk.viewing.playing
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    assert not page.isVisible()
    qtbot.waitUntil(lambda: QApplication.activeWindow() is desk)
    qtbot.keyClick(desk.focusWidget(), Qt.Key.Key_PageDown)
    assert desk.viewing.record == record + 1


def front(desk: DeskWindow) -> QWidget:
    """The window that lies over the desk."""
    return next(w for w in shown_windows() if w is not desk)


@pytest.mark.parametrize("key", ["Ctrl+Shift+V", "Ctrl+I", "Ctrl+,", "Ctrl+K", "Alt+G", "F1", "Shift+F1", "Ctrl+F1"])
def test_whatever_lay_in_front_the_plot_has_the_keys_again_after_escape(
    key: str, desk: DeskWindow, qtbot: Any, settle: Settle
) -> None:
    desk.middle.view.canvas.setFocus()
    press(desk, qtbot, key)
    page = front(desk)
    qtbot.waitUntil(lambda: QApplication.activeWindow() is page)
    record = desk.viewing.record
    for pressed in (Qt.Key.Key_PageDown, Qt.Key.Key_M, Qt.Key.Key_F):
        qtbot.keyClick(page, pressed)
    assert (desk.viewing.record, desk.document.pairs) == (record, ())
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: QApplication.activeWindow() is desk)
    assert QApplication.focusWidget() is desk.middle.view.canvas
    qtbot.keyClick(QApplication.focusWidget(), Qt.Key.Key_PageDown)
    assert desk.viewing.record == record + 1
    settle(desk)


@pytest.fixture
def usual_letters() -> Iterator[None]:
    """Give the letters their size back."""
    yield
    set_font_percent(100)


def cut_off(page: QWidget) -> list[str]:
    """The texts and fields of a page that get less height than they need."""
    texts = [w for w in page.findChildren(QLabel) if w.isVisible() and w.text() and w.wordWrap()]
    fields = [w for kind in (QComboBox, QSpinBox) for w in page.findChildren(kind) if w.isVisible()]
    return [w.text() for w in texts if w.height() < w.heightForWidth(w.width())] + [
        w.accessibleName() for w in fields if w.height() < w.minimumSizeHint().height()
    ]


@pytest.mark.parametrize("key", ["Ctrl+E", "Ctrl+P", "Shift+F1", "Ctrl+F1", "Alt+F1"])
def test_a_page_seen_before_fits_letters_of_twice_the_size(
    key: str, desk: DeskWindow, qtbot: Any, settle: Settle, usual_letters: None
) -> None:
    set_font_percent(100)
    press(desk, qtbot, key)
    page = front(desk)
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    set_font_percent(200)
    settle(desk)
    press(desk, qtbot, key)
    qtbot.waitUntil(page.isVisible)
    settle(desk)
    assert cut_off(page) == []
