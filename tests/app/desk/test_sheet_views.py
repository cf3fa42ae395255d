"""Views for the sheet by real gestures: added, captioned, moved, taken off, and looked at again."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QLineEdit,
    QStyleOptionViewItem,
)

from pulsewright_app.desk.window import DeskWindow

from .gestures import Settle, labelled, message, press
from .shown_pages import PICTURE, VIEWS, called, click, how_it_goes, page_of


def view_caption(desk: DeskWindow) -> str:
    return labelled(desk, f"What the {desk.middle.view.NAME} view shows")


def test_what_the_sheet_does_not_draw_of_a_view_is_said(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    desk.viewing.set_view("afterglow")
    desk.viewing.glow.set_half_life(3)
    press(desk, qtbot, "Ctrl+P")
    page = page_of(PICTURE)
    assert how_it_goes(page).endswith("; without the fade, which the sheet does not draw.")
    desk.viewing.glow.set_mean(True)
    assert how_it_goes(page).endswith("; without the fade and the mean, which the sheet does not draw.")
    desk.activateWindow()
    press(desk, qtbot, "V")
    assert how_it_goes(page_of(VIEWS)) == "Added without the fade and the mean, which the sheet does not draw."
    page_of(VIEWS).close()
    press(desk, qtbot, "Ctrl+Shift+V")
    assert how_it_goes(page_of(VIEWS)) == ""  # it was said of a view that was added before
    desk.viewing.set_view("single")
    assert how_it_goes(page).endswith("with its caption below.")
    desk.viewing.trims.step_scale(0, up=True)
    lacking = "what is drawn larger or higher than recorded"
    assert how_it_goes(page).endswith(f"; without {lacking}, which the sheet does not draw.")


def test_a_caption_goes_on_being_written_while_other_things_are_added(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "V")
    table = called(page_of(VIEWS), VIEWS)
    editor = table.findChild(QLineEdit)
    qtbot.keyClicks(editor, "The plate")
    desk.document.flag(3)
    assert table.findChild(QLineEdit) is editor and editor.text() == "The plate"
    qtbot.keyClicks(editor, " stands still")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: desk.document.sheet_views[0].caption == "The plate stands still")


def test_an_empty_caption_says_how_to_write_one(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    press(desk, qtbot, "V")
    table = called(page_of(VIEWS), VIEWS)

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
    page = page_of(VIEWS)
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


def test_what_lies_beneath_the_record_goes_onto_the_sheet_and_comes_back(desk: DeskWindow, qtbot: Any) -> None:
    desk.viewing.go_to(6)
    press(desk, qtbot, "R")  # this record is the reference
    desk.viewing.go_to(8)
    press(desk, qtbot, "V")
    page = page_of(VIEWS)
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
    page = page_of(VIEWS)
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
    page = page_of(VIEWS)
    (view,) = desk.document.sheet_views
    desk.document.set_sheet_views((replace(view, filter="loudness > 3"),), "As another version wrote it")
    called(page, VIEWS).selectRow(0)
    click(qtbot, page, "Show the chosen view on the desk as it was added")
    assert "All records are shown" in how_it_goes(page)
    assert "loudness" in how_it_goes(page)
    assert desk.viewing.matching is None


def test_a_view_without_a_caption_is_a_marked_row_and_no_button(desk: DeskWindow, qtbot: Any) -> None:
    press(desk, qtbot, "V")
    page = page_of(VIEWS)
    table = called(page, VIEWS)
    qtbot.keyClick(table.findChild(QLineEdit), Qt.Key.Key_Escape)
    page.activateWindow()
    table.setCurrentCell(0, 1)
    table.setFocus()
    qtbot.waitUntil(table.hasFocus)
    image = table.viewport().grab().toImage()

    def paper(column: int) -> set[str]:
        """The colours down the right edge of a cell, where no letter is; the grid's lines are left out."""
        cell = table.visualItemRect(table.item(0, column))
        return {image.pixelColor(cell.right() - 3, y).name() for y in range(cell.top() + 1, cell.bottom())}

    assert paper(0) == paper(1)
    assert len(paper(1)) == 1  # neither a frame nor a gradient
