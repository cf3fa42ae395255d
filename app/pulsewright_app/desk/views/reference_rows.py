"""Where the current record, its reference and their difference are drawn in Single, and as what traces."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from PySide6.QtCore import QPointF
from PySide6.QtGui import QColor, QPainter, QPen

from pulsewright.session import Channel, Codes, Session
from pulsewright_app.desk.reference_options import Difference, ReferenceOptions
from pulsewright_app.desk.references import Beneath, difference
from pulsewright_app.desk.trims import Trim
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.columns import seen
from pulsewright_app.desk.views.rows import Row
from pulsewright_app.desk.views.traces import Trace
from pulsewright_app.theme import Theme

_TRACE_SHARE = 0.62
"""Share of a lane that the trace keeps where the difference has a stretch of its own below it."""


@dataclass(frozen=True)
class Stretches:
    """What a lane, or the one axis, is used for.

    Attributes
    ----------
    trace : Row or None
        Where the current record lies; None where the difference takes its place.
    difference : Row or None
        Where the difference lies, about 0; None where it is not drawn.
    """

    trace: Row | None
    difference: Row | None

    @property
    def signs(self) -> Row:
        """Where signs of samples lie: on the trace, or, without one, on the difference's 0."""
        if self.trace is not None:
            return self.trace
        assert self.difference is not None
        return Row(self.difference.base, 0.0, 0.0)

    def difference_at(self, height: float) -> Row | None:
        """Return the difference's row where that height belongs to it rather than to the trace."""
        if self.difference is None or self.trace is None:
            return self.difference
        return self.difference if height < self.edge else None

    @property
    def edge(self) -> float:
        """The height between a difference and the trace above it; minus infinity where there is no difference."""
        return -math.inf if self.difference is None else self.difference.base + (1 - _TRACE_SHARE) / 2


def stretches(row: Row, lanes: bool, wanted: Difference, magnification: int) -> Stretches:
    """Return what a channel's row is used for.

    Parameters
    ----------
    row : Row
        The row of the channel, a height of 1 in lanes.
    lanes : bool
        Whether it is a lane; on one axis the difference has no room but the trace's.
    wanted : str
        Where the difference is to be drawn.
    magnification : int
        How many times larger than the trace, in lanes.
    """
    if wanted == "off":
        return Stretches(row, None)
    if not lanes:
        return Stretches(None, Row())
    if wanted == "instead":
        return Stretches(None, Row(row.base, 0.0, row.gain * magnification))
    bottom = row.base - 0.5
    return Stretches(
        Row(bottom + 1 - _TRACE_SHARE / 2, row.middle, row.gain * _TRACE_SHARE),
        Row(bottom + (1 - _TRACE_SHARE) / 2, 0.0, row.gain * _TRACE_SHARE * magnification),
    )


def trimmed(use: Stretches, trim: Trim) -> Stretches:
    """Return the same use with trace and reference drawn larger and higher, and the difference only larger."""
    trace, apart = use.trace, use.difference
    return Stretches(
        None if trace is None else trace.trimmed(trim),
        None if apart is None else replace(apart, gain=apart.gain * trim.scale),
    )


def wanted_difference(options: ReferenceOptions, beneath: Mapping[int, Beneath]) -> Difference:
    """Return where the difference is drawn now: nowhere while there is nothing to take it from."""
    return options.difference if beneath else "off"


def reference_trace(beneath: Beneath, row: Row, channel: Channel, interval: float, theme: Theme) -> Trace:
    """Return a reference as a quiet trace, in the colour of no channel."""
    return Trace(beneath.samples, beneath.start, interval, *row.places(channel), theme.faint)


def difference_trace(
    session: Session,
    channel: int,
    codes: Codes,
    start: float,
    beneath: Beneath,
    row: Row,
    window: tuple[float, float],
    colour: str,
    strong: bool,
) -> Trace:
    """Return current − reference as a trace, as far as it is seen.

    Parameters
    ----------
    codes : array (samples,)
        The current record on the channel.
    start : float
        Time of its sample 0, seconds.
    row : Row
        Where the difference lies.
    window : (float, float)
        The stretch of time that is shown, seconds.
    """
    interval = session.sample_interval
    first, stop = seen(start, interval, len(codes), window)
    first, values = difference(codes, start, beneath, interval, first, stop)
    gain = session.channels[channel].scale * row.gain
    return Trace(values, start + first * interval, interval, row.base, gain, colour, strong)


def difference_sign(magnification: int) -> str:
    """Return what stands at the axis beside a difference, so that it is taken for no trace."""
    return "Δ" if magnification == 1 else f"{magnification} Δ"


def draw_zeros(painter: QPainter, canvas: Canvas, theme: Theme, rows: Iterable[Row]) -> None:
    """Draw a line where each difference is 0."""
    plot = canvas.plot_rect()
    painter.setPen(QPen(QColor(theme.rule), 1.0))
    for row in rows:
        y = round(canvas.y_of(row.base)) + 0.5
        painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
