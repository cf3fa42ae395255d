"""What the actions do to the chosen marker pair: its place in the report, its number of intervals."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pulsewright_analysis.marker_series import intervals_between
from pulsewright_app.desk.following import Following

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow


def shift_pair(window: DeskWindow, by: int) -> None:
    """Move the chosen pair ahead or back in the order of the report."""
    selected = window.viewing.selected_marker
    if selected is not None:
        window.document.shift_pair(selected[0], by)


def take_suggested_n(window: DeskWindow) -> None:
    """Set N of the chosen pair by the pulses found between its markers, or say why nothing is suggested."""
    document, viewing, findings = window.document, window.viewing, window.results.findings
    pair = None if viewing.selected_marker is None else document.pair(viewing.selected_marker[0])
    if pair is None:
        return
    if findings is None:
        viewing.tell("The session is not measured yet: N can be suggested when its pulses are found.")
        return
    shown = Following(document, window.results).shown(pair, viewing.record, 0.0)
    here = shown.pair
    times, reach = sorted((here.t1, here.t2)), 6 * window.middle.view.canvas.pixel_time
    intervals = intervals_between(findings, here.record, here.channel, times[0] - reach, times[1] + reach)
    if intervals is None or shown.reason:
        name = findings.session.channels[here.channel][0]
        why = shown.reason or f"fewer than two pulses of {name} lie between its markers in record {here.record}"
        viewing.tell(f"No N is suggested for {pair.name}: {why}.")
        return
    document.set_intervals(pair.id, intervals)
