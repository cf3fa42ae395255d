"""The axes of the views: time in engineering units, and rows with a label each."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape, unescape
from itertools import pairwise
from typing import Any

import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QPainter

from pulsewright.minus import as_shown
from pulsewright_app.theme import Theme

RowLabel = tuple[float, str, str, bool]
"""Height in the plot, text, colour, and whether it is the current one."""


_END = "</span>"
_FEWEST_LETTERS = 5
"""Fewer letters of a cut name say nothing."""
_HALF_LINE = 20.0
"""Half the height of the strip that a row's label is drawn in the middle of: higher than any type."""
_CLOSEST = 0.8
"""Heights of a line from one row's label to the next; closer they could not be read."""
_AIR_IN_LINE = 0.35
"""Share of a line's height above and below its digits."""
_LEAST_WIDTH = 84
_WIDEST = "−000"
"""The widest number beside the plot, its unit's prefix being chosen so."""
_AIR = 8.0
"""Pixels between a label and the plot."""


def dress(axis: Any, theme: Theme, font: QFont) -> None:
    """Give an axis the colours and the type of the desk."""
    axis.setPen(theme.rule)
    axis.setTextPen(theme.muted)
    axis.setTickPen(theme.rule)
    axis.setTickFont(font)
    size = f"{font.pointSizeF():.1f}pt"
    axis.setLabel(axis.labelText, units=axis.labelUnits, color=theme.muted, **{"font-size": size})


def _run_together(before: QRectF, after: QRectF, across: bool) -> bool:
    """Return whether two numbers along an axis touch; a line's height has air above and below the digits."""
    if across:
        return after.left() < before.right()
    return after.top() < before.bottom() - _AIR_IN_LINE * before.height()


class NumberAxis(pg.AxisItem):  # type: ignore[misc]
    """An axis whose name and numbers are not cut by the plot's edges, and whose numbers have a true minus sign."""

    _room = 0.0
    """Pixels along the axis that its name was last cut for."""

    def labelString(self) -> str:
        """Return the axis's name and unit, written as in the figures and on the sheet, in the room that there is."""
        unit, text = f"{self.labelUnitPrefix}{self.labelUnits}", str(super().labelString())
        marks, inner, end = text.partition(">")[0], text.partition(">")[2].removesuffix(_END).strip(), _END
        whole = inner.replace(f"({unit})", f"/ {unit}") if self.labelUnits else inner
        shown = whole if "<" in whole or not self._room else self._shortened(unescape(whole))
        self.setToolTip("" if shown == whole else unescape(whole))
        return f"{marks}>{shown}{end}"

    def resizeEvent(self, event: Any = None) -> None:
        """Write as much of the name as there is room for."""
        room = float(self.size().width() if self.orientation == "bottom" else self.size().height())
        if room != self._room and self.label is not None:
            self._room = room
            self._updateLabel()
        super().resizeEvent(event)

    def _shortened(self, text: str) -> str:
        """Return a name and its unit with as much of the name as fits; the unit alone where nothing of it does."""
        metrics = QFontMetricsF(self.style["tickFont"] or QFont())
        if metrics.horizontalAdvance(text) <= self._room:
            return escape(text)
        name, _, unit = text.rpartition(" / ") if " / " in text else (text, "", "")
        after = f" / {unit}" if unit else ""
        room = self._room - _AIR - metrics.horizontalAdvance(after)
        cut = metrics.elidedText(name, Qt.TextElideMode.ElideRight, room)
        return escape(unit if len(cut) < _FEWEST_LETTERS else cut + after)

    def tickStrings(self, values: Any, scale: float, spacing: float) -> list[str]:
        """Return what is written at the ticks."""
        return [as_shown(text) for text in super().tickStrings(values, scale, spacing)]

    def generateDrawSpecs(self, p: QPainter) -> Any:
        """Return what is drawn; a number beyond the end of the axis, where the widget may end, is moved back to it."""
        specs = super().generateDrawSpecs(p)
        if specs is None:
            return None
        line, ticks, texts = specs
        bounds = self.mapRectFromParent(self.geometry())
        for i, (place, flags, text) in enumerate(texts):
            moved = QRectF(place)
            if self.orientation == "left":
                moved.moveTop(max(place.top(), bounds.top()))
            elif self.orientation == "bottom":
                moved.moveRight(min(place.right(), bounds.right()))
            others = (other for j, (other, _, _) in enumerate(texts) if j != i)
            texts[i] = (moved, flags, "" if moved != place and any(map(moved.intersects, others)) else text)
        return line, ticks, self._apart([drawn for drawn in texts if drawn[2]])

    def _apart(self, texts: list[Any]) -> list[Any]:
        """Return every number, or every second, third, …: as many as stand clear of each other, 0 among them."""
        across = self.orientation == "bottom"
        texts = sorted(texts, key=lambda drawn: drawn[0].left() if across else drawn[0].top())
        zero = next((i for i, (_, _, text) in enumerate(texts) if text == "0"), 0)
        for step in range(1, len(texts)):
            kept = texts[zero % step :: step]
            if not any(_run_together(before[0], after[0], across) for before, after in pairwise(kept)):
                return kept
        return texts[zero : zero + 1]


