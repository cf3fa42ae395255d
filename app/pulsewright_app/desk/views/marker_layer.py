"""Marker pairs as a technical drawing shows a distance: two lines, and between them an arrowed one with its length."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QPointF, QRectF
from PySide6.QtGui import QColor, QPainter, QPen

from pulsewright_app.desk.additions import MarkerPair, Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.following import Following, Shown
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.spans import SPANS, span_of
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.dimension_lines import Taken, dimension_line, straight_line, text_box, text_size
from pulsewright_app.wording import follows, held_for, stays

REACH = 5.0
"""Pixels from a marker line within which the mouse takes hold of it."""

_AIR = 4.0
_OFF_TRACE = 3.0
"""Pixels from the middle of a trace at rest to a text below it: half a dot, or half a pen and more."""
_BETWEEN = 14.0
"""Pixels between the text of one dimension line and the line above it."""


def pair_text(shown: Shown, record: int, names: Sequence[str]) -> str:
    """Return what stands on the dimension line: Δ ± U, and whether that is of this record or of another.

    `names` are the channels'.
    """
    pair = shown.pair
    if shown.told is None:
        return f"{pair.name}: {shown.reason}"
    records = [own for own, _ in pair.places]
    held = held_for(records, record)
    if pair.pulses is not None:
        one, other = (names[channel] for _, channel in pair.places)
        held = [follows(*pair.pulses, (one, other)), *stays(*pair.pulses, records, (one, other))]
    note = f"  ({', '.join(held)})" if held else ""
    return f"{pair.name}: Δ {shown.told.delta}{note}"


class MarkerLayer:
    """Draws the marker pairs over a view, and finds the marker that lies under the mouse."""

    def __init__(self, document: Document, viewing: Viewing, results: Results, taken: Taken | None = None) -> None:
        self._document = document
        self._taken = taken or Taken()
        self._viewing = viewing
        self._following = Following(document, results)
        self.rests: Callable[[], Sequence[float]] = tuple
        """Returns the pixel rows on which traces lie at rest: a dimension line there would be taken for one."""

    def shown(self) -> list[Shown]:
        """Return every pair as it stands in the current record."""
        ppm, record = self._document.clock_ppm, self._viewing.record
        return [self._following.shown(pair, record, ppm) for pair in self._document.pairs]

    def marker_at(self, point: QPointF, canvas: Canvas) -> tuple[int, Which] | None:
        """Return the nearest marker within reach of a point in pixels."""
        found: list[tuple[float, tuple[int, Which]]] = []
        for pair in (shown.pair for shown in self.shown() if not shown.reason):
            choices: tuple[Which, Which] = (1, 2)
            for which in choices:
                distance = abs(canvas.x_of(pair.time(which)) - point.x())
                if distance <= REACH:
                    found.append((distance, (pair.id, which)))
        return min(found)[1] if found else None

    def paint_lines(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the markers themselves, below every text that is written over the traces."""
        plot, choices = canvas.plot_rect(), tuple[Which, Which]((1, 2))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        for pair in (shown.pair for shown in self.shown() if not shown.reason):
            for which in choices:
                x = canvas.x_of(pair.time(which))
                is_selected = self._viewing.selected_marker == (pair.id, which)
                pen = QPen(QColor(canvas.theme.marker), 2.0 if is_selected else 1.0)
                straight_line(painter, canvas, QPointF(x, plot.top()), QPointF(x, plot.bottom()), pen)
                self._taken.add_line(QRectF(x - 1.0, plot.top(), 2.0, plot.height()))

    def paint(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the dimension line of every pair, each on a row of its own, the first below what the spans write."""
        spans = (span_of(self._document, name).window for name in SPANS)
        below = canvas.fontMetrics().height() + 2 * _AIR if any(spans) else _AIR
        session = self._document.session
        names = [] if session is None else [channel.name for channel in session.channels]
        y = canvas.plot_rect().top() + below + _AIR - _BETWEEN
        for shown in self.shown() if names else []:
            text = pair_text(shown, self._viewing.record, names)
            height = text_size(painter, canvas, text)[1]
            y = self._clear(y + _BETWEEN + height, height + _AIR)
            if shown.reason:
                self._text(painter, canvas, canvas.plot_rect().center().x(), y, text)
            else:
                self._paint_pair(painter, canvas, shown.pair, y, text)

    def _clear(self, y: float, height: float) -> float:
        """Return the next place for a line and what stands above it that no trace at rest runs through.

        The place itself where the next one is far: between lanes that are lower than letters there is none.
        """
        clear = y
        for rest in sorted(self.rests()):
            if clear - height <= rest <= clear + 2 * _AIR:
                clear = rest + height + _OFF_TRACE
        return clear if clear - y <= 2 * height else y

    def _paint_pair(self, painter: QPainter, canvas: Canvas, pair: MarkerPair, y: float, text: str) -> None:
        plot, colour = canvas.plot_rect(), QColor(canvas.theme.marker)
        left, right = sorted((canvas.x_of(pair.t1), canvas.x_of(pair.t2)))
        self._taken.add_line(dimension_line(painter, canvas, (left, right), y, colour, level=True))
        if right < plot.left():
            text = f"◂ {text}"
        elif left > plot.right():
            text = f"{text} ▸"
        self._text(painter, canvas, (max(left, plot.left()) + min(right, plot.right())) / 2, y, text)

    def _text(self, painter: QPainter, canvas: Canvas, centre: float, y: float, text: str) -> None:
        width, height = text_size(painter, canvas, text)
        text_box(painter, canvas, centre - width / 2, y - height - _AIR, text, self._taken)
