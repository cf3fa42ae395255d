"""The rail: every record a place on one long slider, with ticks where something is wrong or flagged, and gaps."""

from __future__ import annotations

from collections.abc import Collection
from operator import is_

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFontMetricsF, QHelpEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPixmap
from PySide6.QtWidgets import QSizePolicy, QToolTip, QWidget

from pulsewright.session import Session
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.places import Places, gap_text, places_of, round_step
from pulsewright_app.desk.rail_signs import (
    Signs,
    draw_against,
    draw_clipped,
    draw_flag,
    draw_odd,
    draw_slip,
    signs_of,
)
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.work import Extents, SessionData
from pulsewright_app.theme import Theme, theme

_SIDE = 14.0
_SIGNS_HEIGHT = 20.0
_BAR_HEIGHT = 18.0
_NUMBERS_HEIGHT = 24.0
_LABEL_EVERY = 46.0
_BETWEEN_LABELS = 8.0


class Rail(QWidget):
    """One long slider over all records: drag or click to go."""

    pointed = Signal(str)
    """What lies under the pointer, in words."""

    def __init__(
        self,
        document: Document,
        viewing: Viewing,
        results: Results,
        data: SessionData,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._document, self._viewing, self._results, self._data = document, viewing, results, data
        self._places = Places(0)
        self._signs = Signs({}, {}, {}, {})
        self._held = False
        self._gathered: tuple[Session | None, Extents | None, Findings | None] = (None, None, None)
        self._kept_spots: dict[str, tuple[Collection[int], tuple[int, Places], list[float]]] = {}
        """Where the signs of each kind stand, with the records and the room that they stand for."""
        self._kept: tuple[tuple[object, ...], tuple[object, ...], QPixmap] | None = None
        """The bar with its signs, and what it was drawn from."""
        self.setAccessibleName("Rail of all records")
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        for signal in (document.session_changed, results.changed, data.extents_arrived):
            signal.connect(self._gather)
        for signal in (
            document.flags_changed, document.notes_changed, document.left_out_changed, viewing.record_changed,
            viewing.dark_changed, viewing.filter_changed, results.verdicts_changed,
        ):  # fmt: skip
            signal.connect(self._refresh)
        self._gather()

    def sizeHint(self) -> QSize:
        """Ask for one line's height and all the width there is."""
        return QSize(600, round(self._bar_top() + _BAR_HEIGHT + max(_NUMBERS_HEIGHT, self._line() + 6)))

    def _line(self) -> int:
        """Return the height of a line of letters."""
        return self.fontMetrics().height()

    def _bar_top(self) -> float:
        """Return where the bar begins, below the signs and the counts of the gaps."""
        return max(_SIGNS_HEIGHT, self._line() + 4.0)

    def changeEvent(self, event: QEvent) -> None:
        """Grow with the letters."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self.updateGeometry()

    def _refresh(self) -> None:
        record, records = self._viewing.record, self._viewing.records
        self.setAccessibleDescription(f"Record {record} of {records}" if records else "No records")
        self.update()

    def _gather(self) -> None:
        """Find again what there is to say about every record."""
        about = (self._document.session, self._data.extents, self._results.findings)
        if not all(map(is_, about, self._gathered)):  # often only how fresh the findings are has changed
            self._gathered = about
            self._places = places_of(self._viewing.records, about[2])
            self._signs = signs_of(*about)
        self._refresh()

    # -- where things are -----------------------------------------------------------------------------------

    def _bar(self) -> QRectF:
        return QRectF(_SIDE, self._bar_top(), max(self.width() - 2 * _SIDE, 1.0), _BAR_HEIGHT)

    def _pitch(self) -> float:
        return self._bar().width() / max(self._places.total, 1)

    def x_of(self, record: int) -> float:
        """Return the middle of a record's place, pixels."""
        return self._bar().left() + (float(self._places.place[record]) + 0.5) * self._pitch()

    def _place_at(self, x: float) -> float:
        return (x - self._bar().left()) / self._pitch() - 0.5

    # -- gestures -------------------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Go to the record under the mouse."""
        if event.button() == Qt.MouseButton.LeftButton and self._viewing.records:
            self._held = True
            self._viewing.go_to(self._places.record_at(self._place_at(event.position().x())))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Follow a drag, and say what lies under the pointer."""
        if not self._viewing.records:
            return
        if self._held:
            self._viewing.go_to(self._places.record_at(self._place_at(event.position().x())))
        self.pointed.emit(self.text_at(event.position().x()))

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go."""
        if event.button() == Qt.MouseButton.LeftButton:
            self._held = False

    def leaveEvent(self, event: QEvent) -> None:
        """Forget the pointer."""
        self.pointed.emit("")
        super().leaveEvent(event)

    def event(self, event: QEvent) -> bool:
        """Say in a tooltip what a sign means."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent) and self._viewing.records:
            QToolTip.showText(event.globalPos(), self.text_at(event.pos().x()), self)
            return True
        return super().event(event)

    def text_at(self, x: float) -> str:
        """Return in words what lies at a pixel column of the rail."""
        place = self._place_at(x)
        gap = self._places.gap_at(place)
        if gap is not None:
            return gap_text(gap)
        record = self._places.record_at(place)
        parts = [f"Record {record}"]
        if record in self._document.flags:
            parts.append("flagged")
        if record in self._signs.clipped:
            parts.append(f"clipped on {self._signs.clipped[record]}")
        if record in self._signs.slipped:
            parts.append(self._signs.slipped[record])
        if record in self._signs.aside:
            parts.append(f"{self._signs.aside[record]} out of step")
        if record in self._signs.odd:
            parts.append(self._signs.odd[record])
        if record in self._results.against:
            parts.append("speaks against a claim")
        if self._viewing.matches is not None and record in self._viewing.matches:
            parts.append("matches the filter")
        if record in self._document.left_out:
            parts.append(f"left out: {self._document.left_out[record] or 'no reason given'}")
        if record in self._document.notes:
            parts.append(f"note: {self._document.notes[record]}")
        return ", ".join(parts)

    # -- drawing --------------------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw the bar, the signs above it, the numbers below it, and the current record's handle."""
        if not self._viewing.records:
            return
        painter, colours = QPainter(self), theme(self._viewing.dark)
        painter.drawPixmap(0, 0, self._standing(colours))
        self._draw_numbers(painter, colours)
        self._draw_handle(painter, colours)

    def _standing(self, colours: Theme) -> QPixmap:
        """Return the bar and its signs, which a step leaves as they are: it moves the handle alone."""
        document, viewing = self._document, self._viewing
        about = (
            self._places, self._signs, self._results.against, viewing.matches, document.flags, document.notes,
            document.left_out, colours,
        )  # fmt: skip
        room = (self.size(), self.devicePixelRatioF(), self.font())
        if self._kept is None or not all(map(is_, about, self._kept[0])) or room != self._kept[1]:
            picture = QPixmap(self.size() * self.devicePixelRatioF())
            picture.setDevicePixelRatio(self.devicePixelRatioF())
            picture.fill(Qt.GlobalColor.transparent)
            painter = QPainter(picture)
            painter.setFont(self.font())
            self._draw_bar(painter, colours)
            self._draw_matches(painter, colours)
            self._draw_gaps(painter, colours)
            self._draw_signs(painter, colours)
            painter.end()
            self._kept = about, room, picture
        return self._kept[2]

    def _draw_bar(self, painter: QPainter, colours: Theme) -> None:
        bar, pitch = self._bar(), self._pitch()
        if pitch < 3:  # places too narrow for a gap between them
            painter.fillRect(bar, QColor(colours.raised))
        else:
            inset = 1.0 if pitch > 5 else 0.5
            for record in range(self._viewing.records):
                left = self.x_of(record) - pitch / 2
                cell = QRectF(left + inset, bar.top(), pitch - 2 * inset, bar.height())
                left_out = record in self._document.left_out
                painter.fillRect(cell, QColor(colours.page if left_out else colours.raised))
        stripe = QColor(colours.missed)
        stripe.setAlpha(150)
        width = max(pitch, 1.0)
        for x in self._spots("aside", self._signs.aside):
            painter.fillRect(QRectF(x - width / 2, bar.bottom() - 3, width, 3.0), stripe)
        painter.setPen(QPen(QColor(colours.rule), 1))
        painter.drawRect(bar)

    def _draw_matches(self, painter: QPainter, colours: Theme) -> None:
        """Tint the places of the records that match the filter, a column of pixels once."""
        matches, bar, pitch = self._viewing.matches, self._bar(), self._pitch()
        if matches is None or not len(matches):
            return
        tint = QColor(colours.accent)
        tint.setAlpha(80)
        lefts = bar.left() + self._places.place[matches] * pitch
        for left in lefts if pitch >= 1 else np.unique(np.floor(lefts)):
            painter.fillRect(QRectF(float(left), bar.top() + 1, max(pitch, 1.0), bar.height() - 1), tint)

    def _draw_gaps(self, painter: QPainter, colours: Theme) -> None:
        bar, pitch = self._bar(), self._pitch()
        painter.setPen(QPen(QColor(colours.missed), 1, Qt.PenStyle.DashLine))
        for left, width in self._places.gaps_drawn(bar.left(), pitch, 2.0):
            box = QRectF(left, bar.top(), width, bar.height())
            painter.fillRect(box, QColor(colours.page))
            painter.drawRect(box.adjusted(0.5, 2, -0.5, -2))
        room = self.fontMetrics().horizontalAdvance("−0000 ")
        for place, missed in self._places.missed_told(pitch, room):
            box = QRectF(bar.left() + place * pitch - 30, 2, 60, self._bar_top() - 4)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, f"−{missed}")

    def _draw_signs(self, painter: QPainter, colours: Theme) -> None:
        bar, signs, document = self._bar(), self._signs, self._document
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(colours.clipped))
        for x in self._spots("clipped", signs.clipped):
            draw_clipped(painter, x, bar.top())
        for x in self._spots("slipped", signs.slipped):
            draw_slip(painter, x - self._pitch() / 2, bar.top(), bar.height())
        for x in self._spots("odd", signs.odd):
            draw_odd(painter, x, bar.top())
        painter.setBrush(QColor(colours.fails))
        for x in self._spots("against", self._results.against):
            draw_against(painter, x, bar.bottom() - 2)
        painter.setBrush(QColor(colours.flagged))
        for x in self._spots("flagged", document.flags):
            draw_flag(painter, x, bar.top() - 12)
        painter.setBrush(QColor(colours.muted))
        for x in self._spots("noted", document.notes):
            painter.drawEllipse(QPointF(x, bar.bottom() - 4), 2.0, 2.0)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        painter.setPen(QPen(QColor(colours.muted), 1))
        for x in self._spots("left out", document.left_out):
            painter.drawLine(QPointF(x - 4, bar.bottom() - 3), QPointF(x + 4, bar.top() + 3))

    def _spots(self, kind: str, records: Collection[int]) -> list[float]:
        """Return where the signs of some records stand, pixels; records on one pixel have one sign.

        What was found is kept as long as it is about the same records: a flag must not have all notes looked up.
        """
        room = (self.width(), self._places)
        kept = self._kept_spots.get(kind)
        if kept is None or kept[0] is not records or kept[1] != room:
            numbers = np.fromiter(records, dtype=np.int64, count=len(records))
            places = self._places.place[numbers[numbers < len(self._places.place)]]
            spots = self._bar().left() + (places + 0.5) * self._pitch()
            spots = np.unique(spots if self._pitch() >= 1 else np.rint(spots))
            kept = self._kept_spots[kind] = (records, room, spots.tolist())
        return kept[2]

    def _draw_numbers(self, painter: QPainter, colours: Theme) -> None:
        bar, pitch = self._bar(), self._pitch()
        widest = self._number_width(self._viewing.records - 1)
        step = round_step(max(_LABEL_EVERY, widest + _BETWEEN_LABELS) / pitch)
        painter.setPen(QColor(colours.muted))
        current = self._viewing.record
        for record in range(0, self._viewing.records, step):
            needed = (self._number_width(record) + self._number_width(current)) / 2 + _BETWEEN_LABELS
            if abs(self._number_x(record) - self._number_x(current)) >= needed:
                self._number(painter, record, bar.bottom() + 3)
        font = painter.font()
        font.setBold(True)
        painter.setFont(font)
        painter.setPen(QColor(colours.accent))
        self._number(painter, current, bar.bottom() + 3)

    def _number_width(self, record: int) -> float:
        font = self.font()
        font.setBold(record == self._viewing.record)
        return QFontMetricsF(font).horizontalAdvance(str(record))

    def _number_x(self, record: int) -> float:
        half = self._number_width(record) / 2
        return min(max(self.x_of(record), half + 2), self.width() - half - 2)

    def _number(self, painter: QPainter, record: int, top: float) -> None:
        x, half = self._number_x(record), self._number_width(record) / 2 + 1
        box = QRectF(x - half, top, 2 * half, max(18, self._line()))
        painter.drawText(box, Qt.AlignmentFlag.AlignHCenter | Qt.TextFlag.TextDontClip, str(record))

    def _draw_handle(self, painter: QPainter, colours: Theme) -> None:
        bar, x = self._bar(), self.x_of(self._viewing.record)
        width = min(max(self._pitch() - 2, 5.0), 26.0)
        handle = QRectF(x - width / 2, bar.top() - 3, width, bar.height() + 6)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, True)
        painter.setPen(QPen(QColor(colours.surface), 1))
        painter.setBrush(QColor(colours.accent))
        painter.drawRoundedRect(handle, 3, 3)
