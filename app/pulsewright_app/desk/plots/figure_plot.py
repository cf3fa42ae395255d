"""Draws a figure of the findings: points with error bars, lines and bars, in the desk's colours."""

from __future__ import annotations

import math
from functools import partial
from html import escape
from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFont, QFontMetrics, QKeyEvent, QMouseEvent, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QWidget

from pulsewright_app.desk.plots.many_lines import ManyBars, ManyLine, ManyUprights
from pulsewright_app.desk.plots.many_points import ManyPoints
from pulsewright_app.desk.views.axes import NumberAxis, dress
from pulsewright_app.figures_axes import Axis
from pulsewright_app.figures_data import JitterFigure, PositionsFigure, SkewFigure, TriggerGapsFigure
from pulsewright_app.figures_table import Figure, in_words
from pulsewright_app.theme import Theme, mixed

Floats = NDArray[np.float64]

_WIDEST_NUMBERS = {False: "−000", True: "−00,000"}
"""What the axis beside a small figure, and a large one, has room for, so that two plots stand in line."""
_LEAST_HEIGHT = 110
_NO_LIMIT = 16_777_215
_SIZES = ((60, 8), (400, 5), (math.inf, 3))
"""Pixels of a point, where there are at most so many."""
_MOST_SYMBOLS = 5000
"""More points than this are too dense for symbols, each of which takes time to prepare; so are bars, and a line."""
_PALE = 0.45
"""How strong the points of a figure are that is out of date, or partial."""
_BREAK = "<br>"
_AIR = 0.25
"""Of a period: what a figure of gaps shows below the shortest and above the longest."""
_LINES_FOR_MODULES = 4
"""Lines of text that fit into the height of a plot from which on it has the modules' names."""
_LINES_FOR_NAME = 7
"""Lines of text that fit into the height from which on the axis below has its name."""
_LINES_FOR_TWO = 9
"""Lines of text that fit into the height from which on there is room for a second plot below the first."""


