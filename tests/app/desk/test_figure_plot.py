"""The figures of the findings: words beside an axis have room there, and an axis shows where its points lie."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QPointF
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QApplication

from pulsewright_analysis.results import Findings
from pulsewright_app.desk.plots.figure_plot import FigurePlot
from pulsewright_app.figures_axes import Axis, time_axis
from pulsewright_app.figures_data import (
    JitterFigure,
    PositionsFigure,
    SkewFigure,
    TriggerGapsFigure,
    jitter_figure,
    positions_figure,
    skew_figure,
)
from pulsewright_app.figures_table import in_words
from pulsewright_app.theme import LIGHT

from .gestures import colours_of


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
    yield from shown(FigurePlot(zooms=True))


@pytest.fixture
def small(qtbot: Any) -> Iterator[FigurePlot]:
    """A shown plot of the small form."""
    yield from shown(FigurePlot())


def shown(widget: FigurePlot) -> Iterator[FigurePlot]:
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


@pytest.mark.parametrize("height", [120, 260, 700])
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
    assert all(label.isVisible() == (height > 120) for label in named)
    boxes = [label.mapRectToScene(label.boundingRect()).adjusted(0, 4, 0, -4) for label in named]  # its own margin
    assert all(box.top() >= top for box in boxes)
    if height > 120:  # nothing that is drawn reaches up to them
        highest = plot.vb.mapViewToScene(QPointF(0.0, figure.skew_axis.written(figure.high).max())).y()
        assert highest >= max(box.bottom() for box in boxes)


@pytest.mark.parametrize(("lines", "named"), [(8, (True, None)), (6, (False, None)), (12, (False, True))])
def test_a_small_figure_says_what_runs_along_below_where_it_has_room(
    small: FigurePlot, lines: int, named: tuple[bool, bool | None]
) -> None:
    """Of one plot or two; the upper of two has its axis below the lower one."""
    small.setMinimumHeight(1)
    small.resize(380, lines * small.fontMetrics().height())
    small.show_figure(gaps(np.array([2.0, 2.0, 4.0, 2.0]) * 1e-3, 2e-3), LIGHT)
    QApplication.processEvents()
    for place, has_name in enumerate(named):
        plot = small.ci.getItem(place, 0)
        label = plot.getAxis("bottom").label
        assert plot.isVisible() is (has_name is not None)
        assert label.toPlainText().strip() == "After record"
        assert label.isVisible() is bool(has_name)


def inked(plot: FigurePlot, row: int, x: float, y: float, colour: str, near: int = 60) -> bool:
    """Whether something of nearly that colour is drawn within two pixels of a place of the figure."""
    spot = plot.mapFromScene(plot.ci.getItem(row, 0).vb.mapViewToScene(QPointF(x, y)))
    seen = colours_of(plot.viewport().grab().toImage())[spot.y() - 2 : spot.y() + 3, spot.x() - 2 : spot.x() + 3]
    return bool((np.abs(seen - QColor(colour).getRgb()[:3]).sum(axis=2) < near).any())


def drawn(plot: FigurePlot, figure: Any) -> None:
    plot.resize(876, 544)
    plot.show_figure(figure, LIGHT)
    QApplication.processEvents()


def test_skews_have_bars_as_long_as_their_intervals(large: FigurePlot, clean_findings: Findings) -> None:
    figure = skew_figure(clean_findings)
    assert isinstance(figure, SkewFigure)
    drawn(large, figure)
    low, middle, high = (figure.skew_axis.written(y) for y in (figure.low, figure.skew, figure.high))
    assert high[6] - low[6] > 0
    for share in (0.3, 0.7, 0.95):
        for end in (low[6], high[6]):
            assert inked(large, 0, 6.0, middle[6] + share * (end - middle[6]), LIGHT.muted)
    assert not inked(large, 0, 6.0, high[6] + 0.05 * (high[6] - low[6]), LIGHT.muted)


def test_positions_lie_on_the_line_that_was_fitted_with_their_residuals_below(
    large: FigurePlot, clean_findings: Findings
) -> None:
    figure = positions_figure(clean_findings)
    assert isinstance(figure, PositionsFigure)
    drawn(large, figure)
    written = figure.position_axis.written(figure.position)
    for record in (3, 7):
        colour = LIGHT.positive if figure.polarity[record] > 0 else LIGHT.negative
        assert inked(large, 0, record, written[record], colour)
        halfway = (written[record] + written[record + 1]) / 2
        assert inked(large, 0, record + 0.5, halfway, LIGHT.muted, near=240), "no line"  # a sloping one, drawn smoothly
        residual = figure.residual_axis.written(figure.residual)[record]
        bar = figure.residual_axis.written(figure.residual_half_width)[record]
        assert inked(large, 1, record, residual, colour)
        assert inked(large, 1, record, residual + 0.9 * bar, LIGHT.muted), "no bar"


def test_the_histogram_of_jitter_has_its_counts_and_its_curve(large: FigurePlot, clean_findings: Findings) -> None:
    figure = jitter_figure(clean_findings)
    assert isinstance(figure, JitterFigure)
    drawn(large, figure)
    edges, curve = (figure.residual_axis.written(x) for x in (figure.edges, figure.curve_time))
    tallest = int(np.argmax(figure.counts))
    quarter = edges[tallest] + 0.25 * (edges[tallest + 1] - edges[tallest])
    assert inked(large, 0, quarter, float(figure.counts[tallest]), LIGHT.accent), "no upper edge of the bar"
    assert not inked(large, 0, quarter, float(figure.counts[tallest]) * 1.05, LIGHT.accent)
    top = int(np.argmax(figure.curve_count))
    assert inked(large, 0, float(curve[top]), float(figure.curve_count[top]), LIGHT.ink), "no curve"
