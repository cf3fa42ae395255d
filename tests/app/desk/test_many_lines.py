"""Bars and lines of very many records: as few strokes as pixels can show, and the same pixels as all of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QRectF
from PySide6.QtGui import QColor, QImage, QPainter, QPen, QTransform

from pulsewright_app.desk.plots.figure_plot import FigurePlot
from pulsewright_app.desk.plots.many import strokes
from pulsewright_app.desk.plots.many_lines import ManyBars, ManyLine, ManyUprights
from pulsewright_app.figures_axes import Axis, time_axis
from pulsewright_app.figures_data import PositionsFigure
from pulsewright_app.theme import LIGHT

WIDE, TALL, MANY = 200, 100, 60_000
PEN = QPen(QColor("#000000"), 1)
PEN.setCosmetic(True)


def painted(item: Any, shown: QRectF) -> Any:
    """Return which pixels an item inks, shape (rows, columns), as a stretch of its plot fills an image."""
    image = QImage(WIDE, TALL, QImage.Format.Format_ARGB32)
    image.fill(QColor("#ffffff"))
    painter = QPainter(image)
    transform = QTransform.fromTranslate(-shown.left() * WIDE / shown.width(), -shown.top() * TALL / shown.height())
    painter.setTransform(QTransform.fromScale(WIDE / shown.width(), TALL / shown.height()) * transform)
    item.paint(painter)
    painter.end()
    return np.frombuffer(image.constBits(), np.uint8).reshape(TALL, WIDE, 4)[:, :, 0] < 200


def test_fewer_strokes_ink_the_same_pixels() -> None:
    """Against a plain loop over strokes."""
    random = np.random.default_rng(5)
    column, one, other = (random.integers(-20, size + 20, 400) for size in (40, 30, 30))
    wanted = np.zeros((40, 30), dtype=bool)
    for place, begin, end in zip(column, one, other, strict=True):
        if 0 <= place < 40:
            wanted[place, max(min(begin, end), 0) : max(max(begin, end) + 1, 0)] = True
    got = np.zeros_like(wanted)
    fewer = strokes(column, one, other, 40, 30)
    for place, top, foot in zip(*fewer, strict=True):
        assert not got[place, top : foot + 1].any()
        got[place, top : foot + 1] = True
    np.testing.assert_array_equal(got, wanted)
    assert len(fewer[0]) < 400


def test_the_bars_of_very_many_records_hide_no_gap_and_no_outlier(qtbot: Any) -> None:
    x = np.arange(MANY, dtype=np.float64)
    y = np.where(x % 2 == 0, 20.0, 60.0)
    y[30_000] = 90.0
    bars = ManyBars(x, y, np.full(MANY, 5.0), PEN)
    inked = painted(bars, QRectF(0, 0, MANY, TALL))
    assert bars.drawn <= 2 * WIDE + 1
    assert inked[15:25, 50].all() and inked[55:65, 50].all()
    assert not inked[30:50, 50].any()  # between the two
    assert inked[86:94, 100].all() and not inked[86:94, 50].any()


def test_a_very_long_line_is_drawn_as_pixels_show_it_and_exactly_once_it_is_near(qtbot: Any) -> None:
    x = np.arange(MANY, dtype=np.float64)
    y = 10.0 * (x % 8)
    y[30_000] = 95.0
    y[10_000:10_600] = np.nan  # two columns
    line = ManyLine(x, y, PEN)
    inked = painted(line, QRectF(0, 0, MANY, TALL))
    assert line.drawn <= 3 * WIDE
    assert inked[1:69, 80].all() and not inked[75:, 80].any()
    assert inked[75:94, 100].any()
    assert not inked[:, 34].any()  # the line is broken there
    near = painted(line, QRectF(40_000, 0, 8, TALL))  # 0, 10, 20 … over 25 pixels each
    rows = [int(np.flatnonzero(near[:, column]).mean()) for column in (25, 50, 100, 150)]
    assert rows == pytest.approx([10, 20, 40, 60], abs=1)


def test_upright_lines_are_drawn_once_where_one_pixel_has_several(qtbot: Any) -> None:
    lines = ManyUprights(np.repeat(np.array([10.0, 50.0]), MANY), PEN)
    inked = painted(lines, QRectF(0, 0, 100, TALL))
    assert lines.drawn == 2
    assert np.flatnonzero(inked[50]).tolist() == [20, 100]


def very_many() -> PositionsFigure:
    """Return a pulse that walks on and on, with a missed trigger after every twentieth record."""
    record = np.arange(MANY)
    place, missed = record * 1e-9, record[::20]
    return PositionsFigure(
        "title", "note", "H01", record, place, place, np.ones(MANY, dtype=np.int64), np.ones(MANY, dtype=bool),
        record.astype(float), place, place, place, missed, missed,
        Axis("Record"), time_axis("Position", place), time_axis("Residual", place),
    )  # fmt: skip


@pytest.fixture
def plot(qtbot: Any) -> Iterator[FigurePlot]:
    """A shown plot with nothing on it; closing it, as the fixture of widgets does, takes its scene away too soon."""
    widget = FigurePlot(zooms=True)
    widget.resize(900, 600)
    with qtbot.waitExposed(widget):
        widget.show()
    yield widget
    widget.hide()
    widget.deleteLater()


def test_a_figure_of_very_many_records_has_no_item_for_each(plot: FigurePlot) -> None:
    plot.show_figure(very_many(), LIGHT)
    items = [item for part in plot.ci.items for item in part.items]
    assert len(items) < 12
    assert not [item for item in items if type(item).__name__ in ("PlotCurveItem", "ErrorBarItem")]


def test_a_new_figure_is_painted_once(plot: FigurePlot, qtbot: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    painted, paint = [0], ManyBars._paint

    def counted(bars: ManyBars, *given: Any) -> None:
        painted[0] += 1
        paint(bars, *given)

    monkeypatch.setattr(ManyBars, "_paint", counted)
    plot.show_figure(very_many(), LIGHT)
    qtbot.waitUntil(lambda: painted[0] > 0)
    qtbot.wait(50)
    assert painted[0] == 1
