"""Stacked: a run of neighbouring records of the current channel, each offset upward from the one before."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QSignalBlocker, Qt
from PySide6.QtGui import QFontMetricsF, QPainter
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSlider, QWidget

from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_analysis.results import Ints
from pulsewright_app.desk.viewing import MOST_NEIGHBOURS
from pulsewright_app.desk.views.axes import RowLabel
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.found import NO_POSITION, FoundPulses, found_pulses
from pulsewright_app.desk.views.level_layer import LevelRow
from pulsewright_app.desk.views.marks import draw_pulse
from pulsewright_app.desk.views.rows import Row
from pulsewright_app.desk.views.traces import Trace, TraceLayer
from pulsewright_app.desk.views.view import Desk, Spot, View, Window
from pulsewright_app.stacked_run import CLOSEST, FARTHEST, run_around
from pulsewright_app.wording import count, ranges

_ROOM = 0.65
"""Height left free above and below all rows, beside half a trace."""
_LABEL_LINES = 1.15
"""Rows that carry their number are this many lines of type apart at least."""
_LABEL_STEPS = (1, 2, 5, 10, 20, 50, 100)
"""Of the rows, one in so many carries its number."""
_MARK_PIXELS = 9.0
"""Rows closer than this carry no marks of their pulses, which would lie over each other's."""
_MOST_RUNS = 4
"""Runs of records that the caption names one by one."""
_STEPS_A_DOUBLING = 8
_WHOLE = int(_STEPS_A_DOUBLING * math.log2(FARTHEST / CLOSEST))


