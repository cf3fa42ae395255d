"""The hand that puts markers down, drags and drops them: gestures in, one call on the document out."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF

from pulsewright.session import Codes
from pulsewright_analysis.crossings import TAPS, mid_level, nearest_crossing
from pulsewright_analysis.markers import u_by_hand, u_on_sample
from pulsewright_app.desk.additions import Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.desk.views.canvas import Canvas
from pulsewright_app.desk.views.marker_layer import MarkerLayer

SNAP_REACH = 6.0
"""Pixels from a found pulse within which a dropped marker goes to it."""

_SECOND_AFTER = 0.1
_PLACE_WITHOUT_POINTER = 0.4

Place = tuple[float, float]
"""Time, and its standard uncertainty."""


class MarkerHand:
    """Moves the markers of one view."""

    def __init__(self, document: Document, viewing: Viewing, results: Results, canvas: Canvas) -> None:
        self._document = document
        self._viewing = viewing
        self._results = results
        self._canvas = canvas
        self._layer = MarkerLayer(document, viewing, results)
        self._held: tuple[int, Which] | None = None
        self.codes: Callable[[int], Codes | None] = lambda _: None
        self.channel_at: Callable[[float], int] = lambda _: viewing.channel

    def grab(self, point: QPointF) -> bool:
        """Take hold of the marker under a point in pixels, and select it; return whether there is one."""
        self._held = self._layer.marker_at(point, self._canvas)
        if self._held is not None:
            self._viewing.select_marker(*self._held)
        return self._held is not None

    def let_go(self) -> None:
        """Hold nothing any more."""
        self._held = None

    def drag(self, time: float, height: float) -> None:
        """Move the held marker along, without snapping."""
        self._move(time, self._hand_u(), None)

    def drop(self, time: float, height: float) -> None:
        """Let go of the held marker: it goes to a pulse, to a sample, or stays where the hand left it."""
        channel = self.channel_at(height)
        where, u = self._placed(time, channel) or (time, self._hand_u())
        self._move(where, u, channel)
        self._document.end_gesture()
        self._held = None

    def _move(self, time: float, u: float, channel: int | None) -> None:
        """Move the held marker as part of one step; to a channel only where it is dropped."""
        if self._held is not None:
            pair, which = self._held
            self._stand_still(pair, which)
            record = self._viewing.record
            self._document.move_marker(pair, which, time, u, record=record, channel=channel, merge=True)

    def _stand_still(self, pair_id: int, which: Which) -> str:
        """Take on the times at which a following pair stands here, as part of the move that comes.

        Return why it stands nowhere.
        """
        shown = next((shown for shown in self._layer.shown() if shown.pair.id == pair_id), None)
        if shown is not None and shown.pair.pulses is not None and not shown.reason:
            self._document.stand(shown.pair, which)
        return "" if shown is None else shown.reason

    def add(self, time: float, height: float) -> None:
        """Put a pair down: the first marker at the time given, the second a tenth of the window after it."""
        self._add(time, self.channel_at(height))

    def _add(self, time: float, channel: int) -> None:
        if self._document.session is None:
            return
        (low, high), _ = self._canvas.windows()
        first, u1 = self._placed(time, channel) or (time, self._hand_u())
        later = first + _SECOND_AFTER * (high - low)
        later = later if later < high else first - _SECOND_AFTER * (high - low)
        second, u2 = self._placed(later, channel) or (later, self._hand_u())
        if second == first:  # both went to one pulse
            second, u2 = later, self._hand_u()
        pair = self._document.add_pair(first, second, u1, u2, self._viewing.record, channel)
        self._viewing.select_marker(pair.id, 2)

    def add_at_pointer(self) -> None:
        """Put a pair down at the pointer, or left of the middle if the pointer is elsewhere."""
        time = self._canvas.pointer_time
        height = self._canvas.pointer_height
        (low, high), _ = self._canvas.windows()
        if time is None:
            time = low + _PLACE_WITHOUT_POINTER * (high - low)
        self._add(time, self._viewing.channel if height is None else self.channel_at(height))

    def nudge(self, by: int) -> None:
        """Move the selected marker by whole samples."""
        session, selected = self._document.session, self._viewing.selected_marker
        if session is None or selected is None:
            return
        follows = (pair := self._document.pair(selected[0])) is not None and pair.pulses is not None
        reason = self._stand_still(*selected)
        pair = self._document.pair(selected[0])
        if reason:
            self._viewing.tell(f"The marker cannot be moved here: {reason}.")
        elif pair is not None:
            time, record = pair.time(selected[1]) + by * session.sample_interval, self._viewing.record
            self._document.move_marker(*selected, time, self._hand_u(), record=record, merge=follows)
            self._document.end_gesture()

    def snap_now(self) -> None:
        """Let the selected marker go where dropped ones go, on the current channel, however far that is."""
        selected, viewing, (low, high) = self._viewing.selected_marker, self._viewing, self._canvas.windows()[0]
        shown = next((one for one in self._layer.shown() if selected is not None and one.pair.id == selected[0]), None)
        session = self._document.session
        if selected is None or shown is None or session is None:
            return
        place = self._placed(shown.pair.time(selected[1]), viewing.channel, (high - low) / 2)
        if place is None:
            about = f"record {viewing.record} on {session.channels[viewing.channel].name}"
            viewing.tell(f"Nothing that markers go to lies near in {about}; in the panel you choose what they go to.")
            return
        self._held = selected
        self._move(*place, viewing.channel)
        self._document.end_gesture()
        self._held = None

    # -- where a marker lands -------------------------------------------------------------------------------

    def _hand_u(self) -> float:
        session = self._document.session
        return u_by_hand(self._canvas.pixel_time, session.sample_interval if session else 0.0)

    def _placed(self, time: float, channel: int, reach: float | None = None) -> Place | None:
        """Return where a marker goes from a time, no farther than `reach` seconds; None where it stays."""
        reach = SNAP_REACH * self._canvas.pixel_time if reach is None else reach
        if self._viewing.snap == "pulses":
            return self._nearest_pulse(time, channel, reach)
        if self._viewing.snap == "crossings":
            return self._nearest_crossing(time, channel, reach)
        return self._nearest_sample(time, channel) if self._viewing.snap == "samples" else None

    def _nearest_pulse(self, time: float, channel: int, reach: float) -> Place | None:
        findings = self._results.findings
        if findings is None:
            return None
        pulses = findings.pulses
        chosen = pulses.where(self._viewing.record, channel)
        chosen = chosen[np.isfinite(pulses.time[chosen]) & np.isfinite(pulses.time_u[chosen])]
        if not len(chosen):
            return None
        nearest = chosen[np.argmin(np.abs(pulses.time[chosen] - time))]
        if abs(pulses.time[nearest] - time) > reach:
            return None
        return float(pulses.time[nearest]), float(pulses.time_u[nearest])

    def _nearest_crossing(self, time: float, channel: int, reach: float) -> Place | None:
        """Return the crossing of the nearest pulse's mid level, with the trigger's part of u, which all times share."""
        session, findings, record = self._document.session, self._results.findings, self._viewing.record
        codes = self.codes(record)
        level = None if findings is None else mid_level(findings, record, channel, time)
        if session is None or findings is None or level is None or codes is None:
            return None
        about, start = session.channels[channel], float(session.first_sample_times(record)[channel])
        place, reach = (time - start) * session.sample_rate, reach * session.sample_rate
        low = max(math.floor(place - reach) - 2 * TAPS, 0)
        near = codes[channel, low : max(math.ceil(place + reach) + 2 * TAPS, 0)]
        clipped = (near <= about.lowest_code) | (near >= about.highest_code)
        values = np.where(clipped, np.nan, near * about.scale + about.offset)
        noise = findings.levels.autocovariance[findings.channels.index(channel)]
        found = nearest_crossing(values, level, place - low, max(reach, 1.0), noise)
        if found is None:
            return None
        pulses = findings.pulses
        there = pulses.where(record, channel)
        shared = np.sqrt(np.maximum(np.square(pulses.time_u) - np.square(pulses.times_u[pulses.position]), 0.0))[there]
        u = math.hypot(found.u * session.sample_interval, float(np.nanmax(shared)))
        return start + (low + found.value) * session.sample_interval, u

    def _nearest_sample(self, time: float, channel: int) -> Place:
        session = self._document.session
        assert session is not None
        start = float(session.first_sample_times(self._viewing.record)[channel])
        sample = min(max(round((time - start) * session.sample_rate), 0), session.record_length - 1)
        return start + sample * session.sample_interval, u_on_sample(session.sample_interval)
