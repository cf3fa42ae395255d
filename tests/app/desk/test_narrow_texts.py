"""What has little room: a caption is cut by letters, names of lanes are left away, controls go on in another line."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QStandardItemModel
from PySide6.QtWidgets import QApplication, QListView, QPushButton, QVBoxLayout, QWidget

from pulsewright_app.desk.filter_row import FilterRow
from pulsewright_app.desk.help.pages import cautions_page
from pulsewright_app.desk.panels.tables import CopyingTable, Headings
from pulsewright_app.desk.plots.elided_label import NarrowLabel, WholeLabel
from pulsewright_app.desk.views.axes import ValueAxis
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.dimension_lines import Taken, text_box
from pulsewright_app.desk.views.flow import FlowRow
from pulsewright_app.desk.window import DeskWindow

from .gestures import colours_of


@pytest.mark.parametrize(
    "marked", ["one · <span style='color:#a5491a'>■</span>&nbsp;two · three", "a &lt; b&nbsp; · c and more"]
)
def test_a_narrow_caption_cuts_letters_and_not_marks(qtbot: Any, marked: str) -> None:
    """What is seen of a narrow one is how the wide one begins; no outside source, it is the same text."""
    seen = []
    for width in (400, 60):
        caption = NarrowLabel()
        qtbot.addWidget(caption)
        caption.setTextFormat(Qt.TextFormat.RichText)
        caption.setText(marked)
        caption.resize(width, 20)
        caption.show()
        seen.append(colours_of(caption.grab().toImage()))
    more = NarrowLabel().fontMetrics().horizontalAdvance("…")
    letter = NarrowLabel().fontMetrics().horizontalAdvance("W")
    whole = 60 - more - letter  # so far at least no letter is taken away
    assert (seen[0][:, :whole] == seen[1][:, :whole]).all()
    assert (seen[1][:, :whole].min(axis=2) < 100).any()
    assert (seen[0][:, 60 - more : 60] != seen[1][:, 60 - more : 60]).any()  # the sign that there is more


def test_a_caption_goes_on_in_a_second_line_where_there_is_height_for_one(qtbot: Any) -> None:
    caption, words = NarrowLabel(), "Record 3 of 0 … 35  ·  left out: a bubble on the plate"
    qtbot.addWidget(caption)
    caption.setText(words)
    width, line = caption.fontMetrics().horizontalAdvance(words), caption.fontMetrics().lineSpacing()
    caption.resize(round(0.7 * width), 2 * line)
    assert len(caption.lines_shown()) == 2
    assert " ".join(caption.lines_shown()).split() == words.split()
    caption.resize(round(0.3 * width), 2 * line)
    assert len(caption.lines_shown()) == 2
    assert caption.lines_shown()[1].endswith("…")
    assert caption.toolTip() == words


def test_lane_names_that_would_lie_over_each_other_are_left_away_but_the_current(qtbot: Any) -> None:
    axis, inked = ValueAxis(), []
    plot = pg.PlotWidget(axisItems={"left": axis}, background="w")
    qtbot.addWidget(plot)
    plot.resize(200, 140)
    plot.show()
    plot.setYRange(-0.5, 11.5, padding=0)
    names = [(float(11 - place), f"H{place:02d}", "#000000", place == 5) for place in range(12)]
    for rows in (names, names[5:6]):
        axis.show_rows(rows)
        QApplication.processEvents()
        inked.append((colours_of(plot.grab().toImage())[:, :80].max(axis=2) < 110).any(axis=1))
    letters = QFontMetricsF(QFont(plot.font())).capHeight()
    runs = np.flatnonzero(np.diff(np.concatenate([[False], inked[0], [False]]).astype(int)))
    high = runs[1::2] - runs[::2]
    assert len(high) > 1 and high.max() < 1.8 * letters  # never one over another
    assert inked[1].any() and inked[0][inked[1]].all()  # the current one is among them


def test_what_a_marker_says_ends_with_a_sign_where_the_plot_is_narrow(qtbot: Any) -> None:
    """The same as if it had been written shorter: nothing is cut off by the plot's edge."""
    canvas, said = Canvas(), "Pair 1: Δ 40.97 ± 0.70 µs  (record 5)"
    qtbot.addWidget(canvas)
    canvas.resize(240, 160)
    canvas.show()
    plot = canvas.plot_rect()
    seen = []
    for text in (said, canvas.fontMetrics().elidedText(said, Qt.TextElideMode.ElideRight, round(plot.width()) - 14)):
        canvas.above[:] = [
            lambda painter, on, text=text: text_box(painter, on, plot.left(), plot.top() + 20, text, Taken(), "#000000")
        ]
        seen.append(colours_of(canvas.grab().toImage()))
    assert (seen[0] == seen[1]).all()
    dark = (seen[0].max(axis=2) < 110)[round(plot.top()) + 15 : round(plot.top()) + 45]
    assert dark.any() and not dark[:, round(plot.right()) - 4 : round(plot.right())].any()