class TimeAxis(NumberAxis):
    """Time from the trigger along the bottom, in the prefix that suits the window."""

    def __init__(self) -> None:
        super().__init__("bottom")
        self.setLabel("Time from the trigger", units="s")


class ValueAxis(NumberAxis):
    """Values along the left side, or rows with a label each."""

    def __init__(self, text: str = "Value", unit: str = "V") -> None:
        super().__init__("left")
        self._rows: tuple[RowLabel, ...] | None = None
        self._for_numbers = _LEAST_WIDTH
        self.setLabel(text, units=unit)
        self._take_width()

    def make_room(self, font: QFont) -> None:
        """Have room for the name beside numbers in these letters."""
        metrics = QFontMetricsF(font)
        self._for_numbers = max(_LEAST_WIDTH, round(metrics.horizontalAdvance(_WIDEST) + metrics.height() + _AIR))
        self._take_width()

    def _take_width(self) -> None:
        wanted = self._for_numbers if self._rows is None else _LEAST_WIDTH
        if wanted != self.fixedWidth:
            self.setWidth(wanted)

    def show_label(self, text: str, unit: str | None = None) -> None:
        """Write what the axis shows beside it; writing the same anew at each step would take long."""
        if (text, unit) != (self.labelText, self.labelUnits or None):
            self.setLabel(text, units=unit)

    def show_rows(self, rows: Sequence[RowLabel] | None) -> None:
        """Label rows instead of values; None for values."""
        if self._rows == (None if rows is None else tuple(rows)):
            return
        self._rows = None if rows is None else tuple(rows)
        self._take_width()
        self.picture = None
        self.update()

    def generateDrawSpecs(self, p: QPainter) -> Any:
        """Return what is drawn; rows need no ticks, and finding places for ticks takes long at each step."""
        if self._rows is None:
            return super().generateDrawSpecs(p)
        edge = self.mapRectFromParent(self.geometry())
        return (self.pen(), edge.topRight(), edge.bottomRight()), [], []

    def drawPicture(self, p: QPainter, axisSpec: Any, tickSpecs: Any, textSpecs: Any) -> None:
        """Draw the axis; rows get their own colours."""
        super().drawPicture(p, axisSpec, tickSpecs, textSpecs)
        if self._rows is None:
            return
        bounds, (low, high) = self.mapRectFromParent(self.geometry()), self.range
        plain = self.style["tickFont"] or p.font()
        strong = QFont(plain)
        strong.setBold(True)
        p.setClipRect(QRectF(self.boundingRect()))
        written: list[float] = []
        line = QFontMetricsF(plain).height()
        for height, text, colour, current in sorted(self._rows, key=lambda row: not row[3]):  # the current one first
            y = bounds.bottom() - (height - low) / (high - low) * bounds.height()
            least = _CLOSEST * line
            if not low <= height <= high or any(abs(y - other) < least for other in written):
                continue  # out of sight, or it would lie over another
            y = min(max(y, bounds.top() + line / 2), bounds.bottom() - line / 2)  # the first row's is whole too
            written.append(y)
            p.setFont(strong if current else plain)
            p.setPen(QColor(colour))
            place = QRectF(bounds.left(), y - _HALF_LINE, bounds.width() - _AIR, 2 * _HALF_LINE)
            p.drawText(place, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