class StackedView(View):
    """Neighbouring records, the current one strong."""

    NAME = "Stacked"

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._rows: dict[int, Row] = {}
        self._traces = TraceLayer()
        self.canvas.band_heights = False
        self.canvas.below.append(self._traces.paint)
        self._taken.traces = self._traces.share_of
        self.markers.rests = lambda: [self.rest_of(row, self.viewing.channel) for row in self._rows.values()]
        self.count = self._slider("Records shown", "Records shown at once", (2, MOST_NEIGHBOURS))
        self.spacing = self._slider("Spacing", "Spacing of the records", (0, _WHOLE))
        self.count.valueChanged.connect(self.viewing.set_neighbours)
        self.spacing.valueChanged.connect(lambda at: self.viewing.set_spacing(CLOSEST * 2 ** (at / _STEPS_A_DOUBLING)))
        self.viewing.matching_changed.connect(self.schedule)
        self.viewing.options_changed.connect(self._show_options)
        self._show_options()

    def _slider(self, text: str, name: str, span: tuple[int, int]) -> QSlider:
        slider = QSlider(Qt.Orientation.Horizontal)
        slider.setRange(*span)
        slider.setFixedWidth(130)
        slider.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        slider.setAccessibleName(name)
        label = QLabel(text)
        label.setBuddy(slider)
        both = QWidget()  # they stay beside each other where the options take two lines
        row = QHBoxLayout(both)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(label)
        row.addWidget(slider)
        self.options.addWidget(both)
        return slider

    def _show_options(self) -> None:
        """Put the sliders where the state is; they must not answer with what they round it to."""
        place = round(_STEPS_A_DOUBLING * math.log2(self.viewing.spacing / CLOSEST))
        for slider, value in ((self.count, self.viewing.neighbours), (self.spacing, place)):
            with QSignalBlocker(slider):
                slider.setValue(value)

    def run(self, session: Session) -> Ints:
        """Return the records that are shown: around the current one, of those that are walked through."""
        walked = self.viewing.matching
        records = np.arange(session.records) if walked is None else walked
        return run_around(self.viewing.record, self.viewing.neighbours, records)

    def forget(self) -> None:
        """Drop the rows and traces of the session before."""
        self._rows = {}
        self._traces.show([])

    def refresh(self, session: Session) -> None:
        """Draw the run of records."""
        run, channel, window = self.run(session), self.viewing.channel, self.time_window(session)
        values, share = self._values(), 1 / self.viewing.spacing
        self._rows = {record: Row.spread(place, values, share) for place, record in enumerate(run.tolist())}
        self.canvas.show_windows(window, self._heights())
        self.canvas.value_axis.show_label("Record")
        self.canvas.value_axis.show_rows(self._labels())
        self._traces.show(self._make_traces(session))
        self.caption.setText(self._told(session, session.channels[channel].name))

    def _values(self) -> Window:
        return self.viewing.value_window or self.desk.data.value_range((self.viewing.channel,))

    def _heights(self) -> Window:
        """Return the heights from below the lowest trace to above the highest."""
        around = max(_ROOM, 0.5 / self.viewing.spacing + 0.15)
        return -around, len(self._rows) - 1 + around

    @property
    def _row_pixels(self) -> float:
        """How far apart the rows are on the screen."""
        return 1 / self.canvas.pixel_height

    def _labels(self) -> list[RowLabel]:
        """Return the numbers beside the rows: all that have room, and always the current one's."""
        theme, current = self.theme, self.viewing.record
        line = QFontMetricsF(self.canvas.value_axis.style["tickFont"] or self.font()).height() * _LABEL_LINES
        needed = line / self._row_pixels
        step = next((round_step for round_step in _LABEL_STEPS if round_step >= needed), _LABEL_STEPS[-1])
        strong = self._rows[current].base if current in self._rows else None
        labels = []
        for record, row in self._rows.items():
            if row.base == strong:
                labels.append((row.base, str(record), theme.ink, True))
            elif int(row.base) % step == 0 and (strong is None or abs(row.base - strong) >= step):
                labels.append((row.base, str(record), theme.muted, False))
        return labels

    def _told(self, session: Session, name: str) -> str:
        """Return what is shown, in words."""
        current, run = self.viewing.record, list(self._rows)
        if not run:
            return f"{name}  ·  no record matches"
        parts = [name, self._records_in_words(run)]
        if len(run) > 1:
            parts[-1] += (
                f", record {current} strong" if current in self._rows else f"; record {current} is none of them"
            )
        left_out = [record for record in run if record in self.document.left_out]
        if left_out:
            parts.append(f"{self._records_in_words(left_out)} left out")
        lost = int(np.count_nonzero(~self._found(session).placed))
        if lost:
            parts.append(f"△ {count(lost, 'pulse')} with {NO_POSITION}")
        if self._row_pixels < _MARK_PIXELS:
            parts.append(f"pulses marked on record {current} alone: the rows are close")
        return "  ·  ".join(parts)

    @staticmethod
    def _records_in_words(records: list[int]) -> str:
        """Return which records they are, one after another where they are not in too many pieces."""
        joined = ranges(records)
        if joined.count(",") > _MOST_RUNS:
            joined = f"{records[0]} … {records[-1]} ({len(records)} of them)"
        return f"{'record' if len(records) == 1 else 'records'} {joined}"

    def _make_traces(self, session: Session) -> list[Trace]:
        channel = self.viewing.channel
        about, colour = session.channels[channel], self.theme.channel(channel)
        traces = []
        for record in sorted(self._rows, key=lambda r: r == self.viewing.record):
            codes = self.desk.data.row(record, channel)
            if codes is not None:
                places, strong = self._rows[record].places(about), record == self.viewing.record
                start = float(session.first_sample_times(record)[channel])
                traces.append(Trace(codes, start, session.sample_interval, *places, colour, strong))
        return traces

    def paint_above(self, painter: QPainter, canvas: Canvas) -> None:
        """Draw the found pulses of every record shown."""
        session = self.document.session
        if session is None:
            return
        found = self._found(session)
        every = self._row_pixels >= _MARK_PIXELS
        for i in range(len(found)) if every else np.flatnonzero(found.record == self.viewing.record).tolist():
            row, extreme = self._rows.get(int(found.record[i])), self.extreme_of(session, found, i)
            if row is None or extreme is None:
                continue
            spot = canvas.x_of(float(found.time[i])), canvas.y_of(row.height(extreme))
            sign = draw_pulse(painter, self.theme, *spot, int(found.polarity[i]), bool(found.placed[i]))
            self._taken.add_line(sign)

    def _found(self, session: Session) -> FoundPulses:
        records = np.array(list(self._rows), dtype=np.int64)
        return found_pulses(session, self.results.findings, records, (self.viewing.channel,))

    # -- gestures -------------------------------------------------------------------------------------------

    def record_at(self, height: float) -> int:
        """Return the record whose row lies at that height."""
        if not self._rows:
            return self.viewing.record
        return min(self._rows, key=lambda record: abs(self._rows[record].base - height))

    def spot(self, time: float, height: float) -> Spot | str:
        """Return the record whose row lies there."""
        return Spot(self.record_at(height), self.viewing.channel, time)

    def level_row(self, channel: int) -> LevelRow | None:
        """Return where the current record's values lie, for levels of its channel."""
        row = self._rows.get(self.viewing.record)
        if row is None or channel != self.viewing.channel:
            return None
        reach = max(0.5, 0.5 / self.viewing.spacing)
        return LevelRow(row, row.base - reach, row.base + reach)

    def clicked(self, time: float, height: float) -> None:
        """Go to the clicked record."""
        super().clicked(time, height)
        self.viewing.go_to(self.record_at(height))

    def values_of(self, heights: Window) -> Window | None:
        """Return the value window of a zoom: every row is spread alike."""
        whole = self._heights()
        factor = (heights[1] - heights[0]) / (whole[1] - whole[0])
        low, high = self._values()
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
