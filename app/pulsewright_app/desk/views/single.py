"""Single: the current record, its channels in lanes or on one axis."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter
from PySide6.QtWidgets import QBoxLayout, QCheckBox, QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Codes, Session
from pulsewright_app.desk.references import Beneath, References, difference
from pulsewright_app.desk.trims import AS_RECORDED
from pulsewright_app.desk.views.axes import RowLabel
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.columns import seen
from pulsewright_app.desk.views.found import NO_POSITION, FoundPulses, found_pulses
from pulsewright_app.desk.views.level_layer import LevelRow
from pulsewright_app.desk.views.marks import clipped_samples, draw_clipped, draw_pulse
from pulsewright_app.desk.views.reference_controls import ReferenceControls
from pulsewright_app.desk.views.reference_rows import (
    Stretches,
    difference_sign,
    difference_trace,
    draw_zeros,
    reference_trace,
    stretches,
    trimmed,
    wanted_difference,
)
from pulsewright_app.desk.views.rows import Row, lane_window
from pulsewright_app.desk.views.span_hand import STRIP
from pulsewright_app.desk.views.traces import Trace, TraceLayer
from pulsewright_app.desk.views.view import Desk, View, Window
from pulsewright_app.theme import LANE_SHARE, legible
from pulsewright_app.wording import count

_LANE_SHARE = 0.86


class SingleView(View):
    """The current record."""

    NAME = "Single"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._rows: dict[int, Row] = {}
        self._stretches: dict[int, Stretches] = {}
        self._traces = TraceLayer()
        self._references = TraceLayer()
        self._references_for: object = None
        self.canvas.below += [
            self._paint_current_lane, self._paint_zeros, self._references.paint, self._traces.paint,
        ]  # fmt: skip
        self._taken.traces = self._traces.share_of
        self.markers.rests = self._rests
        self.lanes = QCheckBox("A lane for each channel")
        self.lanes.setAccessibleName("A lane for each channel")
        self.lanes.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.lanes.setChecked(self.viewing.lanes)
        self.lanes.toggled.connect(self.viewing.set_lanes)
        self.viewing.shown_changed.connect(lambda: self.lanes.setChecked(self.viewing.lanes))
        self.viewing.trims.changed.connect(self.schedule)
        self.options.addWidget(self.lanes)
        self.references = References(desk.document, desk.viewing.reference, desk.data, desk.background, self)
        self.references.changed.connect(self.schedule)
        self.reference_controls = ReferenceControls(desk.document, desk.viewing)
        self.options.put_first(self.reference_controls.of)
        column = self.layout()
        assert isinstance(column, QBoxLayout)
        column.insertWidget(1, self.reference_controls)

    # -- drawing --------------------------------------------------------------------------------------------

    def forget(self) -> None:
        """Drop the lanes and traces of the session before."""
        self._rows, self._stretches = {}, {}
        self._traces.show([])
        self._references.show([])
        self._references_for = None

    def refresh(self, session: Session) -> None:
        """Draw the current record."""
        window = self.time_window(session)
        shown = self.viewing.visible_channels
        self._rows = self._arrange(session, shown)
        beneath, reference = self.references.of_channels(), self.viewing.reference
        wanted = wanted_difference(reference, beneath)
        self._stretches = {
            channel: trimmed(
                stretches(row, self.viewing.lanes, wanted, reference.magnification), self.viewing.trims.of(channel)
            )
            for channel, row in self._rows.items()
        }
        self.canvas.band_heights = not self.viewing.lanes
        self.canvas.show_windows(window, self._heights(shown))
        self._label_axis(session, shown)
        codes = self.desk.data.codes(self.viewing.record)
        traces = [] if codes is None else self._make_traces(session, codes, shown, beneath)
        self._traces.show(traces)
        self._show_references(session, beneath)
        self.reference_controls.tell(self.references.text(), wanted)
        self.caption.setText(self._caption(session, shown, codes is None))

    def _values(self, shown: tuple[int, ...]) -> Window:
        return self.viewing.value_window or self.desk.data.value_range(shown)

    def _arrange(self, session: Session, shown: tuple[int, ...]) -> dict[int, Row]:
        if not self.viewing.lanes:
            return {channel: Row() for channel in shown}
        values = self._values(shown)
        return {channel: Row.spread(len(shown) - 1 - place, values, _LANE_SHARE) for place, channel in enumerate(shown)}

    def _heights(self, shown: tuple[int, ...]) -> Window:
        if not self.viewing.lanes:
            return self._values(shown)
        # the spans and their words lie beside the lanes, not over the pulses of the first and the last one
        above, below = self.fontMetrics().height() + STRIP / 2, STRIP
        return lane_window(max(len(shown), 1), self.canvas.plot_rect().height(), above, below)

    def _rests(self) -> list[float]:
        """Return the pixel rows on which the lanes' traces lie at rest."""
        drawn = [(use.trace, channel) for channel, use in self._stretches.items() if use.trace is not None]
        return [self.rest_of(row, channel) for row, channel in drawn] if self.viewing.lanes else []

    def _label_axis(self, session: Session, shown: tuple[int, ...]) -> None:
        axis, theme = self.canvas.value_axis, self.theme
        if not self.viewing.lanes:
            axis.show_rows(None)
            axis.show_label("Value", session.channels[self.viewing.channel].unit)
            return
        axis.show_label("")
        current, sign = self.viewing.channel, difference_sign(self.viewing.reference.magnification)
        rows = []
        for channel, use in self._stretches.items():
            ink = legible(theme.channel(channel), theme.page, theme.ink)  # the labels stand beside the plot
            name, about = session.channels[channel].name, (ink, channel == current)
            rows.append((self._rows[channel].base, name if use.trace else f"{sign} {name}", *about))
            if use.trace:
                rows += self._trim_labels(channel, session.channels[channel].unit)
            if use.trace and use.difference:
                rows.append((use.difference.base, sign, theme.muted, False))
        axis.show_rows(rows)

    def _trim_labels(self, channel: int, unit: str) -> list[RowLabel]:
        """Return what stands about a lane's name where it is drawn other than recorded: place above, scale below."""
        trim, base, muted = self.viewing.trims.of(channel), self._rows[channel].base, self.theme.muted
        above = [(base + self._line, trim.place_text(unit), muted, False)] if trim.place else []
        return [*above, (base - self._line, trim.scale_text, muted, False)] if trim.scale != 1 else above

    def _make_traces(
        self, session: Session, codes: Codes, shown: tuple[int, ...], beneath: dict[int, Beneath]
    ) -> list[Trace]:
        current, starts = self.viewing.channel, session.first_sample_times(self.viewing.record)
        window, traces = self.canvas.windows()[0], []
        for channel in sorted(shown, key=lambda c: c == current):
            use = self._stretches[channel]
            strong = self.viewing.lanes or channel == current or len(shown) == 1
            colour, start = self.theme.channel(channel), float(starts[channel])
            if use.trace is not None:
                places = use.trace.places(session.channels[channel])
                traces.append(Trace(codes[channel], start, session.sample_interval, *places, colour, strong))
            if use.difference is not None and channel in beneath:
                under, row = beneath[channel], use.difference
                traces.append(
                    difference_trace(session, channel, codes[channel], start, under, row, window, colour, strong)
                )
        return traces

    def _show_references(self, session: Session, beneath: dict[int, Beneath]) -> None:
        """Draw the references; on one axis the current channel's alone. Stepping leaves their picture as it is."""
        chosen = self._rows if self.viewing.lanes else (self.viewing.channel,)
        drawn = {c: beneath[c] for c in chosen if c in beneath and c in self._stretches}
        wanted = (drawn, self._stretches, self.theme)  # a reference equals itself alone
        if wanted == self._references_for:
            return
        self._references_for = wanted
        interval, traces = session.sample_interval, []
        for channel, under in drawn.items():
            row = self._stretches[channel].trace
            if row is not None:
                traces.append(reference_trace(under, row, session.channels[channel], interval, self.theme))
        self._references.show(traces)

    def _caption(self, session: Session, shown: tuple[int, ...], waiting: bool) -> str:
        record = self.viewing.record
        parts = [self.caption_start(session)]
        trigger = session.trigger_time[record, session.module_of[self.viewing.channel]]
        if np.isfinite(trigger):
            parts.append(f"trigger at {engineering(float(trigger), 's', 7)}")
        if not self.viewing.lanes:
            parts += self._drawn_otherwise(session, shown)
        hidden = len(session.channels) - len(shown)
        if not shown:  # an empty plot must say what fills it
            parts.append("every channel is hidden: Alt+Shift+C shows all")
        elif hidden:
            parts.append(f"{hidden} of {len(session.channels)} channels hidden")
        lost = int(np.count_nonzero(~self._found(session).placed))
        if lost:
            parts.append(f"△ {count(lost, 'pulse')} with {NO_POSITION}")
        rejected = [c for r, c, _ in self.document.rejected if r == record and c in shown]
        if rejected:
            names = sorted({session.channels[c].name for c in rejected})
            parts.append(f"{count(len(rejected), 'pulse')} rejected: {', '.join(names)}")
        if record in self.document.left_out:  # last: a reason may be long
            parts.append(f"left out: {self.document.left_out[record] or 'no reason given'}")
        if waiting:
            parts.append("cannot be read" if self.desk.data.is_lost(record) else "being read")
        return "  ·  ".join(parts)

    def _drawn_otherwise(self, session: Session, shown: tuple[int, ...]) -> list[str]:
        """Return which channels the one axis does not hold for."""
        trims = ((session.channels[c], self.viewing.trims.of(c)) for c in shown)
        told = [f"{about.name} {trim.text(about.unit)}" for about, trim in trims if trim != AS_RECORDED]
        return [f"not by the axis: {', '.join(told)}"] if told else []

    @property
    def _line(self) -> float:
        """The height of a line of type beside the lanes."""
        return self.fontMetrics().height() * self.canvas.pixel_height

    def _paint_zeros(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw where each difference is 0."""
        rows = [use.difference for use in self._stretches.values() if use.difference is not None]
        draw_zeros(painter, canvas, self.theme, rows)

    def _paint_current_lane(self, painter: QPainter, canvas: Canvas) -> None:
        row = self._rows.get(self.viewing.channel)
        if row is None or not self.viewing.lanes or len(self._rows) < 2:
            return
        plot, top = canvas.plot_rect(), canvas.y_of(row.base + 0.5)
        lane = QRectF(plot.left(), top, plot.width(), canvas.y_of(row.base - 0.5) - top)
        colour = QColor(self.theme.selection)
        colour.setAlphaF(LANE_SHARE)
        painter.fillRect(lane, colour)

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw found pulses and clipped samples."""
        session = self.document.session
        codes = self.desk.data.codes(self.viewing.record)
        if session is None or codes is None:
            return
        painter.setFont(canvas.font())
        for channel, use in self._stretches.items():
            self._paint_clipped(painter, canvas, session, codes, channel, use.signs)
        self._paint_pulses(painter, canvas, session)

    def _paint_clipped(
        self, painter: QPainter, canvas: Canvas, session: Session, codes: Codes, channel: int, row: Row
    ) -> None:
        about = session.channels[channel]
        start = float(session.first_sample_times(self.viewing.record)[channel])
        first, stop = seen(start, session.sample_interval, session.record_length, canvas.windows()[0])
        clipped = first + clipped_samples(codes[channel, first:stop], about.lowest_code, about.highest_code)
        if not len(clipped):
            return
        columns = np.round((start + clipped * session.sample_interval) / canvas.pixel_time)
        _, one_a_column = np.unique(columns, return_index=True)
        heights = row.heights(codes[channel, clipped].astype(np.float64), about)
        draw_clipped(
            painter,
            self.theme,
            (
                QPointF(canvas.x_of(start + clipped[i] * session.sample_interval), canvas.y_of(heights[i]))
                for i in one_a_column
            ),
        )

    def _paint_pulses(self, painter: QPainter, canvas: Canvas, session: Session) -> None:
        found = self._found(session)
        for i in range(len(found)):
            use, extreme = self._stretches.get(int(found.channel[i])), self.extreme_of(session, found, i)
            if use is None or extreme is None:
                continue
            spot = canvas.x_of(float(found.time[i])), canvas.y_of(use.signs.height(extreme))
            sign = draw_pulse(painter, self.theme, *spot, int(found.polarity[i]), bool(found.placed[i]))
            self._taken.add_line(sign)

    def _found(self, session: Session) -> FoundPulses:
        """Return the pulses to mark; on one axis the signs of all channels would lie on each other."""
        shown = self.viewing.visible_channels if self.viewing.lanes else (self.viewing.channel,)
        return found_pulses(session, self.results.findings, self.viewing.record, shown)

    # -- gestures -------------------------------------------------------------------------------------------

    def channel_at(self, height: float) -> int:
        """Return the channel whose lane lies at that height; the current one where all share an axis."""
        if not self.viewing.lanes or not self._rows:
            return self.viewing.channel
        return min(self._rows, key=lambda channel: abs(self._rows[channel].base - height))

    def level_row(self, channel: int) -> LevelRow | None:
        """Return where a channel's trace lies, if it is drawn."""
        use, heights = self._stretches.get(channel), self.canvas.windows()[1]
        if use is None or use.trace is None:
            return None
        if not self.viewing.lanes:
            return LevelRow(use.trace, *heights)
        base = self._rows[channel].base
        return LevelRow(use.trace, max(base - 0.5, use.edge), base + 0.5)

    def clicked(self, time: float, height: float) -> None:
        """Make the channel of the clicked lane the current one."""
        super().clicked(time, height)
        self.viewing.set_channel(self.channel_at(height))

    def values_of(self, heights: Window) -> Window | None:
        """Return the value window of a zoom; in lanes, all lanes are spread alike."""
        if not self.viewing.lanes:
            return heights
        shown = self.viewing.visible_channels
        before, now = self._heights(shown), heights
        factor = (now[1] - now[0]) / (before[1] - before[0])
        low, high = self._values(shown)
        middle, half = (low + high) / 2, (high - low) / 2 * factor
        return (middle - half, middle + half)

    def value_text(self, time: float, height: float) -> str:
        """Return the value under the pointer, the sample of that channel at that time, and what lies beneath it."""
        channel, session = self.channel_at(height), self.document.session
        use = self._stretches.get(channel)
        if session is None or use is None:
            return ""
        row = use.difference_at(height)
        what, row = ("value", use.trace) if row is None else ("difference", row)
        assert row is not None
        text = f"{what} = {engineering(row.value(height), session.channels[channel].unit)}"
        told = [text, self.sample_text(self.viewing.record, channel, time), self._beneath_text(session, channel, time)]
        return "    ".join(filter(None, told))

    def _beneath_text(self, session: Session, channel: int, time: float) -> str:
        """Return the current record's sample at a time less the reference there."""
        under, codes = self.references.of_channels().get(channel), self.desk.data.codes(self.viewing.record)
        if under is None or codes is None:
            return ""
        start = float(session.first_sample_times(self.viewing.record)[channel])
        sample = round((time - start) * session.sample_rate)
        _, values = difference(codes[channel], start, under, session.sample_interval, sample, sample + 1)
        about = session.channels[channel]
        return f"less the reference: {engineering(float(values[0]) * about.scale, about.unit)}" if len(values) else ""
