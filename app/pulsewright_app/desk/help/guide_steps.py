"""The steps of the five-minute guide: what to look at, which keys do it, and what does it for those who only watch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pulsewright_analysis.markers import u_on_sample

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow


_TEST_PULSE = 15e-6
"""Where the sample has its test pulse, seconds from the trigger."""


@dataclass(frozen=True)
class Step:
    """One step of the guide.

    Attributes
    ----------
    title, text : str
    show : callable
        Does the step on a desk.
    """

    title: str
    text: str
    show: Callable[[DeskWindow], object]


def _sample(desk: DeskWindow) -> None:
    desk.open_sample()


def _step(desk: DeskWindow) -> None:
    desk.viewing.set_view("single")
    desk.viewing.go_to(9)


def _overlay(desk: DeskWindow) -> None:
    desk.viewing.set_view("afterglow")
    desk.viewing.set_inks("polarity")


def _map(desk: DeskWindow) -> None:
    desk.viewing.set_view("map")


def _late_channel(desk: DeskWindow) -> None:
    desk.viewing.set_view("single")
    desk.viewing.set_lanes(True)
    desk.viewing.zoom_time((5e-6, 25e-6))
    _verdicts(desk)
    desk.findings_panel.show_figure("skew")


def _markers(desk: DeskWindow) -> None:
    findings, session = desk.results.findings, desk.document.session
    desk.viewing.set_view("single")
    desk.viewing.fit()
    if findings is None or session is None:
        desk.viewing.tell("The session is not measured yet; in a moment the markers can be put on its pulses.")
        return
    record, channel = desk.viewing.record, desk.viewing.channel
    found = [i for i in findings.pulses.where(record, channel) if findings.pulses.time_u[i] > 0]
    if not found:
        desk.viewing.tell(f"Record {record} has no pulse with a position here: step to another one.")
        return
    pulses, i = findings.pulses, found[-1]
    start = float(session.first_sample_times(record)[channel])
    sample = round((_TEST_PULSE - start) * session.sample_rate)
    first, u = start + sample * session.sample_interval, u_on_sample(session.sample_interval)
    desk.document.add_pair(first, float(pulses.time[i]), u, float(pulses.time_u[i]), record, channel)


def _verdicts(desk: DeskWindow) -> None:
    desk.docks["findings_panel"].show()
    desk.docks["findings_panel"].raise_()


def _claims(desk: DeskWindow) -> None:
    desk.show_claims()


def _view_for_sheet(desk: DeskWindow) -> None:
    desk.viewing.set_view("afterglow")
    desk.saving.add_view()


def _sheet(desk: DeskWindow) -> None:
    desk.saving.show_sheet_page()


STEPS: tuple[Step, ...] = (
    Step(
        "Open the sample",
        "Ctrl+T opens a session with faults in it. A pinger in an inspection tank sends a pulse whose sign turns at "
        "each ping; twelve hydrophones on three modules hear it, and its echo from a plate that a carriage moves.",
        _sample,
    ),
    Step(
        "Step through the records",
        "Page Down and Page Up step, Space plays, and a drag along the rail below the view goes anywhere. The rail has "
        "a gap after record 8: a ping was missed there, and the echo has moved two stops at once.",
        _step,
    ),
    Step(
        "See all records at once",
        "Alt+3 lays them over each other. With two inks, positive and negative pings are told apart: the test pulse "
        "stays where it is, the echo takes twelve places. A click lists the records that pass there.",
        _overlay,
    ),
    Step(
        "See them as a map",
        "Alt+4 shows every record as a row. The echo walks to the right, and a missed ping is an open row.",
        _map,
    ),
    Step(
        "Find the late channel",
        "Alt+1, then drag across the test pulse to zoom. In the lanes, H10 points the other way. H07 comes later by a "
        "small part of a sample, which no eye sees there: the figure Skew, below the findings, shows it. Backspace "
        "zooms back, W shows everything.",
        _late_channel,
    ),
    Step(
        "Measure a spacing",
        "Double-click puts a marker pair down, or M at the pointer. Drag its lines: dropped near a pulse they go to "
        "it. The Markers panel shows the difference with its U, and the drawing shows it as a dimension line. With "
        "Shift held, a double-click puts down two levels instead.",
        _markers,
    ),
    Step(
        "Read the verdicts",
        "The Findings panel begins with what each claim came to: ● holds, ▲ fails, ◇ is undecided. Open one with the "
        "right arrow key to see its numbers and its uncertainty budget; choose it to see its evidence.",
        _verdicts,
    ),
    Step(
        "Change a claim",
        "Ctrl+K opens the claims. Write another limit, and the verdict follows. Ctrl+Z takes it back.",
        _claims,
    ),
    Step(
        "Keep a view for the sheet",
        "V keeps what you look at for the evidence sheet, with a caption of yours.",
        _view_for_sheet,
    ),
    Step(
        "Hand over the sheet",
        "Ctrl+E saves the evidence sheet as PDF or HTML: claims, numbers, budgets, figures, settings, and a place to "
        "sign.",
        _sheet,
    ),
)
