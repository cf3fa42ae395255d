"""What the actions do to the chosen pair: its place in the report, its number of intervals, its note, its level."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pulsewright.errors import PulsewrightError
from pulsewright.quantity import engineering
from pulsewright_app.desk.additions import Which
from pulsewright_app.desk.suggesting import suggested_n

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

_DIGITS = 5
_LEAST_OF_NOISE = 6.0
"""No threshold lies nearer to the base than so many times the noise."""


def shift_pair(window: DeskWindow, by: int) -> None:
    """Move the chosen pair left (−1) or right (1) in the panel, which is up or down in the sheet."""
    selected = window.viewing.selected_marker
    if selected is not None:
        window.document.shift_pair(selected[0], by)


def choose_next(window: DeskWindow, by: int) -> None:
    """Choose the next marker or level of all pairs, or the one before (−1); round at the ends."""
    document, viewing = window.document, window.viewing
    numbers = [pair.id for pair in document.pairs] + [pair.id for pair in document.levels]
    choices: tuple[Which, Which] = (1, 2)
    order = [(number, which) for number in numbers for which in choices]
    if not order:
        viewing.tell("There is no marker yet: M puts a pair down, H a pair of levels.")
        return
    selected = viewing.selected_marker
    place = order.index(selected) + by if selected in order else (0 if by > 0 else -1)
    viewing.select_marker(*order[place % len(order)])


def snap_now(window: DeskWindow) -> None:
    """Let the chosen marker or level go to what is nearest of what dropped ones go to."""
    view, selected = window.middle.view, window.viewing.selected_marker
    if selected is not None and window.document.level_pair(selected[0]) is not None:
        view.level_hand.snap_now()
    elif view.time_refused:
        window.viewing.tell(view.time_refused)
    else:
        view.hand.snap_now()


def write_note(window: DeskWindow) -> None:
    """Show the panel of the markers, and let the note of the chosen pair be written there."""
    window.docks["markers_panel"].show()
    window.docks["markers_panel"].raise_()
    window.markers_panel.write_note()


def take_suggested_n(window: DeskWindow) -> None:
    """Set N of the chosen pair by the pulses found between its markers, or say why nothing is suggested."""
    document, viewing = window.document, window.viewing
    pair = None if viewing.selected_marker is None else document.pair(viewing.selected_marker[0])
    if pair is None:
        return
    suggested = suggested_n(document, window.results, pair, viewing.record)
    if isinstance(suggested, str):
        viewing.tell(suggested)
    else:
        document.set_intervals(pair.id, suggested)


def take_as_threshold(window: DeskWindow) -> None:
    """Measure with the chosen level as the threshold of pulses, or say why that cannot be."""
    document, viewing, findings = window.document, window.viewing, window.results.findings
    selected, session = viewing.selected_marker, document.session
    pair = None if selected is None else document.level_pair(selected[0])
    if pair is None or selected is None or session is None:
        return
    about = session.channels[pair.channel]
    refused = _refused(window, pair.channel)
    if refused or findings is None:
        viewing.tell(
            refused or "The session is not measured yet: a threshold counts from the base, which is not known."
        )
        return
    place = findings.channels.index(pair.channel)
    base, noise = float(findings.levels.offset[place]), float(findings.levels.noise[place])
    threshold = abs(pair.level(selected[1]).value - base)
    try:
        document.set_setting("threshold", engineering(threshold, "V", _DIGITS))
    except PulsewrightError as error:
        viewing.tell(error.sentence)
        return
    told = f"The threshold is {engineering(threshold, 'V', _DIGITS)} from the base now, on every channel."
    if threshold < _LEAST_OF_NOISE * noise:
        least = engineering(_LEAST_OF_NOISE * noise, "V", 3)
        told += f" {about.name} goes on being measured at six times its noise, {least}: none lies lower."
    viewing.tell(told)


def _refused(window: DeskWindow, channel: int) -> str:
    """Return why the levels of a channel cannot be made the threshold; empty where they can."""
    document, findings, session = window.document, window.results.findings, window.document.session
    if session is None:
        return ""
    about = session.channels[channel]
    if about.unit != "V":
        return f"The threshold is given in volts, and {about.name} is in {about.unit}."
    if findings is not None and channel not in findings.channels:
        return f"{about.name} was not measured, so its base is not known, from which a threshold counts."
    try:
        if document.plain_settings().origin("threshold") == "option":
            return "The desk cannot change the threshold: it was given as --threshold, which counts first."
    except PulsewrightError as error:
        return error.sentence
    return ""
