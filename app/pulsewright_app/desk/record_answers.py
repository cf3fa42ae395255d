"""What the actions about single records and pulses do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow


def write_filter(window: DeskWindow) -> None:
    """Put the keyboard into the line of the filter."""
    line = window.middle.rail_row.filter_row.line
    line.setFocus()
    line.selectAll()


def flag_and_go_on(window: DeskWindow) -> None:
    """Flag the current record and go to the next."""
    window.document.flag(window.viewing.record)
    window.viewing.step()


def next_against(window: DeskWindow) -> None:
    """Go to the next record that a verdict which does not hold names; after the last one, to the first."""
    against = sorted({r for verdict in window.results.verdicts if verdict.verdict != "holds" for r in verdict.records})
    if not against:
        window.viewing.tell("No record speaks against a claim.")
        return
    window.viewing.go_to(next((r for r in against if r > window.viewing.record), against[0]))


def reject_pulse(window: DeskWindow) -> None:
    """Reject the pulse of the current record and channel that is nearest to the pointer, or its first one."""
    findings, viewing = window.results.findings, window.viewing
    found = np.zeros(0, dtype=np.int64) if findings is None else findings.pulses.where(viewing.record, viewing.channel)
    if findings is None or not len(found):
        viewing.tell("There is no pulse here to reject: on the current channel none was found in this record.")
        return
    session, pointed = window.document.session, window.middle.view.canvas.pointer_time
    samples = findings.pulses.extreme_sample[found]
    nearest = 0
    if pointed is not None and session is not None:
        times = session.first_sample_time(viewing.channel)[viewing.record] + samples * session.sample_interval
        nearest = int(np.argmin(np.abs(times - pointed)))
    place = (viewing.record, viewing.channel, int(samples[nearest]))
    if place in window.document.rejected:
        viewing.tell("That pulse is rejected already; the new numbers are being measured.")
        return
    window.document.reject_pulses([place], "rejected on the desk")


def take_pulses_back(window: DeskWindow) -> None:
    """Let the rejected pulses of the current record take part again."""
    places = [place for place in window.document.rejected if place[0] == window.viewing.record]
    if places:
        window.document.take_pulses_back(places)
    else:
        window.viewing.tell(f"No pulse of record {window.viewing.record} is rejected.")
