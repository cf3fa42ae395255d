"""Stacked: a run of neighbouring records of the current channel, each offset upward from the one before."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QPainter
from PySide6.QtWidgets import QLabel, QSlider, QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.found import NO_POSITION, FoundPulses, found_pulses
from pulsewright_app.desk.views.marks import draw_pulse
from pulsewright_app.desk.views.rows import Row
from pulsewright_app.desk.views.traces import Trace, TraceLayer
from pulsewright_app.desk.views.view import Desk, Spot, View, Window
from pulsewright_app.wording import count

_ROW_SHARE = 1.5
"""Heights that a trace takes up where rows are 1 apart: neighbours may overlap a little."""


class StackedView(View):
    """Neighbouring records, the current one strong."""

    NAME = "Stacked"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._rows: dict[int, Row] = {}
        self._traces = TraceLayer()
        self.canvas.band_heights = False
        self.canvas.below.append(self._traces.paint)
        self.count = QSlider(Qt.Orientation.Horizontal)
        self.count.setRange(2, 60)
        self.count.setValue(self.viewing.neighbours)
        self.count.setFixedWidth(140)
        self.count.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.count.setAccessibleName("Records shown at once")
        self.count.valueChanged.connect(self.viewing.set_neighbours)
        label = QLabel("Records shown")
        label.setBuddy(self.count)
        self.options.addWidget(label)
        self.options.addWidget(self.count)

    def run(self, session: Session) -> range:
        """Return the records that are shown: the current one in the middle, as far as the session goes."""
        count = min(self.viewing.neighbours, session.records)
        first = min(max(self.viewing.record - count // 2, 0), session.records - count)
        return range(first, first + count)

    def forget(self) -> None:
        """Drop the rows and traces of the session before."""
        self._rows = {}
        self._traces.show([])

    def refresh(self, session: Session) -> None:
        """Draw the run of records."""
        run, channel, window = self.run(session), self.viewing.channel, self.time_window(session)
        values = self.viewing.value_window or self.desk.data.value_range((channel,))
        self._rows = {record: Row.spread(place, values, _ROW_SHARE) for place, record in enumerate(run)}
        self.canvas.show_windows(window, (-0.9, len(run) - 0.1))
        theme, current = self.theme, self.viewing.record
        self.canvas.value_axis.show_label("Record")
        self.canvas.value_axis.show_rows(
            [
                (row.base, str(record), theme.ink if record == current else theme.muted, record == current)
                for record, row in self._rows.items()
            ]
        )
        self._traces.show(self._make_traces(session))
        name = session.channels[channel].name
        text = f"{name}  ·  records {run.start} … {run.stop - 1}, record {current} strong"
        lost = int(np.count_nonzero(~self._found(session).placed))
        self.caption.setText(f"{text}  ·  △ {count(lost, 'pulse')} with {NO_POSITION}" if lost else text)

    def _make_traces(self, session: Session) -> list[Trace]:
        channel = self.viewing.channel
        about, colour = session.channels[channel], self.theme.channel(channel)
        starts = session.first_sample_time(channel)
        traces = []
        for record in sorted(self._rows, key=lambda r: r == self.viewing.record):
            codes = self.desk.data.codes(record)
            if codes is not None:
                places, strong = self._rows[record].places(about), record == self.viewing.record
                start = float(starts[record])
                traces.append(Trace(codes[channel], start, session.sample_interval, *places, colour, strong))
        return traces

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the found pulses of every record shown."""
        session = self.document.session
        if session is None:
            return
        found = self._found(session)
        for i in range(len(found)):
            row, extreme = self._rows.get(int(found.record[i])), self.extreme_of(session, found, i)
            if row is None or extreme is None:
                continue
            spot = canvas.x_of(float(found.time[i])), canvas.y_of(row.height(extreme))
            draw_pulse(painter, self.theme, *spot, int(found.polarity[i]), bool(found.placed[i]))

    def _found(self, session: Session) -> FoundPulses:
        run = range(min(self._rows, default=0), max(self._rows, default=-1) + 1)
        return found_pulses(session, self.results.findings, run, (self.viewing.channel,))

    # -- gestures -------------------------------------------------------------------------------------------

    def record_at(self, height: float) -> int:
        """Return the record whose row lies at that height."""
        if not self._rows:
            return self.viewing.record
        return min(self._rows, key=lambda record: abs(self._rows[record].base - height))

    def spot(self, time: float, height: float) -> Spot | str:
        """Return the record whose row lies there."""
        return Spot(self.record_at(height), self.viewing.channel, time)

    def clicked(self, time: float, height: float) -> None:
        """Go to the clicked record."""
        super().clicked(time, height)
        self.viewing.go_to(self.record_at(height))

    def values_of(self, heights: Window) -> Window | None:
        """Return the value window of a zoom: every row is spread alike."""
        factor = (heights[1] - heights[0]) / (len(self._rows) + 0.8)
        low, high = self.viewing.value_window or self.desk.data.value_range((self.viewing.channel,))
        middle, half = (low + high) / 2, (high - low) / 2 * factor
        return (middle - half, middle + half)

    def value_text(self, time: float, height: float) -> str:
        """Return the record and the value under the pointer, and the sample of that record at that time."""
        record, session = self.record_at(height), self.document.session
        row = self._rows.get(record)
        if session is None or row is None:
            return ""
        value = engineering(row.value(height), session.channels[self.viewing.channel].unit)
        return f"record {record}    value = {value}    {self.sample_text(record, self.viewing.channel, time)}"
