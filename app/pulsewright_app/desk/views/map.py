"""Map: every record is a row, time runs along, colour is the signed value; a missed trigger leaves its row open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_analysis.overlay import Raster, line_envelope
from pulsewright_app.desk.places import Places, gap_text, out_of_step, places_of, round_step
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.found import NO_POSITION, found_pulses
from pulsewright_app.desk.views.out_of_step import draw_out_of_step
from pulsewright_app.desk.views.view import Desk, View, Window
from pulsewright_app.desk.work import Job
from pulsewright_app.theme import Theme, components
from pulsewright_app.wording import count

Floats = NDArray[np.float64]

_BLOCK_BYTES = 4 << 20
_KEY = "Drawing the map"
_LABEL_EVERY = 20.0


@dataclass(frozen=True)
class Sheet:
    """The picture's values: for each record and column the one farthest from the base, in the channel's unit."""

    window: Window
    values: Floats
    base: float
    largest: float
    """The largest distance from the base."""


def farthest_values(session: Session, channel: int, window: Window, width: int, job: Job) -> Sheet:
    """Return for each record and pixel column the value farthest from the channel's base, NaN beside the trace.

    Parameters
    ----------
    session : Session
    channel : int
    window : (float, float)
        Seconds.
    width : int
        Columns.
    job : Job
        Polled for cancelling.
    """
    starts, about = session.first_sample_time(channel), session.channels[channel]
    raster = Raster(width, 1, *window, 0.0, 1.0)
    values = np.full((session.records, width), np.nan)
    base: float | None = None
    for first, block in session.blocks(block_bytes=_BLOCK_BYTES):
        if base is None:
            base = float(np.median(block[:, channel, :]))
        for place, codes in enumerate(block[:, channel, :]):
            if job.cancelled():
                return Sheet(window, values, 0.0, 1.0)
            low, high = line_envelope(codes, float(starts[first + place]), session.sample_interval, raster)
            values[first + place] = np.where(high - base >= base - low, high, low)
    middle = (base or 0.0) * about.scale + about.offset
    values = values * about.scale + about.offset
    away = np.abs(values[np.isfinite(values)] - middle)
    return Sheet(window, values, middle, float(away.max(initial=0.0)) or 1.0)


def coloured(sheet: Sheet, places: Places, largest: float, theme: Theme) -> NDArray[np.uint8]:
    """Return the picture, (places, width, 4), bottom row first: from the page to one ink or the other by value."""
    signed = np.clip((sheet.values - sheet.base) / largest, -1.0, 1.0)
    page = np.array(components(theme.plot), dtype=np.float64)
    ends = {1: np.array(components(theme.positive)), -1: np.array(components(theme.negative))}
    image = np.zeros((places.total, sheet.values.shape[1], 4), dtype=np.uint8)
    known = np.isfinite(signed)
    amount = np.where(known, np.abs(signed), 0.0)[..., None]
    ink = np.where((signed >= 0)[..., None], ends[1], ends[-1])
    rows = np.empty((*signed.shape, 4), dtype=np.uint8)
    rows[..., :3] = np.round(page + (ink - page) * amount)
    rows[..., 3] = np.where(known, 255, 0)
    image[places.place] = rows
    return image[::-1]


class MapView(View):
    """Every record as a row."""

    NAME = "Map"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.caption.setTextFormat(Qt.TextFormat.RichText)
        self._sheet: Sheet | None = None
        self._made_for: object = None
        self._coloured_for: object = None
        self._places = Places(0)
        self._image = pg.ImageItem(axisOrder="row-major")
        self.canvas.addItem(self._image, ignoreBounds=True)
        self.canvas.heights_zoom = False
        self.viewing.dark_changed.connect(self._colour)

    # -- drawing --------------------------------------------------------------------------------------------

    def forget(self) -> None:
        """Drop the rows of the session before."""
        self.desk.background.cancel(_KEY)
        self._sheet = self._made_for = self._coloured_for = None
        self._places = Places(0)
        self._image.clear()

    def refresh(self, session: Session) -> None:
        """Show the rows, and read them anew where they were for something else."""
        channel = self.viewing.channel
        self._places = places_of(session.records, self.results.findings)
        self.canvas.show_windows(self.time_window(session), (-float(self._places.total), 0.0))
        self._label_rows()
        width = max(round(self.canvas.plot_rect().width() * self.devicePixelRatioF()), 1)
        wanted = (session, channel, self.canvas.windows()[0], width)
        if wanted != self._made_for:
            self._made_for = wanted
            self.desk.background.start(
                _KEY,
                lambda job: farthest_values(session, channel, wanted[2], width, job),
                self._take,
                self.viewing.tell,
            )
        self._colour()

    def _label_rows(self) -> None:
        plot, current = self.canvas.plot_rect(), self.viewing.record
        row_pixels = plot.height() / max(self._places.total, 1)
        step = round_step(_LABEL_EVERY / row_pixels)
        labels = [
            (self._height(record), str(record), self.theme.muted, False)
            for record in range(0, len(self._places.place), step)
            if abs(record - current) * row_pixels >= _LABEL_EVERY * 0.8
        ]
        labels.append((self._height(current), str(current), self.theme.ink, True))
        self.canvas.value_axis.setLabel("Record")
        self.canvas.value_axis.show_rows(labels)

    def _height(self, record: int) -> float:
        if record >= len(self._places.place):
            return -0.5
        return -(float(self._places.place[record]) + 0.5)

    def _take(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._colour()

    def _largest(self, sheet: Sheet) -> float:
        """Return the distance from the base that has the full ink."""
        if self.viewing.value_window is not None:
            return max(abs(value - sheet.base) for value in self.viewing.value_window) or 1.0
        return sheet.largest

    def _colour(self) -> None:
        sheet, session = self._sheet, self.document.session
        if sheet is None or session is None or len(sheet.values) != len(self._places.place):
            return
        largest = self._largest(sheet)
        wanted = (id(sheet), self._places.gaps, largest, self.theme)
        if wanted != self._coloured_for:  # stepping must not colour a large map anew
            self._coloured_for = wanted
            image = coloured(sheet, self._places, largest, self.theme)
            self._image.setImage(image, autoLevels=False, levels=(0, 255))
        total = float(self._places.total)
        self._image.setRect(QRectF(sheet.window[0], -total, sheet.window[1] - sheet.window[0], total))
        self.caption.setText(self._caption(session, sheet, largest))

    def _caption(self, session: Session, sheet: Sheet, largest: float) -> str:
        channel = session.channels[self.viewing.channel]
        ends = [engineering(sheet.base + way * largest, channel.unit, 3) for way in (-1, 1)]
        missed = sum(gap.count for gap in self._places.gaps)
        text = (
            f"{channel.name}&nbsp; · &nbsp;record {self.viewing.record} of {session.records} outlined&nbsp; · &nbsp;"
            f"<span style='color:{self.theme.negative}'>■</span>&nbsp;{ends[0]}  "
            f"<span style='color:{self.theme.positive}'>■</span>&nbsp;{ends[1]}"
        )
        lost = int(
            np.count_nonzero(~found_pulses(session, self.results.findings, None, (self.viewing.channel,)).placed)
        )
        aside = out_of_step(session, self.results.findings)
        told = [
            count(missed, "missed trigger") if missed else "",
            f"○ {count(lost, 'pulse')} with {NO_POSITION}" if lost else "",
            *(f"{name} out of step in {count(len(records), 'record')}" for name, records in aside.items()),
        ]
        return "&nbsp; · &nbsp;".join([text, *filter(None, told)])

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the open rows, the found pulses and the outline of the current record."""
        self._paint_gaps(painter, canvas)
        self._paint_out_of_step(painter, canvas)
        self._paint_pulses(painter, canvas)
        plot = canvas.plot_rect()
        top, bottom = (canvas.y_of(self._height(self.viewing.record) + way) for way in (0.5, -0.5))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(self.theme.ink), 1.0))
        painter.drawRect(QRectF(plot.left(), top, plot.width() - 1, max(bottom - top, 2.0)))

    def _paint_gaps(self, painter: QPainter, canvas: Canvas) -> None:
        plot, colour = canvas.plot_rect(), QColor(self.theme.missed)
        painter.setFont(canvas.font())
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        for gap in self._places.gaps:
            top, bottom = canvas.y_of(-float(gap.first)), canvas.y_of(-float(gap.first + gap.places))
            box = QRectF(plot.left() + 2, top + 1, plot.width() - 5, max(bottom - top - 2, 2.0))
            painter.setPen(QPen(colour, 1.0, Qt.PenStyle.DashLine))
            painter.drawRect(box)
            if box.height() >= painter.fontMetrics().height() - 3:
                painter.setPen(colour)
                inside = box.adjusted(0, -4, -8, 4)
                painter.drawText(inside, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, gap_text(gap))

    def _paint_out_of_step(self, painter: QPainter, canvas: Canvas) -> None:
        session = self.document.session
        if session is None or len(self._places.place) != session.records:
            return
        own = session.channels[self.viewing.channel].module
        draw_out_of_step(painter, self.theme, canvas, self._places, session, self.results.findings, own)

    def _paint_pulses(self, painter: QPainter, canvas: Canvas) -> None:
        session = self.document.session
        if session is None or len(self._places.place) != session.records:
            return
        found = found_pulses(session, self.results.findings, None, (self.viewing.channel,))
        columns, rows = canvas.x_of(found.time), canvas.y_of(-(self._places.place[found.record] + 0.5))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        theme = self.theme
        for placed, inks in (
            (True, ((theme.plot, 7.0), (theme.pulse, 5.0))),
            (False, ((theme.plot, 8.0), (theme.muted, 6.0), (theme.plot, 4.0))),
        ):
            chosen = found.placed == placed
            spots = QPolygonF([QPointF(x, y) for x, y in zip(columns[chosen], rows[chosen], strict=True)])
            for colour, width in inks:
                pen = QPen(QColor(colour), width)
                pen.setCapStyle(Qt.PenCapStyle.RoundCap)
                painter.setPen(pen)
                painter.drawPoints(spots)

    # -- gestures -------------------------------------------------------------------------------------------

    def clicked(self, time: float, height: float) -> None:
        """Go to the record of the clicked row."""
        super().clicked(time, height)
        self.viewing.go_to(self._places.record_at(-height - 0.5))

    def value_text(self, time: float, height: float) -> str:
        """Return the record under the pointer and what its sample there holds, or what is missing."""
        gap = self._places.gap_at(-height - 0.5)
        if gap is not None:
            return gap_text(gap)
        record, session = self._places.record_at(-height - 0.5), self.document.session
        text = f"record {record}    {self.sample_text(record, self.viewing.channel, time)}"
        if session is None:
            return text
        aside = [name for name, records in out_of_step(session, self.results.findings).items() if record in records]
        return f"{text}    {', '.join(aside)} out of step" if aside else text
