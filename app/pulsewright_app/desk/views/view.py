"""What the four views share: a canvas, the zoom, the markers, the value under the pointer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import QColor, QFont, QPainter, QPen, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QBoxLayout, QVBoxLayout, QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.measured_table import MeasuredTable
from pulsewright_app.desk.overviews import Overviews
from pulsewright_app.desk.plots.elided_label import NarrowLabel
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.canvas import Canvas, Layer
from pulsewright_app.desk.views.dimension_lines import Taken, straight_line, text_box, text_size
from pulsewright_app.desk.views.flow import FlowRow
from pulsewright_app.desk.views.found import FoundPulses, pulse_text
from pulsewright_app.desk.views.hands import Hands
from pulsewright_app.desk.views.level_hand import LevelHand
from pulsewright_app.desk.views.level_layer import LevelLayer, LevelRow
from pulsewright_app.desk.views.marker_hand import SNAP_REACH, MarkerHand
from pulsewright_app.desk.views.marker_layer import MarkerLayer
from pulsewright_app.desk.views.rows import Row
from pulsewright_app.desk.views.span_hand import STRIP, SpanHand
from pulsewright_app.desk.work import Background, SessionData
from pulsewright_app.theme import Theme, theme

Window = tuple[float, float]


@dataclass(frozen=True)
class Desk:
    """Everything that a view draws from and turns gestures into."""

    document: Document
    viewing: Viewing
    results: Results
    data: SessionData
    background: Background
    measured: MeasuredTable
    overviews: Overviews


@dataclass(frozen=True)
class Spot:
    """What a spot of a view stands for: record, channel, and seconds from the trigger."""

    record: int
    channel: int
    time: float


_TRIGGER = "trigger"
_CAPTION_LETTERS = 70
"""Letters that a caption beside the controls has room for at least."""


class View(QWidget):
    """One of the four ways to see a session.

    A view draws what the state says, as soon as it is visible, and turns every gesture into one call on the state.
    """

    pointed = Signal(str)
    """What lies under the pointer, in words; empty if the pointer is elsewhere."""
    told = Signal(str)
    """Something to read that is no error, such as the passing records of a spot."""

    NAME = "View"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.document, self.viewing, self.results = desk.document, desk.viewing, desk.results
        self.canvas = Canvas()
        self.canvas.setAccessibleName(f"{self.NAME} view")
        self.caption = NarrowLabel()
        self.caption.setAccessibleName(f"What the {self.NAME} view shows")
        self.caption.setTextFormat(Qt.TextFormat.PlainText)  # names and reasons may look like marks
        self.caption.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.options = FlowRow(gap=10, one_line=True)
        self._lay_out()
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(0)
        self._timer.timeout.connect(self._refresh_if_seen)
        self._taken = taken = Taken()
        self.canvas.below.append(lambda *_: taken.begin())
        self.markers = MarkerLayer(self.document, self.viewing, self.results, taken)
        self.hand = MarkerHand(self.document, self.viewing, self.results, self.canvas)
        self.hand.channel_at = self.channel_at
        self.hand.codes = self.desk.data.codes
        self.spans = SpanHand(self.document, self.viewing, self.canvas, taken)
        self.levels = LevelLayer(self.document, self.viewing, self.level_row, taken)
        self.level_hand = LevelHand(self.document, self.viewing, self.results, self.canvas, self.level_row, self.levels)
        self.level_hand.channel_at, self.level_hand.codes = self.channel_at, self.desk.data.codes
        self.level_hand.has_times = lambda: not self.time_refused
        self.hands = Hands(self.viewing, self.canvas, self.spans, self.hand, self.level_hand)
        self._connect()
        self._restyle()

    def _lay_out(self) -> None:
        self._top = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._top.setContentsMargins(8, 4, 8, 2)
        self._top.setSpacing(4)
        self._top.addWidget(self.caption, 1)
        self._top.addLayout(self.options)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addLayout(self._top)
        column.addWidget(self.canvas, 1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Give the caption two lines beside the controls, or one of its own below them where it would be short.

        By the width alone, not by the text: stepping must not move the plot.
        """
        super().resizeEvent(event)
        left = self.width() - self.options.sizeHint().width()
        beside = left >= _CAPTION_LETTERS * self.fontMetrics().averageCharWidth()
        self._top.setDirection(QBoxLayout.Direction.LeftToRight if beside else QBoxLayout.Direction.TopToBottom)
        plain = self.caption.textFormat() is Qt.TextFormat.PlainText
        self.caption.setMinimumHeight(2 * self.fontMetrics().lineSpacing() if beside and plain else 0)

    def _connect(self) -> None:
        viewing, document = self.viewing, self.document
        document.session_changed.connect(self._let_go)
        document.session_changed.connect(self.forget)
        document.delays_changed.connect(self.forget)  # what was made has other times
        for signal in (
            document.session_changed, document.delays_changed, document.rejected_changed, document.left_out_changed,
            viewing.record_changed, viewing.channel_changed, viewing.shown_changed,
            viewing.zoom_changed, viewing.options_changed, self.results.changed, self.canvas.resized,
            self.desk.data.record_arrived, self.desk.data.extents_arrived,
        ):  # fmt: skip
            signal.connect(self.schedule)
        for drawn in (
            document.pairs_changed, document.levels_changed, document.settings_changed, document.claims_changed,
        ):  # fmt: skip
            drawn.connect(self._repaint)
        viewing.selection_changed.connect(self._repaint)
        viewing.dark_changed.connect(self._restyle)
        canvas = self.canvas
        canvas.below.append(self._paint_before_trigger)
        trigger, lines, spans, word, lengths = map(
            self._where_time_counts,
            (
                self._paint_trigger, self.markers.paint_lines, self.spans.paint, self._paint_trigger_word,
                self.markers.paint,
            ),
        )  # fmt: skip
        canvas.above += [  # lines first: none may run through a text
            self.paint_above, trigger, lines, self.levels.paint_lines, spans, word, lengths, self.levels.paint,
        ]  # fmt: skip
        canvas.grabber = lambda point: self.hands.grab(point, self.time_refused)
        canvas.hover_shape = lambda point: self.hands.shape_at(point, self.markers, self.levels, self.time_refused)
        canvas.grabbed_moved.connect(self.hands.drag)
        canvas.grabbed_dropped.connect(self.hands.drop)
        canvas.double_clicked.connect(self._put_down)
        canvas.clicked.connect(self.clicked)
        canvas.zoom_wanted.connect(self._zoom)
        canvas.hovered.connect(self._point)
        canvas.left.connect(lambda: self.pointed.emit(""))

    # -- markers, levels and spans --------------------------------------------------------------------------

    def level_row(self, channel: int) -> LevelRow | None:
        """Return where a channel's values lie; None where they are not drawn as heights."""
        return None

    @property
    def time_refused(self) -> str:
        """Why markers and spans have no place here; empty where all that is drawn has its time from the trigger."""
        return ""

    def _where_time_counts(self, paint: Layer) -> Layer:
        return lambda painter, canvas: None if self.time_refused else paint(painter, canvas)

    def _put_down(self, time: float, height: float, level: bool) -> None:
        if level:
            self.level_hand.add(time, height)
        elif self.time_refused:
            self.viewing.tell(self.time_refused)
        else:
            self.hand.add(time, height)

    def _let_go(self) -> None:
        """End a drag as another session comes: it must not go on with a marker of that one."""
        self.canvas.let_go()
        self.hands.let_go()

    # -- drawing --------------------------------------------------------------------------------------------

    def schedule(self) -> None:
        """Draw anew soon, once for many changes."""
        if self.isVisible():
            self._timer.start()

    @property
    def scheduled(self) -> bool:
        """Whether it is to be drawn anew soon."""
        return self._timer.isActive()

    @property
    def at_rest(self) -> bool:
        """Whether it shows all that the state says."""
        return not self.scheduled

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up with what changed while it was hidden."""
        super().showEvent(event)
        self._timer.start()

    def _refresh_if_seen(self) -> None:
        session = self.document.session
        if self.isVisible() and session is not None:
            with self.desk.background.attention.thread.asked():
                self.refresh(session)
                self.canvas.tell_pointer()
            self._repaint()

    def _repaint(self) -> None:
        self.canvas.viewport().update()

    def changeEvent(self, event: QEvent) -> None:
        """Write in the letters that the desk is in."""
        super().changeEvent(event)
        if event.type() is QEvent.Type.FontChange and hasattr(self, "hands"):
            self._restyle()

    def _restyle(self) -> None:
        font = QFont(self.font())
        self.canvas.setFont(font)
        self.canvas.set_theme(self.theme, font)
        self.schedule()

    @property
    def theme(self) -> Theme:
        """The theme that the desk is in."""
        return theme(self.viewing.dark)

    def forget(self) -> None:
        """Drop what was made from the session before: it may be painted once more before anything is made anew."""
        raise NotImplementedError

    def refresh(self, session: Session) -> None:
        """Draw what the state says; the session is the one on the desk."""
        raise NotImplementedError

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw over the traces, below the markers; in pixels."""

    def _paint_before_trigger(self, painter: QPainter, canvas: Canvas) -> None:
        plot, x = canvas.plot_rect(), canvas.x_of(0.0)
        if x > plot.left():
            shade = plot.adjusted(0, 0, min(x, plot.right()) - plot.right(), 0)
            painter.fillRect(shade, QColor(self.theme.before_trigger))

    def _paint_trigger(self, painter: QPainter, canvas: Canvas) -> None:
        plot, x = canvas.plot_rect(), round(canvas.x_of(0.0))
        if plot.left() <= x <= plot.right():
            pen = QPen(QColor(self.theme.trigger), 1, Qt.PenStyle.DashLine)
            straight_line(painter, canvas, QPointF(x, plot.top()), QPointF(x, plot.bottom()), pen)
            self._taken.add_line(QRectF(x - 1.0, plot.top(), 2.0, plot.height()))

    def _paint_trigger_word(self, painter: QPainter, canvas: Canvas) -> None:
        """Write beside the trigger's line what it is, above the alignment span and clear of what that says.

        Before the line, where there is room: what lies behind it is what somebody recorded.
        """
        plot, x = canvas.plot_rect(), round(canvas.x_of(0.0))
        if plot.left() <= x <= plot.right():
            width, height = text_size(painter, canvas, _TRIGGER)
            left = x - 1 - width if x - 1 - width >= plot.left() else x + 1
            text_box(painter, canvas, left, plot.bottom() - STRIP - height, _TRIGGER, self._taken, self.theme.muted)

    # -- windows --------------------------------------------------------------------------------------------

    def whole_time(self, session: Session) -> Window:
        """Return the stretch of time that every record lies in, seconds."""
        starts = session.first_sample_times(0)
        return float(starts.min()), float(starts.max()) + session.record_duration

    def time_window(self, session: Session) -> Window:
        """Return the stretch of time to show."""
        return self.viewing.time_window or self.whole_time(session)

    def zoom_time_by(self, factor: float) -> None:
        """Make the stretch of time that is shown shorter (below 1) or longer, about the pointer or the middle."""
        (low, high), _ = self.canvas.windows()
        centre = self.canvas.pointer_time
        centre = (low + high) / 2 if centre is None else centre
        self._zoom((centre + (low - centre) * factor, centre + (high - centre) * factor), None, True)

    def _zoom(self, time: Window, heights: Window | None, begins: bool) -> None:
        session = self.document.session
        if session is None:
            return
        low, high = self._limited(time, session)
        value = self.viewing.value_window if heights is None else self.values_of(heights)
        # everything is one zoom, however it was reached: going back must never seem to do nothing
        start, end = self.whole_time(session)
        everything = high - low >= (end - start) * (1 - 1e-9)
        self.viewing.zoom(None if everything else (low, high), value, remember=begins)

    def show_time(self, time: Window) -> None:
        """Zoom to a stretch of time, as one step of the zooms' history."""
        self._zoom(time, None, True)

    def shown_time(self, record: int, time: float) -> float:
        """Return where along the axis a time of a record lies, seconds; NaN where the record has no place."""
        return time

    def _limited(self, time: Window, session: Session) -> Window:
        """Return a window no shorter than four samples and no longer than the record, moved to overlap it."""
        whole = self.whole_time(session)
        span = min(max(time[1] - time[0], 4 * session.sample_interval), whole[1] - whole[0])
        low = min(max((time[0] + time[1] - span) / 2, whole[0]), whole[1] - span)
        return low, low + span

    def values_of(self, heights: Window) -> Window | None:
        """Return the value window that a window of heights stands for, or None to leave it as it is."""
        return heights

    # -- pointer --------------------------------------------------------------------------------------------

    def channel_at(self, height: float) -> int:
        """Return the channel that a gesture at that height is about."""
        return self.viewing.channel

    def spot(self, time: float, height: float) -> Spot | str:
        """Return what a time and a height of the view stand for, or a sentence why that is not known."""
        return Spot(self.viewing.record, self.channel_at(height), time)

    def reach(self, session: Session) -> float:
        """Return how far from a pulse a gesture still means it, seconds."""
        return max(SNAP_REACH * self.canvas.pixel_time, session.sample_interval)

    def clicked(self, time: float, height: float) -> None:
        """Answer a click on the plot."""
        self.viewing.select_marker(None)

    def value_text(self, time: float, height: float) -> str:
        """Return the value at that height, and whatever else is known about the spot."""
        raise NotImplementedError

    def _point(self, time: float, height: float) -> None:
        if self.document.session is not None:
            self.pointed.emit(f"t = {engineering(time, 's', 6)}    {self.value_text(time, height)}")

    def sample_text(self, record: int, channel: int, time: float) -> str:
        """Return what a channel holds at a time of a record, for example ``"H05: 0.231 V"``."""
        session = self.document.session
        codes = self.desk.data.row(record, channel)
        if session is None or codes is None:
            return ""
        start = float(session.first_sample_times(record)[channel])
        sample = round((time - start) * session.sample_rate)
        about = session.channels[channel]
        if not 0 <= sample < session.record_length:
            return f"{about.name}: no sample here"
        value = float(codes[sample]) * about.scale + about.offset
        found = pulse_text(session, self.results.findings, record, channel, time, self.reach(session))
        return f"{about.name}: {engineering(value, about.unit)} (sample {sample})" + (f"    {found}" if found else "")

    def base_of(self, channel: int) -> float | None:
        """Return the base level of a channel, in its unit; None if it was not measured."""
        findings = self.results.findings
        if findings is None or channel not in findings.channels:
            return None
        return float(findings.levels.offset[findings.channels.index(channel)])

    def rest_of(self, row: Row, channel: int) -> float:
        """Return the pixel row on which a channel's trace lies at rest."""
        base = self.base_of(channel)
        return float(self.canvas.y_of(row.base if base is None else row.height(base)))

    def extreme_of(self, session: Session, found: FoundPulses, i: int) -> float | None:
        """Return the value at a pulse's extreme: base and amplitude, or its extreme sample where that is not known."""
        channel, about = int(found.channel[i]), session.channels[int(found.channel[i])]
        base = self.base_of(channel)
        if base is not None and np.isfinite(found.amplitude[i]):
            return base + float(found.amplitude[i])
        codes = self.desk.data.row(int(found.record[i]), channel)
        return None if codes is None else float(codes[found.extreme[i]]) * about.scale + about.offset

    def caption_start(self, session: Session) -> str:
        """Return the beginning of the caption: which record of how many."""
        return f"Record {self.viewing.record} of 0 … {session.records - 1}"
