"""Contrast as it is seen: of letters and of marks, on the pixels of the desk as it is painted, light and dark.

Ratios and limits by W3C, WCAG 2.1: 4.5 : 1 for text (1.4.3), 3 : 1 for what is drawn (1.4.11). What cannot be used now
is exempt there, and left out here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QHeaderView,
    QLabel,
    QLineEdit,
    QMenu,
    QMenuBar,
    QSplitter,
    QTabBar,
    QTableView,
    QToolButton,
    QWidget,
)

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample

from .gestures import VIEWS, Settle, canvas_of, colours_of, pulse_of
from .overflow import menus_of

TEXT, MARK = 4.5, 3.0
_LABEL_GAP = 7
"""Empty pixels that part one label from the next."""
_SEEN_IN = 0.9
"""Share of a line's length that must stand out: it crosses other signs."""


def luminance(colours: np.ndarray) -> np.ndarray:
    """Relative luminance of sRGB colours 0 … 255, along the last axis (WCAG 2.1)."""
    value = colours / 255
    light = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.asarray(light @ [0.2126, 0.7152, 0.0722])


def ratio(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Contrast ratio of two luminances (WCAG 2.1)."""
    return (np.maximum(one, other) + 0.05) / (np.minimum(one, other) + 0.05)


def contrast_of(colours: np.ndarray) -> float:
    """The strongest pixel of a piece of picture against its commonest colour, which is what lies behind."""
    flat = colours.reshape(-1, 3)
    kinds, counts = np.unique(flat, axis=0, return_counts=True)
    return float(ratio(luminance(kinds), luminance(kinds[np.argmax(counts)])).max())


def line_contrast(colours: np.ndarray) -> float:
    """The contrast of a thin level line: of the strongest pixel of each column, where that is weakest.

    A line that lies between two rows of pixels is as pale as its pen is thin. A tenth of the columns is not looked at:
    other lines cross there.
    """
    kinds, counts = np.unique(colours.reshape(-1, 3), axis=0, return_counts=True)
    strongest = ratio(luminance(colours), luminance(kinds[np.argmax(counts)])).max(axis=0)
    return float(np.percentile(strongest, 10))


def cut(picture: np.ndarray, box: QRect) -> np.ndarray:
    """The piece of a picture inside a box."""
    return picture[max(box.top(), 0) : box.bottom() + 1, max(box.left(), 0) : box.right() + 1]


def runs(inked: np.ndarray, gap: int) -> list[tuple[int, int]]:
    """Where something is along a line, as (first, stop); gaps up to `gap` do not part it."""
    places = np.flatnonzero(inked)
    if not len(places):
        return []
    ends = np.flatnonzero(np.diff(places) > gap)
    return list(
        zip(places[np.r_[0, ends + 1]].tolist(), (places[np.r_[ends, len(places) - 1]] + 1).tolist(), strict=True)
    )


def labels_in(strip: np.ndarray, across: bool) -> list[float]:
    """The contrast of each label of an axis' strip, which has one ground."""
    kinds, counts = np.unique(strip.reshape(-1, 3), axis=0, return_counts=True)
    against = ratio(luminance(strip), luminance(kinds[np.argmax(counts)]))
    inked = (against > 1.3).any(axis=0 if across else 1)
    return [
        float((against[:, a:b] if across else against[a:b]).max()) for a, b in runs(inked, _LABEL_GAP if across else 1)
    ]


@pytest.fixture(params=[False, True], ids=["light", "dark"])
def worked_on(
    request: pytest.FixtureRequest, make_window: Callable[..., DeskWindow], settle: Settle, faults: Any
) -> DeskWindow:
    """The sample with faults, with a marker pair, a level pair, a flag and a record left out."""
    desk = make_window(faults)
    desk.resize(1500, 920)
    desk.viewing.set_dark(request.param)
    desk.viewing.go_to(6)
    settle(desk)
    desk.middle.view.hand.add_at_pointer()
    desk.middle.view.level_hand.add_at_pointer()
    desk.document.flag(9)
    desk.document.leave_out(3, "A bubble on the plate")
    settle(desk)
    return desk


def texts_of(desk: DeskWindow) -> Iterator[tuple[str, QWidget, QRect]]:
    """Every text that can be read now: what it says, the widget, and where in the widget it stands."""
    for widget in desk.findChildren(QWidget):
        if not widget.isVisible() or widget.window() is not desk or widget.visibleRegion().isEmpty():
            continue
        seen = widget.visibleRegion().boundingRect()
        if isinstance(widget, QTableView):
            yield from _cells(widget)
        elif isinstance(widget, QTabBar):
            for tab in range(widget.count()):
                yield widget.tabText(tab), widget, widget.tabRect(tab).adjusted(3, 3, -3, -3).intersected(seen)
        elif isinstance(widget, QMenuBar):
            for action in widget.actions():
                yield action.text(), widget, widget.actionGeometry(action)
        elif not widget.isEnabled():
            continue
        elif isinstance(widget, QLabel | QAbstractButton | QLineEdit | QComboBox) and not isinstance(widget, QMenu):
            if _is_a_sign(widget):
                continue
            text = widget.currentText() if isinstance(widget, QComboBox) else widget.text()
            air = 0 if isinstance(widget, QLabel) else 4  # without its frame
            yield text, widget, widget.rect().adjusted(air, air, -air, -air).intersected(seen)


def _is_a_sign(widget: QWidget) -> bool:
    if isinstance(widget, QToolButton):
        return widget.toolButtonStyle() == Qt.ToolButtonStyle.ToolButtonIconOnly
    return type(widget).__name__ == "_TitleButton"


def _cells(table: QTableView) -> Iterator[tuple[str, QWidget, QRect]]:
    model, viewport = table.model(), table.viewport()
    for row in range(model.rowCount()):
        for column in range(model.columnCount()):
            index = model.index(row, column)
            box = table.visualRect(index)
            if box.isValid() and viewport.rect().contains(box) and index.data() and not table.indexWidget(index):
                yield str(index.data()), viewport, box
    for header in (table.horizontalHeader(), table.verticalHeader()):
        if header.isVisible() and isinstance(header, QHeaderView):
            yield f"headings of {table.accessibleName()}", header.viewport(), header.viewport().rect()


def test_every_text_of_the_desk_stands_out_from_what_lies_behind(worked_on: DeskWindow) -> None:
    picture, weak, read = colours_of(worked_on.grab().toImage()), [], 0
    for text, widget, box in texts_of(worked_on):
        there = QRect(widget.mapTo(worked_on, box.topLeft()), box.size())
        if not any(letter.isalnum() for letter in text) or box.width() < 8 or box.height() < 8:
            continue
        read += 1
        seen = contrast_of(cut(picture, there))
        if seen < TEXT:
            weak.append((text, type(widget).__name__, round(seen, 2)))
    assert read > 100
    assert not weak, weak


def test_what_is_written_at_the_axes_stands_out(worked_on: DeskWindow, settle: Settle) -> None:
    for view in VIEWS:
        worked_on.viewing.set_view(view)
        settle(worked_on)
        canvas = canvas_of(worked_on)
        picture, plot = colours_of(canvas.viewport().grab().toImage()), canvas.plot_rect().toAlignedRect()
        below = labels_in(
            picture[plot.bottom() + 10 : -1, plot.left() : plot.right()][: canvas.fontMetrics().height()], True
        )
        beside = labels_in(picture[plot.top() : plot.bottom(), 18 : plot.left() - 4], False)
        assert len(below) >= 5 and len(beside) >= 8, view
        assert min(below) >= TEXT and min(beside) >= TEXT, view


def test_traces_and_signs_stand_out_in_single(worked_on: DeskWindow) -> None:
    canvas = canvas_of(worked_on)
    picture, plot = colours_of(canvas.viewport().grab().toImage()), canvas.plot_rect().toAlignedRect()
    session = worked_on.document.session
    assert session is not None
    weak = {}
    for channel, about in enumerate(session.channels):  # the ground line of each trace, and its pulse
        y = round(canvas.y_of(len(session.channels) - 1 - channel))
        weak[about.name] = line_contrast(picture[y - 8 : y + 9, round(canvas.x_of(20e-6)) : round(canvas.x_of(100e-6))])
        time, _ = pulse_of(worked_on, 6, channel)
        if np.isfinite(time):
            x = round(canvas.x_of(time))
            sign = picture[max(y - 40, plot.top()) : y + 40, x - 6 : x + 7]
            weak[f"the pulse sign on {about.name}"] = contrast_of(sign)
    column = round(canvas.x_of(0.0))
    weak["trigger"] = contrast_of(picture[plot.top() + 90 : plot.top() + 130, column - 6 : column + 7])
    pair = worked_on.document.pairs[0]
    for which in (pair.t1, pair.t2):
        column = round(canvas.x_of(which))
        weak[f"marker at {which}"] = contrast_of(
            picture[plot.center().y() + 5 : plot.center().y() + 25, column - 6 : column + 7]
        )
    span = worked_on.document.measuring_settings().span
    assert span is not None
    column = round(canvas.x_of(span[0]))
    weak["span"] = contrast_of(picture[plot.top() + 5 : plot.top() + 12, column - 6 : column + 7])
    assert {name: round(seen, 2) for name, seen in weak.items() if seen < MARK} == {}
    assert len(weak) > 25


def test_the_hollow_sign_of_a_pulse_with_no_position_stands_out(worked_on: DeskWindow, settle: Settle) -> None:
    worked_on.viewing.go_to(5)  # its pulses point down, and the sign's base lies between two rows of pixels
    settle(worked_on)
    canvas, session = canvas_of(worked_on), worked_on.document.session
    assert session is not None
    names = [about.name for about in session.channels]
    noisy = names.index("H05")
    assert not np.isfinite(pulse_of(worked_on, 5, noisy)[0])
    x = round(canvas.x_of(pulse_of(worked_on, 5, 0)[0]))  # the same echo, where it has a position
    y = round(canvas.y_of(len(names) - 1 - noisy))
    picture = colours_of(canvas.viewport().grab().toImage())
    rows = [contrast_of(picture[row - 1 : row + 1, x - 6 : x + 7]) for row in range(y + 12, y + 30)]  # below the trace
    drawn = [seen for seen in rows if seen > 1.0]
    inner = drawn[1:-1]  # a row at the edge may be covered by a hair of the line
    assert len(inner) > 5 and min(inner) >= MARK


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("view", ["afterglow", "map"])
def test_marker_lines_stand_out_where_the_plot_is_full_of_ink(
    make_window: Callable[..., DeskWindow], settle: Settle, dark: bool, view: Any
) -> None:
    """Of the sample whose sines fill it: against the pixels beside each line, over the whole length."""
    desk = make_window(sample("tank_sine.h5"))
    desk.viewing.set_dark(dark)
    desk.viewing.set_view(view)
    settle(desk)
    desk.document.add_pair(30.02e-6, 60.03e-6, 1e-9, 1e-9, 5, 0)
    settle(desk)
    canvas = canvas_of(desk)
    light = luminance(colours_of(canvas.viewport().grab().toImage()))
    plot = canvas.plot_rect().toAlignedRect()
    rows = slice(plot.top() + 70, plot.bottom() - 40)  # what is written stands above and below
    for time in (30.02e-6, 60.03e-6, 0.0):
        column = round(canvas.x_of(time))
        seen = max(_stands_out(light[rows], x) for x in (column - 1, column, column + 1))
        assert seen >= (_SEEN_IN if time else _SEEN_IN / 2), (time, seen)  # the trigger's line is dashed
    left, right = (round(canvas.x_of(time)) for time in (30.02e-6, 60.03e-6))
    strip = light[plot.top() : plot.top() + 60, left + 10 : right - 10]  # of the arrow: the text lies above it
    assert max(_stands_out(strip.T, y) for y in range(1, len(strip) - 1)) >= _SEEN_IN
    heads = light[plot.top() : plot.top() + 60, left + 2 : left + 10]
    assert max((ratio(heads[y], heads[y - 6]) >= MARK).mean() for y in range(6, len(heads))) >= _SEEN_IN


def _stands_out(light: np.ndarray, x: int) -> float:
    """Share of a column's pixels that stand out from the next ones at both sides."""
    beside = [ratio(light[:, x], light[:, x + away]) for away in (-1, 1)]
    return float((np.minimum(*beside) >= MARK).mean())


def test_the_rail_and_the_buttons_and_dividers_of_the_panels_stand_out(worked_on: DeskWindow) -> None:
    rail = worked_on.middle.rail_row.rail
    picture = colours_of(rail.grab().toImage())
    for record in (6, 9):  # where one is, and what is flagged
        x = round(rail.x_of(record))
        assert contrast_of(picture[:, x - 5 : x + 6]) >= MARK
    buttons = [
        button for button in worked_on.findChildren(QAbstractButton)
        if button.isVisible() and button.isEnabled() and _is_a_sign(button) and button.accessibleName()
    ]  # fmt: skip
    assert len(buttons) >= 12  # two for each panel, and the arrows beside the rail
    whole = colours_of(worked_on.grab().toImage())
    seen = {
        button.accessibleName(): contrast_of(
            cut(whole, QRect(button.mapTo(worked_on, QPoint(3, 3)), button.size()).adjusted(0, 0, -6, -6))
        )
        for button in buttons
    }
    assert {name: round(value, 2) for name, value in seen.items() if value < MARK} == {}
    table = next(table for table in worked_on.findings_panel.findChildren(QTableView) if table.isVisible())
    header = table.horizontalHeader()
    picture = colours_of(header.viewport().grab().toImage())
    for section in range(3):  # text stands on both sides of what is only to part it: less than a mark will do
        edge = header.sectionViewportPosition(section) + header.sectionSize(section)
        light = luminance(picture[4:-4, edge - 4 : edge + 3])
        assert ratio(light[:, 3], light[:, 0]).min() > 2 and ratio(light[:, 3], light[:, -1]).min() > 2
    last = luminance(picture[4:-4, -3:])  # no other heading is after it
    assert ratio(last, last[:, :1]).max() < 2
    splitter = worked_on.findings_panel.findChild(QSplitter)
    handle = splitter.handle(1).geometry()
    assert not any(splitter.widget(place).geometry().intersects(handle) for place in (0, 1))


def test_the_entries_of_the_menus_and_their_boxes_stand_out(worked_on: DeskWindow) -> None:
    weak, boxes, texts = {}, 0, 0
    for menu in menus_of(worked_on):
        menu.popup(worked_on.pos())
        QApplication.processEvents()
        picture = colours_of(menu.grab().toImage())
        menu.close()
        for action in menu.actions():
            if not action.isEnabled() or action.isSeparator():
                continue
            place = menu.actionGeometry(action)
            left, beside = QRect(place), QRect(place)
            left.setWidth(20)
            beside.setLeft(28)
            texts += 1
            if (seen := contrast_of(cut(picture, beside))) < TEXT:
                weak[action.text()] = round(seen, 2)
            if action.isCheckable() and not action.isChecked():  # a tick would stand out by itself
                boxes += 1
                if (seen := contrast_of(cut(picture, left))) < MARK:
                    weak[f"the box of {action.text()}"] = round(seen, 2)
    assert texts > 40 and boxes > 8
    assert not weak, weak


def test_what_is_pale_is_found(qtbot: Any) -> None:
    """By construction: grey letters on white, once of 4.54 : 1 and once of 4.48 : 1, and a clear and a pale line."""
    seen = []
    for grey in ("#767676", "#777777"):
        label = QLabel("letters")
        qtbot.addWidget(label)
        label.setStyleSheet(f"background: #ffffff; color: {grey}; font-size: 40px")
        label.resize(200, 60)
        seen.append(contrast_of(colours_of(label.grab().toImage())))
    assert seen == pytest.approx([4.54, 4.48], abs=0.005)
    strip = np.full((20, 100, 3), 255)
    strip[5:15, 10:20], strip[5:15, 40:50] = 0, 150
    assert labels_in(strip, True) == pytest.approx([21.0, 2.96], abs=0.01)
