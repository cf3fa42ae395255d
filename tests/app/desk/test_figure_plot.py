"""The figures of the findings: words beside an axis have room there, and an axis shows where its points lie."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPointF
from PySide6.QtWidgets import QApplication

from pulsewright_analysis.results import Findings
from pulsewright_app.desk.plots.figure_plot import FigurePlot
from pulsewright_app.figures_axes import Axis, time_axis
from pulsewright_app.figures_data import SkewFigure, TriggerGapsFigure, skew_figure
from pulsewright_app.figures_table import in_words
from pulsewright_app.theme import LIGHT


def gaps(gap: np.ndarray, period: float | None) -> TriggerGapsFigure:
    """Return the figure of these gaps, each of the whole periods that lie nearest."""
    periods = np.zeros(len(gap), dtype=np.int64) if period is None else np.rint(gap / period).astype(np.int64)
    away = np.full(len(gap), np.nan) if period is None else gap - periods * period
    whole = np.zeros(0) if period is None else period * np.arange(1.0, periods.max() + 1)
    return TriggerGapsFigure(
        "title", "note", np.arange(len(gap)), gap, periods, away, np.maximum(periods - 1, 0), period, whole,
        Axis("After record"), time_axis("Time to the next trigger", gap),
        time_axis("Distance from whole periods", away),
    )  # fmt: skip


@pytest.fixture
def large(qtbot: Any) -> Iterator[FigurePlot]:
    """A shown plot of the large form."""
    widget = FigurePlot(zooms=True)
    widget.show()
    yield widget
    widget.hide()
    widget.deleteLater()


@pytest.mark.parametrize("size", [(876, 544), (600, 400), (600, 300), (1200, 900)])
def test_words_beside_an_axis_are_no_longer_than_it(large: FigurePlot, size: tuple[int, int]) -> None:
    large.resize(*size)
    large.show_figure(gaps(np.array([2.0, 2.0, 4.0, 2.0]) * 1e-3 + 3e-7, 2e-3), LIGHT)
    QApplication.processEvents()
    for place in range(2):
        plot = large.ci.getItem(place, 0)
        axis = plot.getAxis("left")
        words = axis.label.sceneBoundingRect()
        if not plot.isVisible():
            continue
        along = axis.sceneBoundingRect()
        assert along.top() - 1 <= words.top() and words.bottom() <= along.bottom() + 1
        assert abs(words.center().y() - along.center().y()) < 3  # in its middle
        assert words.right() < plot.vb.sceneBoundingRect().left()
        assert (
            "".join(axis.label.toPlainText().split())
            == ("Timetothenexttrigger/ms", "Distancefromwholeperiods/ns")[place]
        )


@pytest.mark.parametrize(
    ("gap", "period"),
    [
        (np.array([50.0, 50.0, 50.0]) * 1e-3, 50e-3),
        (np.array([2.0, 4.0, 2.0, 2.0]) * 1e-3, 2e-3),
        (np.array([7.0, 9.0]) * 1e-3, None),
        (np.zeros(3), None),
    ],
)
def test_gaps_are_shown_whole_and_without_an_empty_stretch_below(
    large: FigurePlot, gap: np.ndarray, period: float | None
) -> None:
    large.resize(600, 500)
    figure = gaps(gap, period)
    large.show_figure(figure, LIGHT)
    QApplication.processEvents()
    low, high = large.ci.getItem(0, 0).vb.viewRange()[1]
    seen = figure.gap_axis.written(gap)
    assert low < seen.min() and seen.max() < high
    shortest = seen.max() if period is None else period * figure.gap_axis.factor
    assert seen.min() - low <= max(shortest / 2, 1.0)
    assert low > 0 or seen.min() == 0


def test_a_figure_says_how_many_records_are_on_the_line() -> None:
    from .test_many_points import walking

    assert "On the line: 40 of 40 records." in in_words(walking(40))


def test_the_name_of_a_module_stands_in_the_middle_of_its_channels(large: FigurePlot, clean_findings: Findings) -> None:
    large.resize(876, 544)
    figure = skew_figure(clean_findings)
    assert isinstance(figure, SkewFigure)
    large.show_figure(figure, LIGHT)
    QApplication.processEvents()
    plot = large.ci.getItem(0, 0)
    named = [line for line in plot.items if hasattr(line, "label")]
    assert [line.label.format for line in named] == [module for module, _, _ in figure.groups]
    for line in named:
        middle = plot.vb.mapViewToScene(QPointF(line.value(), 0.0)).x()
        letters = line.label.mapRectToScene(line.label.boundingRect())
        assert abs(letters.center().x() - middle) < 2


@pytest.mark.parametrize("height", [150, 260, 700])
def test_the_names_of_modules_are_whole_where_there_is_room_for_them(
    large: FigurePlot, clean_findings: Findings, height: int
) -> None:
    font = large.font()
    font.setPointSizeF(18.0)
    large.setFont(font)
    large.resize(600, height)
    figure = skew_figure(clean_findings)
    assert isinstance(figure, SkewFigure)
    large.show_figure(figure, LIGHT)
    QApplication.processEvents()
    plot = large.ci.getItem(0, 0)
    top = plot.vb.sceneBoundingRect().top()
    named = [line.label for line in plot.items if hasattr(line, "label")]
    assert named
    assert all(label.isVisible() == (height > 150) for label in named)
    assert all(label.mapRectToScene(label.boundingRect()).top() >= top - 4 for label in named)  # its own margin