class FigurePlot(pg.GraphicsLayoutWidget):  # type: ignore[misc]
    """One figure; a click on a point announces its record or its channel.

    Parameters
    ----------
    zooms : bool
        Whether wheel and drags zoom into it; the small ones stay as they are.
    """

    record_chosen = Signal(int)
    channel_chosen = Signal(int)
    large_wanted = Signal()
    """A small figure was double-clicked, or Return was pressed on it."""

    def __init__(self, zooms: bool = False, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._zooms = zooms
        self._theme: Theme | None = None
        self._second: tuple[Any, Any] | None = None
        """The first and the second of two plots."""
        self._names: tuple[Any, tuple[str, ...]] | None = None
        """The axis with channels' names, and the names."""
        self._beside: list[Any] = []
        """The axes to the left."""
        self.setAccessibleName("Figure of the findings")
        self.setMinimumHeight(_LEAST_HEIGHT)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.ci.layout.setContentsMargins(2, 2, 8, 2)
        self.ci.layout.setVerticalSpacing(2)

    def show_figure(self, figure: Figure, theme: Theme, state: str = "") -> None:
        """Draw a figure anew; one whose state is ``Out of date`` or ``Partial`` is drawn pale."""
        self._drop()
        self._theme = theme
        self.setBackground(theme.plot)
        self.setAccessibleDescription(in_words(figure))
        if isinstance(figure, PositionsFigure):
            self._positions(figure)
        elif isinstance(figure, SkewFigure):
            self._skews(figure)
        elif isinstance(figure, JitterFigure):
            self._jitter(figure)
        else:
            self._gaps(figure)
        self.show_state(figure, state)
        self._make_room()
        self._settle()

    def show_state(self, figure: Figure, state: str) -> None:
        """Draw the figure that is shown pale, or plain; drawing many points anew would take much longer."""
        self.setAccessibleName(f"{state}. {figure.title}" if state else figure.title)
        for plot in self.ci.items:
            for item in getattr(plot, "items", ()):
                item.setOpacity(_PALE if state else 1.0)

    def _settle(self) -> None:
        """Find every plot's place and range now: found while it is painted, all of it would be painted twice."""
        self.ci.layout.activate()
        for plot in self.ci.items:
            plot.layout.activate()
            plot.vb.prepareForPaint()

    def _drop(self) -> None:
        """Take away what was drawn, with the menus that each plot has of its own and that nothing else takes away."""
        plots = list(self.ci.items)
        self.clear()
        for plot in plots:
            for menu in (plot.ctrlMenu, plot.vb.menu):
                if menu is not None:
                    menu.deleteLater()
        self._second = self._names = None
        self._beside = []

    def _make_room(self) -> None:
        """Name as many channels as there is room for, and leave the second plot away where there is none."""
        metrics = self.fontMetrics()
        if self._names is not None:
            axis, names = self._names
            a_name = max(metrics.horizontalAdvance(name) for name in names) + metrics.averageCharWidth()
            room = max(self.width() - self._axis_width() - 20, 1)
            step = max(1, -(-len(names) * a_name // room))
            axis.setTicks([[(float(i), names[i]) for i in range(0, len(names), step)]])
        for plot in self.ci.items:
            plot.getAxis("bottom").showLabel(self.height() >= _LINES_FOR_NAME * metrics.height())
        if self._second is not None:
            above, below = self._second
            both = self.height() >= _LINES_FOR_TWO * metrics.height()
            below.setVisible(both)
            below.setMaximumHeight(_NO_LIMIT if both else 0)
            above.getAxis("bottom").setStyle(showValues=not both)
            if both:  # the axis of the plot below is its own too
                above.getAxis("bottom").showLabel(False)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Show what there is room for."""
        super().resizeEvent(event)
        if hasattr(self, "_second"):  # the base class resizes once before it is complete
            self._make_room()

    def fit(self) -> None:
        """Show everything again."""
        for item in self.ci.items:
            item.autoRange()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom where zooming is meant; else let the panel scroll."""
        if self._zooms:
            super().wheelEvent(event)
        else:
            event.ignore()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Ask for the large form of a small figure."""
        if self._zooms:
            super().mouseDoubleClickEvent(event)
        else:
            self.large_wanted.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Ask for the large form on Return; leave every other key to the desk."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not self._zooms:
            self.large_wanted.emit()
        else:
            event.ignore()

    # -- figures --------------------------------------------------------------------------------------------

    def _positions(self, figure: PositionsFigure) -> None:
        above = self._plot(0, figure.record_axis, figure.position_axis)
        below = self._plot(1, figure.record_axis, figure.residual_axis)
        below.setXLink(above)
        self._second = (above, below)
        self.ci.layout.setRowStretchFactor(0, 3)
        self.ci.layout.setRowStretchFactor(1, 2)
        record = figure.record.astype(float)
        y = figure.position_axis.written
        self._line(above, figure.line_record, y(figure.line_position))
        self._by_polarity(above, record, y(figure.position), figure)
        self._zero(below)
        on = figure.on_line
        y = figure.residual_axis.written
        self._bars(below, record[on], y(figure.residual[on]), y(figure.residual_half_width[on]))
        self._by_polarity(below, record, y(figure.residual), figure)
        if len(figure.missed_after):
            for plot in (above, below):
                dashed = self._pen("missed", style=Qt.PenStyle.DashLine)
                plot.addItem(ManyUprights(figure.missed_after.astype(np.float64) + 0.5, dashed))

    def _by_polarity(self, plot: Any, record: Floats, y: Floats, figure: PositionsFigure) -> None:
        shown = np.isfinite(y)
        for chosen, colour, symbol in (
            (shown & figure.on_line & (figure.polarity > 0), "positive", "t1"),
            (shown & figure.on_line & (figure.polarity < 0), "negative", "t"),
            (shown & ~figure.on_line, "missed", "x"),
        ):
            self._points(plot, record[chosen], y[chosen], colour, symbol, figure.record[chosen], self.record_chosen)

    def _skews(self, figure: SkewFigure) -> None:
        plot = self._plot(0, figure.channel_axis, figure.skew_axis)
        place = np.arange(len(figure.channel), dtype=float)
        y = figure.skew_axis.written
        self._zero(plot)
        middle, low, high = y(figure.skew), y(figure.low), y(figure.high)
        bars = pg.ErrorBarItem(x=place, y=middle, top=high - middle, bottom=middle - low, beam=0.3)
        bars.setData(pen=self._pen("muted"))
        plot.addItem(bars)
        apart = figure.excludes_zero
        for chosen, colour, symbol in (
            (~apart & ~figure.is_reference, "ink", "o"),
            (apart, "fails", "d"),
            (figure.is_reference, "muted", "s"),
        ):
            self._points(plot, place[chosen], middle[chosen], colour, symbol, figure.place[chosen], self.channel_chosen)
        self._names = (plot.getAxis("bottom"), figure.channel)
        plot.setXRange(-0.7, len(place) - 0.3, padding=0)
        for module, first, stop in figure.groups:
            self._module(plot, module, first, stop)
        plot.vb.sigResized.connect(partial(self._place_modules, plot))

    def _module(self, plot: Any, module: str, first: int, stop: int) -> None:
        """Part the modules by lines, and name each at the top."""
        if first:
            plot.addItem(pg.InfiniteLine(first - 0.5, pen=self._pen("rule")))
        name = pg.InfiniteLine(
            (first + stop - 1) / 2, pen=pg.mkPen(None), label=module,
            labelOpts={
                "position": 0.93, "color": self._colour("muted"), "movable": False, "rotateAxis": None,
                "anchors": [(0.5, 0.5), (0.5, 0.5)],
            },
        )  # fmt: skip
        name.label.setFont(self._font())
        plot.addItem(name)

    def _place_modules(self, plot: Any, *_: object) -> None:
        """Write the modules' names whole, close to the upper edge; not where they would take most of the plot."""
        height, line = plot.vb.height(), self.fontMetrics().height()
        share = min(1.25 * line / max(height, line), 0.3)  # of the height, which what is drawn leaves to them
        plot.vb.setDefaultPadding(share / (1 - 2 * share))  # above and below, as a part of what is drawn
        plot.vb.queueUpdateAutoRange()
        for item in plot.items:
            if hasattr(item, "label"):
                item.label.setVisible(height >= _LINES_FOR_MODULES * line)
                item.label.setPosition(1 - 0.6 * line / max(height, line))

    def _jitter(self, figure: JitterFigure) -> None:
        plot = self._plot(0, figure.residual_axis, figure.count_axis)
        x = figure.residual_axis.written
        edges = x(figure.edges)
        fill = pg.mkBrush(mixed(self._colour("accent"), self._theme.plot if self._theme else "#ffffff", 0.45))
        plot.addItem(
            pg.BarGraphItem(x0=edges[:-1], x1=edges[1:], y0=0, y1=figure.counts, brush=fill, pen=self._pen("accent"))
        )
        curve = pg.PlotCurveItem(x(figure.curve_time), figure.curve_count, pen=self._pen("ink", 1.4), antialias=True)
        plot.addItem(curve)
        plot.setYRange(0, 1.08 * max(float(figure.counts.max()), float(figure.curve_count.max())), padding=0)

    def _gaps(self, figure: TriggerGapsFigure) -> None:
        above = self._plot(0, figure.record_axis, figure.gap_axis)
        below = self._plot(1, figure.record_axis, figure.deviation_axis)
        below.setXLink(above)
        self._second = (above, below)
        self.ci.layout.setRowStretchFactor(0, 3)
        self.ci.layout.setRowStretchFactor(1, 2)
        y = figure.gap_axis.written
        for whole in y(figure.whole_periods).tolist():
            above.addItem(pg.InfiniteLine(whole, angle=0, pen=self._pen("rule")))
        self._zero(below)
        record, lost = figure.after_record.astype(float), figure.missed > 0
        for plot, values in ((above, y(figure.gap)), (below, figure.deviation_axis.written(figure.deviation))):
            for chosen, colour, symbol in ((~lost, "ink", "o"), (lost, "missed", "d")):
                shown = chosen & np.isfinite(values)
                records = figure.after_record[shown]
                self._points(plot, record[shown], values[shown], colour, symbol, records, self.record_chosen)
        period = None if figure.period is None else figure.period * figure.gap_axis.factor
        above.setYRange(*_around(y(figure.gap), period), padding=0)

    # -- parts ----------------------------------------------------------------------------------------------

    def _plot(self, row: int, below: Axis, beside: Axis) -> Any:
        """Add a plot with these axes."""
        plot = self.addPlot(
            row=row, col=0, axisItems={side: NumberAxis(side) for side in ("bottom", "left")}, enableMenu=False
        )
        plot.hideButtons()
        plot.setMouseEnabled(x=self._zooms, y=self._zooms)
        for side, axis in (("bottom", below), ("left", beside)):
            item = plot.getAxis(side)
            item.enableAutoSIPrefix(False)
            # a small figure has no room for words beside it: its title has them
            item.setLabel(escape(axis.unit or axis.label if side == "left" and not self._zooms else axis.text))
            if self._theme is not None:
                dress(item, self._theme, self._font())
        left = plot.getAxis("left")
        left.setWidth(self._axis_width())
        self._beside.append(left)
        if self._zooms:
            plot.vb.sigResized.connect(partial(self._break_name, left, beside.text))
        return plot

    def _axis_width(self) -> int:
        metrics = self.fontMetrics()
        lines = max((axis.labelText.count(_BREAK) + 1 for axis in self._beside), default=1)
        words = metrics.height() + (lines - 1) * metrics.lineSpacing()
        width: int = metrics.horizontalAdvance(_WIDEST_NUMBERS[self._zooms]) + words + 10
        return width

    def _break_name(self, axis: Any, text: str, *_: object) -> None:
        """Write an axis' name beside it in as many lines as its length asks for."""
        lines = _lines(text, axis.height(), self.fontMetrics())
        broken = _BREAK.join(map(escape, lines))
        if broken != axis.labelText:
            axis.label.setTextWidth(-1)
            axis.setLabel(broken, **axis.labelStyle)
            axis.label.setTextWidth(axis.label.document().idealWidth())
            for other in self._beside:
                other.setWidth(self._axis_width())
        axis.resizeEvent()  # pyqtgraph puts a label in the middle only when the axis gets another size

    def _zero(self, plot: Any) -> None:
        plot.addItem(pg.InfiniteLine(0.0, angle=0, pen=self._pen("muted", style=Qt.PenStyle.DotLine)))

    def _line(self, plot: Any, x: Floats, y: Floats) -> None:
        if len(x) > _MOST_SYMBOLS:
            plot.addItem(ManyLine(x, y, self._pen("muted")))
        else:
            plot.addItem(pg.PlotCurveItem(x, y, pen=self._pen("muted"), connect="finite", antialias=True))

    def _bars(self, plot: Any, x: Floats, y: Floats, half: Floats) -> None:
        if len(x) > _MOST_SYMBOLS:
            plot.addItem(ManyBars(x, y, half, self._pen("muted")))
            return
        bars = pg.ErrorBarItem(x=x, y=y, height=2 * half, beam=0.0)
        bars.setData(pen=self._pen("muted"))
        plot.addItem(bars)

    def _points(
        self, plot: Any, x: Floats, y: Floats, colour: str, symbol: str, numbers: NDArray[np.int64], chosen: Any
    ) -> None:
        ink = self._colour(colour)
        size = next(size for most, size in _SIZES if len(x) <= most)
        if len(x) > _MOST_SYMBOLS:
            many = ManyPoints(x, y, numbers, ink, size, symbol)
            many.chosen.connect(chosen)
            plot.addItem(many)
            return
        points = pg.ScatterPlotItem(x=x, y=y, data=numbers.tolist(), symbol=symbol, size=size, brush=ink, pen=ink)
        points.sigClicked.connect(lambda _item, hit, _event: chosen.emit(int(hit[0].data())) if len(hit) else None)
        plot.addItem(points)

    def _font(self) -> QFont:
        return QFont(self.font())

    def _colour(self, role: str) -> str:
        assert self._theme is not None
        colour: str = getattr(self._theme, role)
        return colour

    def _pen(self, role: str, width: float = 1.0, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> Any:
        return pg.mkPen(self._colour(role), width=width, style=style)


def _lines(text: str, length: float, metrics: QFontMetrics) -> list[str]:
    """Return a text in lines of at most so many pixels; a word that is longer has one of its own, a unit none."""
    lines: list[str] = []
    for word in text.replace(" / ", "\u00a0/\u00a0").split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and metrics.horizontalAdvance(longer) <= length:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _around(gaps: Floats, period: float | None) -> tuple[float, float]:
    """Return the stretch that shows all gaps: beyond the outermost there is a part of a period, or of themselves."""
    low, high = float(gaps.min()), float(gaps.max())
    air = _AIR * (high if period is None else period) or 1.0
    return low - air, high + air