def test_words_beside_levels_lie_on_nothing_or_on_the_least(qtbot: Any) -> None:
    """Geometry alone: traces below 120, a text from 100 to 300, a line at 400."""
    taken, lane = Taken(), QRectF(0, 60, 500, 100)
    taken.traces = lambda box: float(box.bottom() > 120)
    taken.add_line(QRectF(399, 0, 2, 300))
    taken.add(QRectF(100, 60, 200, 60))
    put = taken.clear(QRectF(350, 100, 90, 16), lane)
    assert put is not None
    assert lane.contains(put) and put.bottom() <= 120
    assert put.left() >= 300 and put.right() <= 399  # between the text and the line
    low = QRectF(0, 110, 500, 30)
    assert taken.clear(QRectF(320, 112, 70, 16), low) is None
    taken.traces = lambda box: float(box.left() > 330)
    taken.add_line(QRectF(0, 120, 500, 2))
    assert taken.emptiest(QRectF(350, 112, 90, 16), low).left() <= 330  # on a line rather than on the trace
    taken.traces = lambda _: 1.0  # where all is alike, words stay where they belong
    assert taken.emptiest(QRectF(300, 112, 90, 16), low) == QRectF(300, 112, 90, 16)
    crowded = Taken()
    for across in range(0, 500, 15):
        crowded.add_line(QRectF(across, 0, 2, 300))
    crowded.traces = lambda box: float(box.left() > 330)  # as many lines everywhere, the trace here alone
    assert crowded.emptiest(QRectF(350, 112, 90, 16), low).left() <= 330


def test_a_heading_that_is_cut_is_whole_in_its_tooltip(qtbot: Any) -> None:
    table, model = CopyingTable("Skews"), QStandardItemModel(1, 2)
    qtbot.addWidget(table)
    model.setHorizontalHeaderLabels(["95 % interval", "Skew"])
    table.setModel(model)
    model.setHeaderData(1, Qt.Orientation.Horizontal, "Against H01", Qt.ItemDataRole.ToolTipRole)
    table.resize(400, 100)
    table.show()
    header = table.horizontalHeader()
    assert isinstance(header, Headings)
    header.setStretchLastSection(False)
    for width, tips in ((150, ("", "Against H01")), (20, ("95 % interval", "Skew\nAgainst H01"))):
        table.setColumnWidth(0, width)
        table.setColumnWidth(1, width)
        assert (header.tip(0), header.tip(1)) == tips
    table.setColumnWidth(0, 380)
    table.setColumnWidth(1, 150)
    assert header.tip(1) == "Skew\nAgainst H01"  # cut by the table's edge


@pytest.mark.parametrize("width", range(220, 460, 20))
def test_no_control_is_left_alone_in_the_last_line(qtbot: Any, width: int) -> None:
    holder = QWidget()
    qtbot.addWidget(holder)
    row = FlowRow(holder)
    buttons = [QPushButton("a") for _ in range(7)]
    for button in buttons:
        button.setFixedWidth(60)
        row.addWidget(button)
    holder.resize(width, 200)
    holder.show()
    tops = [button.y() for button in buttons]
    assert tops == sorted(tops)
    assert tops.count(tops[-1]) > 1, "the last control stands alone in its line"
    assert max(button.geometry().right() for button in buttons) < width


def test_a_number_at_the_upper_end_of_an_axis_is_whole(qtbot: Any) -> None:
    """As high as those below it: the digits of one fount are."""
    axis = ValueAxis()
    plot = pg.PlotWidget(axisItems={"left": axis}, background="w")
    qtbot.addWidget(plot)
    plot.resize(300, 240)
    axis.setTextPen("k")
    axis.setLabel("")
    axis.setTicks([[(number / 5, f"{number / 5:.1f}") for number in range(-5, 6)]])
    plot.show()
    plot.setYRange(-1.0, 1.0, padding=0)
    QApplication.processEvents()
    dark = (colours_of(plot.grab().toImage())[:, :76].max(axis=2) < 110).any(axis=1)
    runs = np.flatnonzero(np.diff(np.concatenate([[False], dark, [False]]).astype(int)))
    high = runs[1::2] - runs[::2]
    assert len(high) == 11 and runs[0] < 6
    assert high[0] == np.median(high)


@pytest.mark.parametrize("points", [9.0, 18.0])
def test_the_filter_can_be_written_in_a_narrow_row_and_the_number_of_a_record_is_whole(
    desk: DeskWindow, qtbot: Any, points: float
) -> None:
    number, row = desk.middle.rail_row.number, FilterRow(desk.middle.rail_row.filter_row.filtering, desk.viewing)
    qtbot.addWidget(row)
    font = QFont(row.font())
    font.setPointSizeF(points)
    for widget in (row, number, *row.findChildren(QWidget)):
        widget.setFont(font)
    row.resize(540, row.sizeHint().height())
    row.show()
    QApplication.processEvents()
    letters = QFontMetricsF(font)
    assert row.width() == 540
    assert row.line.width() >= letters.horizontalAdvance("polarity ne")
    assert row.count.isVisible() == (points < 18)
    assert row.only.toolTip() == row.count.text() == "all records"
    assert number.minimumSizeHint().width() >= letters.horizontalAdvance("99999") + 8


def test_a_page_to_be_read_is_as_high_as_its_text(qtbot: Any) -> None:
    beside_it = QWidget()
    qtbot.addWidget(beside_it)
    page = cautions_page(beside_it)
    page.come_up()
    others = page.close_button.height() + 6 * page.column.spacing() + 2 * page.told.height()
    assert 0 <= page.height() - page.text.heightForWidth(page.text.width()) <= others


def test_a_heading_asks_for_the_height_of_all_its_lines(qtbot: Any) -> None:
    """What holds both in a splitter asks for no height for a width: it takes what they say they need at least."""
    page, table = QWidget(), QListView()
    qtbot.addWidget(page)
    column = QVBoxLayout(page)
    heading = WholeLabel("Alignment, channel by channel, against H01")
    table.setFixedHeight(60)
    for part in (heading, table):
        column.addWidget(part)
    page.resize(170, 300)
    page.show()
    QApplication.processEvents()
    lines = heading.heightForWidth(heading.width())
    margins = column.contentsMargins()
    assert lines > 1.5 * heading.fontMetrics().height()
    least = lines + column.spacing() + 60 + margins.top() + margins.bottom()
    assert page.minimumSizeHint().height() == least
