"""Small signs that views draw over traces: found pulses and clipped samples."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from pulsewright_app.theme import Theme

_SIZE = 5.0
_AWAY = 5.0


def draw_pulse(painter: QPainter, theme: Theme, x: float, y: float, polarity: int, placed: bool = True) -> QRectF:
    """Draw the sign of a found pulse beyond its extreme: a triangle that points the way the pulse goes.

    Returns where the sign lies.

    Parameters
    ----------
    x, y : float
        The pulse's position and the height of its extreme, pixels.
    polarity : int
        1 or −1.
    placed : bool
        Whether its position could be measured; the triangle is hollow and paler where not.
    """
    way = -1.0 if polarity > 0 else 1.0  # pixels count downward
    base = y + way * _AWAY
    tip = base + way * 1.6 * _SIZE
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
    painter.setPen(QPen(QColor(theme.pulse if placed else theme.muted), 1.0))
    painter.setBrush(QColor(theme.pulse if placed else theme.plot))
    sign = QPolygonF([QPointF(x - _SIZE, base), QPointF(x + _SIZE, base), QPointF(x, tip)])
    painter.drawPolygon(sign)
    return sign.boundingRect()


def draw_clipped(painter: QPainter, theme: Theme, spots: Iterable[QPointF]) -> None:
    """Draw a bar over each clipped spot, and the word beside the last one; points in pixels."""
    colour = QColor(theme.clipped)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    last: QPointF | None = None
    for spot in spots:
        painter.drawRect(QRectF(spot.x() - 1.5, spot.y() - 2.0, 3.0, 4.0))
        last = spot
    if last is not None:
        painter.setPen(colour)
        painter.drawText(last + QPointF(6.0, 4.0), "clipped")


def clipped_samples(codes: NDArray[Any], lowest: int, highest: int) -> NDArray[np.intp]:
    """Return which samples of a trace are at an end code of the converter."""
    return np.flatnonzero((codes <= lowest) | (codes >= highest))
