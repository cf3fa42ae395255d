"""The spans over a view: drawn as brackets on the plot's edge, set by a drag, and changed by their ends."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from pulsewright_app.desk.document import Document
from pulsewright_app.desk.spans import SPANS, WORDS, SpanName, Window, span_of
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.dimension_lines import Taken, page_below

STRIP = 12.0
"""Pixels at the plot's upper edge (pulses) and lower edge (alignment) that a span's ends are taken hold of in."""

_REACH = 6.0
_TOOTH = 7.0


class SpanHand:
    """Paints both spans of one view and moves their ends: the document hears of a drag once, when it ends."""

    def __init__(self, document: Document, viewing: Viewing, canvas: Canvas, taken: Taken) -> None:
        self._document, self._viewing, self._canvas = document, viewing, canvas
        self._taken = taken
        self._name: SpanName | None = None
        self._fixed = 0.0
        """The end that stays where it is while the other is dragged."""
        self._preview: Window | None = None

    # -- gestures -------------------------------------------------------------------------------------------

    def end_at(self, point: QPointF) -> tuple[SpanName, float] | None:
        """Return the span whose end lies under a point in pixels, and the time of its other end."""
        for name in SPANS:
            window = span_of(self._document, name).window
            if window is None or not self._strip(name).contains(point):
                continue
            away = [abs(self._canvas.x_of(end) - point.x()) for end in window]
            if min(away) <= _REACH:
                return name, window[1] if away[0] <= away[1] else window[0]
        return None

    def grab(self, point: QPointF) -> bool:
        """Begin to draw a span if one is to be drawn, or take hold of an end; return whether there is either."""
        self._name = self._preview = None
        wanted, end = self._viewing.spans.name, self.end_at(point)
        if wanted is not None:
            self._name, self._fixed = wanted, self._canvas.time_at(point.x())
        elif end is not None:
            self._name, self._fixed = end
        return self._name is not None

    def let_go(self) -> None:
        """Hold nothing any more."""
        self._name = self._preview = None

    def drag(self, time: float, height: float) -> None:
        """Show where the span would lie."""
        self._preview = (min(self._fixed, time), max(self._fixed, time))

    def drop(self, time: float, height: float) -> None:
        """Set the span; the next drag zooms again."""
        name, self._name, self._preview = self._name, None, None
        if name is not None:
            refused = self._viewing.spans.set(name, self._fixed, time)
            self._viewing.spans.draw(None)
            if refused:
                self._viewing.tell(refused)

    # -- painting -------------------------------------------------------------------------------------------

    def _strip(self, name: SpanName) -> QRectF:
        plot = self._canvas.plot_rect()
        top = plot.top() if name == "span" else plot.bottom() - STRIP
        return QRectF(plot.left() - _REACH, top, plot.width() + 2 * _REACH, STRIP)

    def paint(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw both spans; the one that is dragged where it would lie."""
        for name in SPANS:
            window = span_of(self._document, name).window
            if name == self._name and self._preview is not None:
                window = self._preview
                self._shade(painter, window)
            if window is not None:
                self._bracket(painter, name, window)

    def _shade(self, painter: QPainter, window: Window) -> None:
        plot, pale = self._canvas.plot_rect(), QColor(self._canvas.theme.accent)
        pale.setAlpha(30)
        left, right = (min(max(self._canvas.x_of(t), plot.left()), plot.right()) for t in window)
        painter.fillRect(QRectF(left, plot.top(), right - left, plot.height()), pale)

    def _bracket(self, painter: QPainter, name: SpanName, window: Window) -> None:
        """Pulses: a square bracket hanging from the upper edge. Alignment: wedges standing on the lower edge."""
        plot, theme = self._canvas.plot_rect(), self._canvas.theme
        left, right = (float(self._canvas.x_of(end)) for end in window)
        if right < plot.left() or left > plot.right():
            return
        upper = name == "span"
        colour = QColor(theme.pulse if upper else theme.accent)
        y, inward = (plot.top() + 2, 1.0) if upper else (plot.bottom() - 2, -1.0)
        seen = max(left, plot.left()), min(right, plot.right())
        self._taken.add(QRectF(seen[0], self._strip(name).top(), seen[1] - seen[0], STRIP))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        style = Qt.PenStyle.SolidLine if upper else Qt.PenStyle.DashLine
        painter.setPen(QPen(colour, 2.0, style))
        painter.drawLine(QPointF(seen[0], y), QPointF(seen[1], y))
        painter.setPen(QPen(colour, 2.0))
        painter.setBrush(colour)
        for x, way in ((left, 1.0), (right, -1.0)):
            if not plot.left() <= x <= plot.right():
                continue
            foot = QPointF(x, y + inward * (STRIP - 2))
            if upper:
                painter.drawLine(QPointF(x, y), foot)
            else:
                painter.drawPolygon(QPolygonF([QPointF(x, y), foot, QPointF(x + way * _TOOTH, y)]))
        self._word(painter, name, colour, seen)

    def _word(self, painter: QPainter, name: SpanName, colour: QColor, pixels: Window) -> None:
        painter.setFont(self._canvas.font())
        metrics, word = painter.fontMetrics(), WORDS[name]
        if metrics.horizontalAdvance(word) > pixels[1] - pixels[0] - 4 * _TOOTH:
            word = word.split()[0]
        if metrics.horizontalAdvance(word) > pixels[1] - pixels[0] - 3 * _TOOTH:
            return
        plot = self._canvas.plot_rect()
        base = plot.top() + 5 + metrics.ascent() if name == "span" else plot.bottom() - 6 - metrics.descent()
        where = QPointF(pixels[1] - 2 * _TOOTH - metrics.horizontalAdvance(word), base)
        box = metrics.boundingRect(word).translated(where.toPoint()).adjusted(-2, 0, 2, 0)
        painter.fillRect(box, page_below(self._canvas))
        self._taken.add(QRectF(box))
        painter.setPen(colour)
        painter.drawText(where, word)
