"""Map: every record is a row, time runs along, colour is the signed value; a missed trigger leaves its row open."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from operator import is_

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Floats, Session
from pulsewright_app.desk.places import WIDEST_GAP, Places, gap_text, out_of_step, places_of, round_step
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.found import NO_POSITION, FoundPulses, found_pulses
from pulsewright_app.desk.views.out_of_step import draw_out_of_step
from pulsewright_app.desk.views.picture_view import PictureView, Publish, image_of
from pulsewright_app.desk.views.view import Desk, Spot
from pulsewright_app.desk.work import Job
from pulsewright_app.map_rows import MapRows, coloured, read_rows
from pulsewright_app.theme import theme
from pulsewright_app.wording import count

_LABEL_EVERY = 20.0
_MOST_ROUND = 3000
"""Dots of found pulses up to which each is drawn round and smooth; more of them would hold up every step."""
_LOW_ROW = 4.0
"""Pixels of a row below which the dots of found pulses would cover their neighbours, and are drawn smaller."""


@dataclass(frozen=True)
class _Look:
    """What the colours depend on, apart from the values."""

    dark: bool
    largest: float | None
    """Distance from the base that has the full ink; None for the largest there is."""
    places: Places
    rows: int
    """The most rows of pixels that can be told apart."""


@dataclass(frozen=True)
class _Drawn:
    """Rows with their colours, as a worker hands them over."""

    rows: MapRows
    image: QImage
    look: _Look


def _coloured(rows: MapRows, look: _Look) -> _Drawn:
    pixels = coloured(rows, look.places.place, look.places.total, look.rows, look.largest, theme(look.dark))
    return _Drawn(rows, image_of(pixels), look)


class MapView(PictureView[_Drawn]):
    """Every record as a row."""

    NAME = "Map"
    KEY = "Drawing the map"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._made_for: object = None
        self._places = Places(0)
        self._found: FoundPulses | None = None
        self._found_for: tuple[object, ...] = ()
        self._spots: dict[bool, QPolygonF] = {}
        self._spots_for: tuple[object, ...] = ()
        self.canvas.heights_zoom = False

    # -- drawing --------------------------------------------------------------------------------------------

    def forget(self) -> None:
        """Drop the rows of the session before."""
        self.leave_off()
        self.made = self._made_for = None
        self._found, self._found_for, self._spots_for = None, (), ()
        self._places = Places(0)

    def refresh(self, session: Session) -> None:
        """Show the rows, and read or colour them anew where they were for something else."""
        channel, findings = self.viewing.channel, self.results.findings
        if self._places.total == 0 or self._places.missed != (findings.sequence.missed if findings else ()):
            self._places = places_of(session.records, findings)
        self.canvas.show_windows(self.time_window(session), (-float(self._places.total), 0.0))
        self._label_rows()
        plot, density = self.canvas.plot_rect(), self.devicePixelRatioF()
        width = max(round(plot.width() * density), 1)
        wanted = (session, channel, self.canvas.windows()[0], width)
        look = _Look(self.viewing.dark, self._largest_wanted(), self._places, max(round(plot.height() * density), 1))
        self._draw(wanted, look)
        self.tell(session)

    def _largest_wanted(self) -> float | None:
        """Return the distance from the base that a zoom of the values asks for."""
        window = self.viewing.value_window
        return None if window is None else max((window[1] - window[0]) / 2, 1e-300)

    def _draw(self, wanted: tuple[Session, int, tuple[float, float], int], look: _Look) -> None:
        """Let a worker read the values, or only colour them where they are there already."""
        drawn = self.made
        if self.making == (wanted, look):
            return
        there = drawn is not None and drawn.rows.complete and self._made_for == wanted
        if there and drawn is not None and drawn.look == look:
            return
        if self._made_for is not None and drawn is not None and drawn.rows.channel != wanted[1]:
            self.made = None  # another channel's rows would be taken for this one's
        self._made_for = wanted
        rows = drawn.rows if there and drawn is not None else None
        session, channel, window, width = wanted

        def work(job: Job, publish: Publish[_Drawn]) -> _Drawn:
            def publish_rows(so_far: MapRows) -> None:
                publish(lambda: _coloured(so_far, look))

            read = rows or read_rows(session, channel, window, width, job.cancelled, publish_rows)
            return _coloured(read, look)

        self.make((wanted, look), work)

    def picture_rect(self, canvas: Canvas, made: _Drawn) -> QRectF:
        """Return where the rows lie."""
        low, high = made.rows.window
        left, right, top = canvas.x_of(low), canvas.x_of(high), canvas.y_of(0.0)
        bottom = canvas.y_of(-float(made.look.places.total))
        return QRectF(left, top, right - left, bottom - top)

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

    def _pulses(self, session: Session) -> FoundPulses:
        """Return the pulses found on the channel, looked up once."""
        wanted = (session, self.results.findings, self.viewing.channel)
        if self._found is None or not _are(wanted, self._found_for):
            self._found_for = wanted
            self._found = found_pulses(session, self.results.findings, None, (self.viewing.channel,))
        return self._found

    def caption_text(self, session: Session) -> str:
        """Return what the colours mean, which record is outlined, and what to know about the rows."""
        channel, drawn = session.channels[self.viewing.channel], self.made
        if drawn is None:
            state = f"reading {count(session.records, 'record')} …" if self.making else "the records could not be read"
            return f"{escape(channel.name)}&nbsp; · &nbsp;{state}"
        rows, largest = drawn.rows, drawn.look.largest or drawn.rows.largest
        ends = [escape(engineering(rows.base + way * largest, channel.unit, 3)) for way in (-1, 1)]
        missed = sum(gap.count for gap in self._places.gaps)
        so_far = "so far …" if self.making else "only: the others could not be read"
        partly = "" if rows.complete else f"<i>{rows.read} of {session.records} records {so_far}</i>&nbsp; · &nbsp;"
        text = (
            f"{escape(channel.name)}&nbsp; · &nbsp;{partly}"
            f"{self.caption_start(session).lower()} outlined&nbsp; · &nbsp;"
            f"<span style='color:{self.theme.negative}'>■</span>&nbsp;{ends[0]}  "
            f"<span style='color:{self.theme.positive}'>■</span>&nbsp;{ends[1]}"
        )
        lost = int(np.count_nonzero(~self._pulses(session).placed))
        aside = out_of_step(session, self.results.findings)
        told = [
            count(missed, "missed trigger") if missed else "",
            f"{count(len(self.document.left_out), 'record')} left out" if self.document.left_out else "",
            f"○ {count(lost, 'pulse')} with {NO_POSITION}" if lost else "",
            *(f"{escape(name)} out of step in {count(len(records), 'record')}" for name, records in aside.items()),
            "pulses and gaps out of date" if self.results.out_of_date else "",
            f"pulses and gaps of {self.results.part} only so far" if self.results.partial else "",
        ]
        return "&nbsp; · &nbsp;".join([text, *filter(None, told)])

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the open rows, the found pulses and the outline of the current record."""
        self._paint_left_out(painter, canvas)
        self._paint_gaps(painter, canvas)
        self._paint_out_of_step(painter, canvas)
        self._paint_pulses(painter, canvas)
        plot = canvas.plot_rect()
        top, bottom = (canvas.y_of(self._height(self.viewing.record) + way) for way in (0.5, -0.5))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(self.theme.ink), 1.0))
        painter.drawRect(QRectF(plot.left(), top, plot.width() - 1, max(bottom - top, 2.0)))

    def _paint_left_out(self, painter: QPainter, canvas: Canvas) -> None:
        """Veil the rows of records that a person left out."""
        plot, veil = canvas.plot_rect(), QColor(self.theme.surface)
        veil.setAlpha(190)
        painter.setPen(QPen(QColor(self.theme.muted), 1.0))
        row = canvas.y_of(-1.0) - canvas.y_of(0.0)
        for middle in self._middles(canvas, row):
            painter.fillRect(QRectF(plot.left(), middle - row / 2, plot.width(), row), veil)
            painter.drawLine(QPointF(plot.left(), middle), QPointF(plot.right(), middle))

    def _middles(self, canvas: Canvas, row: float) -> list[float]:
        """Return where the rows of the records left out lie, those that are seen; rows on one pixel once."""
        left_out, plot = self.document.left_out, canvas.plot_rect()
        numbers = np.fromiter(left_out, dtype=np.int64, count=len(left_out))
        places = self._places.place[numbers[numbers < len(self._places.place)]]
        middles = canvas.y_of(0.0) + (places + 0.5) * row
        middles = middles[(middles > plot.top() - row) & (middles < plot.bottom() + row)]
        rows: list[float] = np.unique(middles if row >= 1 else np.rint(middles)).tolist()
        return rows

    def _paint_gaps(self, painter: QPainter, canvas: Canvas) -> None:
        plot, colour = canvas.plot_rect(), QColor(self.theme.missed)
        painter.setFont(canvas.font())
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        row = canvas.y_of(-1.0) - canvas.y_of(0.0)
        painter.setPen(QPen(colour, 1.0, Qt.PenStyle.DashLine))
        for top, height in self._places.gaps_drawn(canvas.y_of(0.0), row, 0.0):
            painter.drawRect(QRectF(plot.left() + 2, top + 1, plot.width() - 5, max(height - 2, 2.0)))
        painter.setPen(colour)
        for gap in self._places.gaps if row * WIDEST_GAP >= painter.fontMetrics().height() - 1 else ():
            top, bottom = canvas.y_of(-float(gap.first)), canvas.y_of(-float(gap.first + gap.places))
            box = QRectF(plot.left() + 2, top + 1, plot.width() - 5, max(bottom - top - 2, 2.0))
            if box.height() >= painter.fontMetrics().height() - 3:
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
        found = self._pulses(session)
        row = canvas.plot_rect().height() / max(self._places.total, 1)
        smaller = 1.0 if row >= _LOW_ROW else 0.45
        theme = self.theme
        for placed, inks in (
            (True, ((theme.plot, 7.0), (theme.pulse, 5.0))),
            (False, ((theme.plot, 8.0), (theme.muted, 6.0), (theme.plot, 4.0))),
        ):
            spots = self._spots_of(canvas, found)[placed]
            few = spots.size() <= _MOST_ROUND
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, few)
            for colour, width in inks:
                pen = QPen(QColor(colour), width * smaller)
                pen.setCapStyle(Qt.PenCapStyle.RoundCap if few else Qt.PenCapStyle.SquareCap)
                painter.setPen(pen)
                painter.drawPoints(spots)

    def _spots_of(self, canvas: Canvas, found: FoundPulses) -> dict[bool, QPolygonF]:
        """Return where the dots of pulses are, with and without a position, those on one pixel once; kept for long."""
        wanted = (found, self._places, canvas.windows(), canvas.plot_rect())
        if not _are(wanted, self._spots_for):
            x, y = canvas.x_of(found.time), canvas.y_of(-(self._places.place[found.record] + 0.5))
            self._spots_for = wanted
            self._spots = {
                placed: QPolygonF([QPointF(*spot) for spot in _once_a_pixel(x[chosen], y[chosen])])
                for placed, chosen in ((True, found.placed), (False, ~found.placed))
            }
        return self._spots

    # -- gestures -------------------------------------------------------------------------------------------

    def spot(self, time: float, height: float) -> Spot | str:
        """Return the record whose row lies there."""
        gap = self._places.gap_at(-height - 0.5)
        if gap is not None:
            return f"There is no record here: {gap_text(gap)}."
        return Spot(self._places.record_at(-height - 0.5), self.viewing.channel, time)

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
        text += f"    {', '.join(aside)} out of step" if aside else ""
        if record in self.document.left_out:
            text += f"    left out: {self.document.left_out[record] or 'no reason given'}"
        return text


def _once_a_pixel(x: Floats, y: Floats) -> list[tuple[float, float]]:
    """Return points of which no two lie on one pixel."""
    pixels = np.rint(x).astype(np.int64) * (1 << 32) + np.rint(y).astype(np.int64)
    _, first = np.unique(pixels, return_index=True)
    return list(zip(x[first].tolist(), y[first].tolist(), strict=True))


def _are(wanted: tuple[object, ...], kept: tuple[object, ...]) -> bool:
    """Return whether these are the very things that something was kept for: held, so that no other has their place."""
    return len(wanted) == len(kept) and all(map(is_, wanted, kept))
