"""Marker pairs as they stand in a record: fixed in time, or where the pulses are that they follow."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pulsewright_analysis.marker_series import FollowedPulse, followed_pulse, following_difference
from pulsewright_analysis.markers import MarkerDifference, difference
from pulsewright_analysis.results import Findings
from pulsewright_app.desk.additions import MarkerPair, Which
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.results import Results

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

_NONE_CHOSEN = "No marker pair is chosen: click one of its lines first."
_REACH = 6.0
"""Pixels from a found pulse within which a marker counts as standing on it."""


@dataclass(frozen=True)
class Shown:
    """A pair as it stands in one record.

    Attributes
    ----------
    pair : MarkerPair
        With the times and standard uncertainties that hold there.
    told : MarkerDifference or None
        Its numbers; None where it has none there.
    reason : str
        Why it has none; empty where it has.
    """

    pair: MarkerPair
    told: MarkerDifference | None
    reason: str = ""


class Following:
    """Finds where pairs stand; a pulse is looked up once for each record and set of findings."""

    def __init__(self, document: Document, results: Results) -> None:
        self._document, self._results = document, results
        self._of: tuple[Findings | None, int] = (None, -1)
        self._found: dict[tuple[int, int], FollowedPulse | str] = {}

    def shown(self, pair: MarkerPair, record: int, clock_ppm: float) -> Shown:
        """Return a pair as it stands in a record."""
        if pair.pulses is None:
            return Shown(pair, difference(pair.t1, pair.u1, pair.t2, pair.u2, pair.intervals, clock_ppm))
        first, second = (self._pulse(record, pair.channel, order) for order in pair.pulses)
        if isinstance(first, str) or isinstance(second, str):
            return Shown(pair, None, first if isinstance(first, str) else str(second))
        told = following_difference(first, second, pair.intervals, clock_ppm)
        here = replace(pair, t1=first.time, u1=first.u, t2=second.time, u2=second.u, record=record)
        return Shown(here, told)

    def _pulse(self, record: int, channel: int, order: int) -> FollowedPulse | str:
        findings = self._results.findings
        if self._of[0] is not findings or self._of[1] != record:
            self._of, self._found = (findings, record), {}
        if findings is None:
            return "its pulses are not measured yet"
        key = (channel, order)
        if key not in self._found:
            self._found[key] = followed_pulse(findings, record, channel, order)
        return self._found[key]


def follow_or_fix(window: DeskWindow) -> None:
    """Let the chosen pair follow the two pulses that its markers stand on, or fix it where it stands."""
    document, viewing, selected = window.document, window.viewing, window.viewing.selected_marker
    pair = None if selected is None else document.pair(selected[0])
    if pair is None:
        viewing.tell(_NONE_CHOSEN)
        return
    if pair.pulses is not None:
        shown = Following(document, window.results).shown(pair, viewing.record, 0.0)
        document.fix(shown.pair)
        if shown.reason:
            viewing.tell(f"{pair.name} is fixed where it stood in record {pair.record}: {shown.reason}.")
        return
    pulses = _pulses_at(window, pair)
    if isinstance(pulses, str):
        viewing.tell(pulses)
        return
    follows = replace(pair, pulses=pulses)
    document.follow(Following(document, window.results).shown(follows, pair.record, 0.0).pair, pulses)


def _pulses_at(window: DeskWindow, pair: MarkerPair) -> tuple[int, int] | str:
    """Return which pulses the two markers of a pair stand on in its own record, or why that cannot be said."""
    findings, session = window.results.findings, window.document.session
    if findings is None or session is None:
        return "The session is not measured yet: a pair can follow pulses when they are found."
    reach = max(_REACH * window.middle.view.canvas.pixel_time, session.sample_interval)
    pulses, name = findings.pulses, session.channels[pair.channel].name
    there = pulses.where(pair.record, pair.channel)
    found: list[int] = []
    choices: tuple[Which, Which] = (1, 2)
    for which in choices:
        away = np.abs(pulses.time[there] - pair.time(which))
        away[~np.isfinite(away)] = np.inf
        if not len(away) or away.min() > reach:
            return (
                f"{pair.name}: marker {which} stands on no found pulse of {name} in record {pair.record};"
                " drop both markers on pulses first."
            )
        found.append(int(away.argmin()))
    if found[0] == found[1]:
        return f"{pair.name}: both markers stand on one pulse; drop the second one on another."
    return found[0], found[1]
