"""The hand that puts levels down, drags and drops them: gestures in, one call on the document out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF

from pulsewright.session import Codes
from pulsewright_analysis.level_markers import PlacedLevel, known_levels, level_by_hand, level_on_sample
from pulsewright_app.desk.additions import Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.level_layer import LevelLayer, LevelRow, Rows

SNAP_REACH = 6.0
"""Pixels from a sample's value or a level within which a dropped level goes to it."""

_SECOND_ABOVE = 0.2
_RANK = ("base", "top", "50 %", "90 %", "10 %")
"""Where a pulse is drawn so low that its levels lie within reach of each other, the first of these count."""
_NO_VALUES = "The Map shows values as ink, not as heights: put levels down in Single, Stacked or Afterglow."


class LevelHand:
    """Moves the levels of one view."""

    def __init__(
        self, document: Document, viewing: Viewing, results: Results, canvas: Canvas, rows: Rows, layer: LevelLayer
    ) -> None:
        self._document, self._viewing, self._results, self._canvas = document, viewing, results, canvas
        self._rows, self._layer = rows, layer
        self._held: tuple[int, Which] | None = None
        self.codes: Callable[[int], Codes | None] = lambda _: None
        self.channel_at: Callable[[float], int] = lambda _: viewing.channel
        self.has_times: Callable[[], bool] = lambda: True
        """Whether a time of the plot is one of the current record."""

    def grab(self, point: QPointF) -> bool:
        """Take hold of the level under a point in pixels, and select it; return whether there is one."""
        self._held = self._layer.level_at(point, self._canvas)
        if self._held is not None:
            self._viewing.select_marker(*self._held)
        return self._held is not None

    def let_go(self) -> None:
        """Hold nothing any more."""
        self._held = None

    def drag(self, time: float, height: float) -> None:
        """Move the held level along, without snapping."""
        self._move(time, height, snaps=False)

    def drop(self, time: float, height: float) -> None:
        """Let go of the held level: it goes to a known level, to a sample's value, or stays where the hand left it."""
        self._move(time, height, snaps=True)
        self._document.end_gesture()
        self._held = None

    def _move(self, time: float, height: float, snaps: bool) -> None:
        pair = None if self._held is None else self._document.level_pair(self._held[0])
        place = None if pair is None else self._rows(pair.channel)
        if self._held is None or pair is None or place is None:
            return
        value = place.row.value(height)
        level = self._placed(time, value, pair.channel, place) if snaps else self._by_hand(value, pair.channel, place)
        self._document.move_level(*self._held, level, record=self._viewing.record, merge=True)

    def add(self, time: float, height: float) -> None:
        """Put a pair down: the first level at the height given, the second a fifth of what is shown above it."""
        channel = self.channel_at(height)
        place = self._rows(channel)
        if self._document.session is None or place is None:
            self._viewing.tell(_NO_VALUES)
            return
        value, edges = place.row.value(height), (place.row.value(place.low), place.row.value(place.high))
        first = self._placed(time, value, channel, place)
        away = _SECOND_ABOVE * (edges[1] - edges[0])
        other = first.value + away if first.value + away < edges[1] else first.value - away
        second = self._by_hand(other, channel, place)
        pair = self._document.add_level_pair(first, second, self._viewing.record, channel)
        self._viewing.select_marker(pair.id, 2)

    def add_at_pointer(self) -> None:
        """Put a pair down at the pointer, or in the middle of the current channel if the pointer is elsewhere."""
        time, height = self._canvas.pointer_time, self._canvas.pointer_height
        place = self._rows(self._viewing.channel)
        (low, high), _ = self._canvas.windows()
        if time is None or height is None:
            time, height = (low + high) / 2, 0.0 if place is None else (place.low + place.high) / 2
        self.add(time, height)

    def nudge(self, by: int) -> None:
        """Move the selected level by whole codes of its converter."""
        session, selected = self._document.session, self._viewing.selected_marker
        pair = None if selected is None else self._document.level_pair(selected[0])
        if session is None or selected is None or pair is None:
            return
        code = abs(session.channels[pair.channel].scale)
        value, place = pair.level(selected[1]).value + by * code, self._rows(pair.channel)
        level = level_by_hand(value, 0.0, code) if place is None else self._by_hand(value, pair.channel, place)
        self._document.move_level(*selected, level, record=self._viewing.record)
        self._document.end_gesture()

    def snap_now(self) -> None:
        """Let the selected level go to the nearest one of its channel's base and of the pulse nearest to the middle."""
        selected, findings, record = self._viewing.selected_marker, self._results.findings, self._viewing.record
        pair = None if selected is None else self._document.level_pair(selected[0])
        if selected is None or pair is None:
            return
        (low, high), _ = self._canvas.windows()
        known = () if findings is None else known_levels(findings, record, pair.channel, (low + high) / 2)
        if not known:
            self._viewing.tell(f"{pair.name}: no level of its channel is known in record {record}.")
            return
        now = pair.level(selected[1]).value
        self._document.move_level(*selected, min(known, key=lambda level: abs(level.value - now)), record=record)

    # -- where a level lands --------------------------------------------------------------------------------

    def _by_hand(self, value: float, channel: int, place: LevelRow) -> PlacedLevel:
        session = self._document.session
        code = session.channels[channel].scale if session is not None else 0.0
        return level_by_hand(value, self._pixel_value(place), code)

    def _pixel_value(self, place: LevelRow) -> float:
        return abs(self._canvas.pixel_height / place.row.gain)

    def _placed(self, time: float, value: float, channel: int, place: LevelRow) -> PlacedLevel:
        found: PlacedLevel | None = None
        if self.has_times():
            if self._viewing.snap in ("pulses", "crossings"):
                found = self._nearest_known(time, value, channel, place)
            elif self._viewing.snap == "samples":
                found = self._nearest_sample(time, value, channel, place)
        return found or self._by_hand(value, channel, place)

    def _nearest_known(self, time: float, value: float, channel: int, place: LevelRow) -> PlacedLevel | None:
        findings, reach = self._results.findings, SNAP_REACH * self._pixel_value(place)
        known = () if findings is None else known_levels(findings, self._viewing.record, channel, time)
        apart: list[PlacedLevel] = []
        for level in sorted(known, key=lambda level: _RANK.index(level.level)):
            if all(abs(level.value - other.value) > 2 * reach for other in apart):
                apart.append(level)
        near = [level for level in apart if abs(level.value - value) <= reach]
        return near[0] if near else None

    def _nearest_sample(self, time: float, value: float, channel: int, place: LevelRow) -> PlacedLevel | None:
        """Return the value of the sample that lies nearest in height, of those within reach in time.

        A clipped sample tells no value.
        """
        session, findings, record = self._document.session, self._results.findings, self._viewing.record
        codes = self.codes(record)
        if session is None or findings is None or codes is None:
            return None
        start = float(session.first_sample_times(record)[channel])
        reach = max(SNAP_REACH * self._canvas.pixel_time, session.sample_interval)
        ends = [round((edge - start) * session.sample_rate) for edge in (time - reach, time + reach)]
        first, stop = max(ends[0], 0), min(ends[1] + 1, session.record_length)
        if stop <= first:
            return None
        about = session.channels[channel]
        near = codes[channel, first:stop]
        near = near[(near > about.lowest_code) & (near < about.highest_code)]
        if not len(near):
            return None
        values = near.astype(np.float64) * about.scale + about.offset
        nearest = float(values[np.argmin(np.abs(values - value))])
        if abs(nearest - value) > SNAP_REACH * self._pixel_value(place):
            return None
        return level_on_sample(findings, channel, nearest)
