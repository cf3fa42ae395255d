"""Marker pairs as they stand in a record: fixed in time, or where the pulses are that they follow."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pulsewright_analysis.followed_pulses import FollowedPulse, followed_pulse
from pulsewright_analysis.markers import MarkerDifference
from pulsewright_analysis.results import Findings
from pulsewright_analysis.standing_pairs import standing
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
        With the times and standard uncertainties that hold there; one that is fixed keeps those of its own record.
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

        def find(channel: int, order: int) -> FollowedPulse | str:
            return self._pulse(record, channel, order)

        there = standing(pair.ends, find, pair.intervals, clock_ppm)
        if there.told is None or pair.pulses is None:
            return Shown(pair, there.told, there.reason)
        (t1, t2), (u1, u2) = there.times, there.us
        here = replace(pair, t1=t1, u1=u1, t2=t2, u2=u2)
        choices: tuple[Which, Which] = (1, 2)
        for which in choices:
            if pair.pulses[which - 1] is not None:
                here = here.put(which, record, pair.places[which - 1][1])
        return Shown(here, there.told)

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
    pair = _chosen(window)
    if pair is None:
        return
    if pair.pulses is not None and None not in pair.pulses:
        window.document.fix(_standing(window, pair))
        return
    here = Following(window.document, window.results).shown(pair, window.viewing.record, 0.0).pair
    found = _pulses_at(window, here, (1, 2))
    if isinstance(found, str):
        window.viewing.tell(found)
        return
    record, (first, second) = found
    if first == second and pair.one_channel:
        window.viewing.tell(f"{pair.name}: both markers stand on one pulse; drop the second one on another.")
    else:
        _follow(window, pair, record, (first, second))


def follow_or_fix_one(window: DeskWindow) -> None:
    """Let the chosen marker alone follow the pulse that it stands on, or fix it; the other one stays as it is."""
    pair, selected = _chosen(window), window.viewing.selected_marker
    if pair is None or selected is None:
        return
    which = selected[1]
    now = pair.pulses or (None, None)
    if now[which - 1] is not None:
        window.document.fix(_standing(window, pair), which)
        return
    found = _pulses_at(window, pair, (which,))
    if isinstance(found, str):
        window.viewing.tell(found)
        return
    record, (pulse,) = found
    if pulse == now[2 - which] and pair.one_channel:
        window.viewing.tell(f"{pair.name}: its other marker follows that pulse; drop this one on another.")
    else:
        _follow(window, pair, record, (pulse, now[1]) if which == 1 else (now[0], pulse))


def _chosen(window: DeskWindow) -> MarkerPair | None:
    """Return the chosen marker pair, or say that there is none."""
    selected = window.viewing.selected_marker
    pair = None if selected is None else window.document.pair(selected[0])
    if pair is None:
        window.viewing.tell(_NONE_CHOSEN)
    return pair


def _standing(window: DeskWindow, pair: MarkerPair) -> MarkerPair:
    """Return a following pair at its times in the current record; where it was put down if it is not there."""
    shown = Following(window.document, window.results).shown(pair, window.viewing.record, 0.0)
    if shown.reason:
        window.viewing.tell(f"{pair.name} is fixed where it stood in record {pair.record}: {shown.reason}.")
    return shown.pair


def _follow(window: DeskWindow, pair: MarkerPair, record: int, pulses: tuple[int | None, int | None]) -> None:
    follows = replace(pair, pulses=pulses)
    shown = Following(window.document, window.results).shown(follows, record, 0.0)
    window.document.follow(shown.pair, pulses)


def _pulses_at(window: DeskWindow, pair: MarkerPair, which: tuple[Which, ...]) -> tuple[int, list[int]] | str:
    """Return a record in which markers of a pair stand on pulses, and on which; or why there is none.

    It is the record that the first of them was put down on, or else the current one; each stands on its own channel.
    """
    findings, session = window.results.findings, window.document.session
    if findings is None or session is None:
        return "The session is not measured yet: a pair can follow pulses when they are found."
    reach = max(_REACH * window.middle.view.canvas.pixel_time, session.sample_interval)
    pulses, missing = findings.pulses, which[0]
    own = pair.places[which[0] - 1][0]
    for record in (own, window.viewing.record):
        found: list[int] = []
        for marker in which:
            there = pulses.where(record, pair.places[marker - 1][1])
            away = np.abs(pulses.time[there] - pair.time(marker))
            away[~np.isfinite(away)] = np.inf
            if not len(away) or away.min() > reach:
                missing = missing if record != own else marker
                break
            found.append(int(away.argmin()))
        if len(found) == len(which):
            return record, found
    name = session.channels[pair.places[missing - 1][1]].name
    drop = "drop both markers on pulses first" if len(which) == 2 else "drop it on a pulse first"
    return f"{pair.name}: marker {missing} stands on no found pulse of {name} in record {own}; {drop}."
