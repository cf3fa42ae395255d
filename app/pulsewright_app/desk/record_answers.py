"""What the actions about single records and pulses do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pulsewright_app.desk.additions import PulsePlace
from pulsewright_app.desk.going import next_of
from pulsewright_app.desk.views.found import found_pulses
from pulsewright_app.wording import count

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


def write_record(window: DeskWindow) -> None:
    """Put the keyboard into the field of the record to go to."""
    field = window.middle.rail_row.number
    field.setFocus()
    field.selectAll()


def go_against(window: DeskWindow, forward: bool = True) -> None:
    """Go to the next record that a claim fails by, or to the one before; round at the ends."""
    verdicts, viewing = window.results.verdicts, window.viewing
    against = sorted(window.results.against)
    if against:
        viewing.go_to(next_of(against, viewing.record, forward))
        return
    claims = window.document.claims_file
    if claims is None or not claims.claims:
        viewing.tell("Nothing is claimed of this session: there is no claims file beside it, or no claim in it.")
        return
    if window.results.judging_failed:
        viewing.tell("The claims could not be judged: measure again (F5), or read the claims again (Shift+F5).")
        return
    if not verdicts and not window.results.judged:
        viewing.tell("The claims are not judged yet: they are as soon as the session is measured.")
        return
    undecided = sum(verdict.verdict == "undecided" for verdict in verdicts)
    more = f"; {count(undecided, 'claim')} could not be decided" if undecided else ""
    viewing.tell(f"No record speaks against a claim{more}.")


def reject_pulse(window: DeskWindow) -> None:
    """Reject the pulse at the pointer; with the pointer elsewhere, the only one of the current record and channel."""
    place = _pulse_meant(window)
    if isinstance(place, str):
        window.viewing.tell(place)
    elif place in window.document.rejected:
        window.viewing.tell("That pulse is rejected already; the new numbers are being measured.")
    else:
        window.document.reject_pulses([place], "rejected on the desk")


def _pulse_meant(window: DeskWindow) -> PulsePlace | str:
    """Return the pulse that a person points at, or a sentence why there is none."""
    session, findings = window.document.session, window.results.findings
    view, viewing = window.middle.view, window.viewing
    if session is None or findings is None:
        return "There is no pulse to reject: nothing is measured yet."
    time, height = view.canvas.pointer_time, view.canvas.pointer_height
    pointed = None if time is None or height is None else view.spot(time, height)
    if isinstance(pointed, str):
        return pointed
    record, channel = (viewing.record, viewing.channel) if pointed is None else (pointed.record, pointed.channel)
    found, name = found_pulses(session, findings, record, (channel,)), session.channels[channel].name
    if not len(found):
        return f"There is no pulse to reject: on {name} none was found in record {record}."
    if pointed is None and len(found) > 1:
        return f"On {name} record {record} has {len(found)} pulses: point at the one to reject."
    away = np.zeros(1) if pointed is None else np.abs(found.time - pointed.time)
    nearest = int(np.argmin(away))
    if away[nearest] > view.reach(session):
        return f"No pulse of {name} in record {record} lies at the pointer: point at the one to reject."
    return record, channel, int(found.extreme[nearest])


def take_pulses_back(window: DeskWindow) -> None:
    """Let the rejected pulses of the current record take part again."""
    places = [place for place in window.document.rejected if place[0] == window.viewing.record]
    if places:
        window.document.take_pulses_back(places)
    else:
        window.viewing.tell(f"No pulse of record {window.viewing.record} is rejected.")
