"""Shows in Map where a module is out of step: its records belong to other triggers than the others' records."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen

from pulsewright.session import Session
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.places import Places, out_of_step
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.theme import Theme

_STRIPE = 5.0


def draw_out_of_step(
    painter: QPainter,
    theme: Theme,
    canvas: Canvas,
    places: Places,
    session: Session,
    findings: Findings | None,
    own: str,
) -> None:
    """Draw a stripe down the right of the rows out of step, and a line with words where a slip begins.

    Parameters
    ----------
    own : str
        The module of the channel that is shown: its stripe is strong, those of the others are pale.
    """
    plot, colour = canvas.plot_rect(), QColor(theme.missed)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    for lane, (module, records) in enumerate(out_of_step(session, findings).items()):
        stripe = QColor(colour)
        stripe.setAlpha(255 if module == own else 110)
        left = plot.right() - (_STRIPE + 2) * (lane + 1)
        for first, last in _runs(places.place[records]):
            top, bottom = canvas.y_of(-float(first)), canvas.y_of(-float(last) - 1.0)
            painter.fillRect(QRectF(left, top, _STRIPE, max(bottom - top, 1.0)), stripe)
    painter.setFont(canvas.font())
    for slip in () if findings is None else findings.sequence.slips:
        if slip.from_record >= len(places.place):
            continue
        y = canvas.y_of(-float(places.place[slip.from_record]))
        painter.setPen(QPen(colour, 1.0, Qt.PenStyle.DashDotLine))
        painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
        words = f"{slip.module} slips"
        box = painter.fontMetrics().boundingRect(words)
        where = QPointF(plot.right() - box.width() - 24, y - 4)
        page = QColor(theme.plot)
        page.setAlpha(215)
        painter.fillRect(QRectF(box.translated(where.toPoint())).adjusted(-3, 0, 3, 0), page)
        painter.setPen(colour)
        painter.drawText(where, words)


def _runs(places: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return each run of neighbouring places as its first and its last."""
    starts = np.flatnonzero(np.diff(places, prepend=-2) != 1)
    stops = np.append(starts[1:], len(places))
    return [(int(places[a]), int(places[b - 1])) for a, b in zip(starts, stops, strict=True)]
