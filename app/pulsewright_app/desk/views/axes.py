"""The axes of the views: time in engineering units, and rows with a label each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyqtgraph as pg
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter

from pulsewright_app.theme import Theme

RowLabel = tuple[float, str, str, bool]
"""Height in the plot, text, colour, and whether it is the current one."""


def dress(axis: Any, theme: Theme, font: QFont) -> None:
    """Give an axis the colours and the type of the desk."""
    axis.setPen(theme.rule)
    axis.setTextPen(theme.muted)
    axis.setTickPen(theme.rule)
    axis.setTickFont(font)
    size = f"{font.pointSizeF():.1f}pt"
    axis.setLabel(axis.labelText, units=axis.labelUnits, color=theme.muted, **{"font-size": size})


class TimeAxis(pg.AxisItem):  # type: ignore[misc]
    """Time from the trigger along the bottom, in the prefix that suits the window."""

    def __init__(self) -> None:
        super().__init__("bottom")
        self.setLabel("Time from the trigger", units="s")


class ValueAxis(pg.AxisItem):  # type: ignore[misc]
    """Values along the left side, or rows with a label each."""

    def __init__(self, text: str = "Value", unit: str = "V") -> None:
        super().__init__("left")
        self._rows: tuple[RowLabel, ...] | None = None
        self.setLabel(text, units=unit)
        self.setWidth(84)

    def show_label(self, text: str, unit: str | None = None) -> None:
        """Write what the axis shows beside it; writing the same anew at each step would take long."""
        if (text, unit) != (self.labelText, self.labelUnits or None):
            self.setLabel(text, units=unit)

    def show_rows(self, rows: Sequence[RowLabel] | None) -> None:
        """Label rows instead of values; None for values."""
        if self._rows == (None if rows is None else tuple(rows)):
            return
        self._rows = None if rows is None else tuple(rows)
        self.setTicks(None if rows is None else [[(row[0], row[1]) for row in rows]])
        self.picture = None
        self.update()

    def drawPicture(self, p: QPainter, axisSpec: Any, tickSpecs: Any, textSpecs: Any) -> None:
        """Draw the axis; rows get their own colours."""
        if self._rows is None:
            super().drawPicture(p, axisSpec, tickSpecs, textSpecs)
            return
        super().drawPicture(p, axisSpec, [], [])
        looks = {row[1]: row for row in self._rows}
        bounds = QRectF(self.boundingRect())
        p.setClipRect(bounds)
        for rect, _flags, text in textSpecs:
            if text not in looks:
                continue
            _, _, colour, current = looks[text]
            font = QFont(self.style["tickFont"])
            font.setBold(current)
            p.setFont(font)
            p.setPen(QColor(colour))
            place = QRectF(bounds.left(), rect.center().y() - 10, bounds.width() - 8, 20)
            p.drawText(place, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
