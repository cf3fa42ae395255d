"""A small picture of the first record of a recording: its channels in lanes over one time axis."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from pulsewright.minus import as_shown
from pulsewright.quantity import engineering
from pulsewright_app.desk.importing.previewing import Preview, Trace
from pulsewright_app.theme import LIGHT, Theme

_MARGIN = 6.0


class PreviewPlot(QWidget):
    """Draws a preview; with none it says so."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("The first record as it would be understood")
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._preview: Preview | None = None
        self._theme = LIGHT

    def sizeHint(self) -> QSize:
        """Ask for room for a few lanes."""
        return QSize(420, 300)

    def show_preview(self, preview: Preview | None) -> None:
        """Draw this from now on."""
        self._preview = preview
        names = ", ".join(trace.name for trace in preview.traces) if preview else "none"
        self.setAccessibleDescription(f"Channels: {names}")
        self.update()

    def set_theme(self, theme: Theme) -> None:
        """Take on the colours of a theme."""
        self._theme = theme
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the lanes and the time axis."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(self._theme.plot))
        preview = self._preview
        if preview is None:
            painter.setPen(QColor(self._theme.muted))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, "No preview")
            return
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        line = self.fontMetrics().height()
        plot = QRectF(self.rect()).adjusted(_MARGIN, _MARGIN, -_MARGIN, -(line + 2 * _MARGIN))
        window = preview.window
        self._paint_axis(painter, plot, window, preview.rate_known)
        height = plot.height() / len(preview.traces)
        for place, trace in enumerate(preview.traces):
            lane = QRectF(plot.left(), plot.top() + place * height, plot.width(), height)
            self._paint_lane(painter, lane, trace, window, place)

    def _paint_axis(self, painter: QPainter, plot: QRectF, window: tuple[float, float], seconds: bool) -> None:
        painter.setPen(QColor(self._theme.rule))
        painter.drawRect(plot)
        below = QRectF(plot.left(), plot.bottom() + 2, plot.width(), self.fontMetrics().height() + _MARGIN)
        low, high = (end_of_axis(place, seconds) for place in window)
        painter.setPen(QColor(self._theme.muted))
        painter.drawText(below, Qt.AlignmentFlag.AlignLeft, low)
        painter.drawText(below, Qt.AlignmentFlag.AlignRight, high)
        if window[0] < 0 < window[1]:
            x = plot.left() + plot.width() * -window[0] / (window[1] - window[0])
            painter.setPen(QPen(QColor(self._theme.trigger), 1, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(x, plot.top()), QPointF(x, plot.bottom()))
            painter.drawText(below, Qt.AlignmentFlag.AlignHCenter, "dashed: the trigger")

    def _paint_lane(
        self, painter: QPainter, lane: QRectF, trace: Trace, window: tuple[float, float], place: int
    ) -> None:
        held = np.isfinite(trace.value)
        time, value = trace.time[held], trace.value[held]
        if not len(value):
            return
        low, high = float(value.min()), float(value.max())
        inner = lane.adjusted(0, 0.12 * lane.height(), 0, -0.12 * lane.height())
        width = window[1] - window[0] or 1.0
        x = inner.left() + inner.width() * (time - window[0]) / width
        y = inner.center().y() + np.zeros_like(value)
        if high > low:
            y = inner.bottom() - inner.height() * (value - low) / (high - low)
        painter.setPen(QPen(QColor(self._theme.channel(place)), 1.1))
        painter.drawPolyline(QPolygonF([QPointF(*point) for point in zip(x.tolist(), y.tolist(), strict=True)]))
        ends = f"{engineering(low, trace.unit, 3)} .. {engineering(high, trace.unit, 3)}"
        self._paint_label(painter, lane, f"{trace.name}   {ends}", place)

    def _paint_label(self, painter: QPainter, lane: QRectF, text: str, place: int) -> None:
        """Write a lane's name on the plot's own colour, so that the trace does not run through it."""
        metrics = painter.fontMetrics()
        if lane.height() < metrics.height():
            return
        shown = metrics.elidedText(text, Qt.TextElideMode.ElideRight, int(lane.width()) - 12)
        box = QRectF(lane.left() + 4, lane.top() + 1, metrics.horizontalAdvance(shown) + 6, metrics.height())
        back = QColor(self._theme.plot)
        back.setAlpha(215)
        painter.fillRect(box, back)
        painter.setPen(QColor(self._theme.channel(place)))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, shown)


def end_of_axis(place: float, seconds: bool) -> str:
    """Return an end of the axis: where the offset of a trigger is not known, a sample lies half an interval on."""
    return engineering(place, "s", 4) if seconds else as_shown(f"sample {math.floor(place)}")
