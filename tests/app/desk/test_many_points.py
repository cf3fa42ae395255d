"""A figure of very many points: as many are seen as there are, and a click on one goes to its record."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

import pyqtgraph as pg
from PySide6.QtCore import QPointF
from PySide6.QtGui import QColor, QImage

from pulsewright_app.desk.plots.figure_plot import FigurePlot
from pulsewright_app.figures_axes import Axis, time_axis
from pulsewright_app.figures_data import PositionsFigure
from pulsewright_app.theme import LIGHT

from .gestures import LEFT

MANY = 40_000


def walking(records: int) -> PositionsFigure:
    """Return a pulse that walks up for all but the last record, which stands alone in the far corner."""
    record = np.arange(records)
    position = record * 1e-9
    position[-1] = 0.0
    bars, none = np.zeros(records), np.zeros(0, dtype=np.int64)
    return PositionsFigure(
        "title", "note", "H01", record, position, bars, np.ones(records, dtype=np.int64), np.ones(records, dtype=bool),
        record[:0].astype(float), position[:0], position, bars, none, none,
        Axis("Record"), time_axis("Position", position), time_axis("Residual", position),
    )  # fmt: skip


@pytest.fixture
def plot(qtbot: Any) -> Iterator[FigurePlot]:
    """A shown plot of many records."""
    widget = FigurePlot()
    widget.resize(500, 400)
    widget.show()
    widget.show_figure(walking(MANY), LIGHT)
    qtbot.waitExposed(widget)
    qtbot.wait(50)
    yield widget
    widget.hide()
    widget.deleteLater()


def where(plot: FigurePlot, record: int, position: float) -> Any:
    """The pixel of a point; positions are written in µs."""
    return plot.mapFromScene(plot.ci.getItem(0, 0).vb.mapViewToScene(QPointF(record, position * 1e6)))


def inked(image: QImage, at: Any) -> bool:
    near = [image.pixelColor(at.x() + dx, at.y() + dy) for dx in (-1, 0, 1) for dy in (-1, 0, 1)]
    return QColor(LIGHT.positive) in near


def test_every_point_is_seen_where_it_is(plot: FigurePlot) -> None:
    image = plot.viewport().grab().toImage()
    for record in (100, 10_000, 20_000, 39_000):
        assert inked(image, where(plot, record, record * 1e-9))
    assert inked(image, where(plot, MANY - 1, 0.0))  # one alone
    assert not inked(image, where(plot, 20_000, 5e-6))


def test_a_click_on_one_of_many_points_goes_to_its_record(plot: FigurePlot, qtbot: Any) -> None:
    chosen: list[int] = []
    plot.record_chosen.connect(chosen.append)
    qtbot.mouseClick(plot.viewport(), LEFT, pos=where(plot, MANY - 1, 0.0))
    assert chosen == [MANY - 1]
    qtbot.mouseClick(plot.viewport(), LEFT, pos=where(plot, 20_000, 5e-6))  # where there is none
    assert chosen == [MANY - 1]
    qtbot.mouseClick(plot.viewport(), LEFT, pos=where(plot, 20_000, 20e-6))
    assert abs(chosen[-1] - 20_000) < 600  # of those on one pixel


def test_no_point_is_prepared_by_itself(plot: FigurePlot) -> None:
    symbols = [item for part in plot.ci.items for item in part.items if isinstance(item, pg.ScatterPlotItem)]
    assert sum(len(item.data) for item in symbols) == 0
