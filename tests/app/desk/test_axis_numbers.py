"""The numbers and the name of an axis, where it is short and its letters are large."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

import pyqtgraph as pg
from PySide6.QtCore import QRectF
from PySide6.QtGui import QFont, QImage, QPainter
from PySide6.QtWidgets import QApplication

from pulsewright_app.desk.views.axes import NumberAxis, dress
from pulsewright_app.theme import LIGHT

LETTERS = 18.0


@pytest.mark.parametrize("side", ["bottom", "left"])
@pytest.mark.parametrize("room", [110, 160, 220, 300, 700])
@pytest.mark.parametrize("end", [1.0, 360.0, -900.0])
def test_numbers_along_an_axis_stand_clear_of_each_other(qtbot: object, side: str, room: int, end: float) -> None:
    """By construction: a plot too short for the numbers that suit its ticks; their digits are 0.7 of a line high."""
    axis = NumberAxis(side)
    plot = pg.PlotWidget(axisItems={side: axis})
    font = QFont(QApplication.font())
    font.setPointSizeF(LETTERS)
    dress(axis, LIGHT, font)
    plot.resize(room + 90, room + 60)
    low, high = sorted((-0.1 * end, end))
    plot.setRange(xRange=(low, high), yRange=(low, high), padding=0.0)
    plot.show()
    for _ in range(3):  # an axis takes the room of its numbers when they have been drawn
        plot.grab()
        QApplication.processEvents()
    image = QImage(8, 8, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    painter.setFont(font)
    specs = axis.generateDrawSpecs(painter)
    painter.end()
    plot.close()
    assert specs is not None
    written = [(QRectF(place), text) for place, _, text in specs[2] if text]
    assert written
    across = side == "bottom"
    air = 0.0 if across else 0.15
    edges = [(r.left(), r.right()) if across else (r.top() + air * r.height(), r.bottom() - air * r.height())
             for r, _ in written]  # fmt: skip
    assert all(after[0] >= before[1] for before, after in pairwise(sorted(edges)))
    if room == 700:
        assert len(written) >= 3
        steps = np.diff([float(text.replace("−", "-")) for _, text in written])
        assert np.allclose(steps, steps[0])


@pytest.mark.parametrize("side", ["bottom", "left"])
@pytest.mark.parametrize("room", [90, 250, 900])
def test_the_name_of_an_axis_is_inside_the_plot_and_keeps_its_unit(qtbot: object, side: str, room: int) -> None:
    """By construction: a name of some 300 pixels along axes that are shorter and longer."""
    axis = NumberAxis(side)
    plot = pg.PlotWidget(axisItems={side: axis})
    font = QFont(QApplication.font())
    font.setPointSizeF(LETTERS)
    axis.setLabel("Distance from the line", units="s")
    dress(axis, LIGHT, font)
    plot.resize(room + 90, room + 60)
    plot.setRange(xRange=(0.0, 1e-7), yRange=(0.0, 1e-7), padding=0.0)
    plot.show()
    for _ in range(3):
        plot.grab()
        QApplication.processEvents()
    words, seen = axis.label.sceneBoundingRect(), QRectF(plot.viewport().rect())
    text, whole = axis.label.toPlainText(), axis.toolTip()
    plot.close()
    low, high = (words.left(), words.right()) if side == "bottom" else (words.top(), words.bottom())
    assert low >= 0 and high <= (seen.width() if side == "bottom" else seen.height())
    assert text.endswith("ns")
    assert (text == "Distance from the line / ns") == (room == 900) == (whole == "")
    assert room == 900 or whole == "Distance from the line / ns"
