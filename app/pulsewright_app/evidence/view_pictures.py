"""Draws the views again that a person added to the sheet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from pulsewright.errors import PulsewrightError
from pulsewright.review import Review, SheetView
from pulsewright.session import Floats, Session
from pulsewright_analysis.findings import Watch
from pulsewright_analysis.mean_trace import mean_over
from pulsewright_analysis.record_filter import filter_records
from pulsewright_analysis.record_table import record_table
from pulsewright_analysis.results import Findings, Ints
from pulsewright_app.evidence.accumulating import UNWATCHED, Window, glow_of, rows_of, value_window, whole_window
from pulsewright_app.evidence.captions import (
    PAIR_MM,
    glow_caption,
    glow_height,
    map_caption,
    map_height,
    stacked_caption,
)
from pulsewright_app.evidence.dimensions import Dimensions, dimensions_of
from pulsewright_app.evidence.drawing import drawn, short
from pulsewright_app.evidence.session_pictures import draw_glow, draw_map, draw_single, draw_stacked
from pulsewright_app.evidence.sheet import Picture
from pulsewright_app.glow_alignment import alignment_of
from pulsewright_app.stacked_run import run_around
from pulsewright_app.wording import count, with_full_stop

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_LANE_MM = 12.0
_MOST_LANES = 16
"""More lanes than this do not fit a page."""


@dataclass(frozen=True)
class _Asked:
    """A view with what it needs: the session, the findings, the place of its channel, the records that match."""

    view: SheetView
    session: Session
    findings: Findings
    channel: int
    records: Ints
    shown: Dimensions
    watch: Watch

    @property
    def name(self) -> str:
        """The channel's name, short enough for a caption."""
        return short(self.view.channel, 40)

    @property
    def unit(self) -> str:
        """The unit of the channel's values."""
        return self.session.channels[self.channel].unit

    @property
    def window(self) -> Window:
        """The stretch of time that is shown."""
        return self.view.time or whole_window(self.session, self.channel)

    @property
    def matching(self) -> str:
        """The filter in words; empty where there is none."""
        return f" Filter: {self.view.filter}." if self.view.filter.strip() else ""


@dataclass(frozen=True)
class ViewDrawing:
    """A view, ready to be drawn at any size.

    Attributes
    ----------
    height_mm : float
        The height that suits it at the width of the sheet's text.
    draw : callable
        Draws it into an empty figure.
    caption, description : str
        What is shown, for the reader and for whoever cannot see it.
    """

    height_mm: float
    draw: Callable[[Figure], None]
    caption: str
    description: str


def view_picture(
    view: SheetView, session: Session, findings: Findings, review: Review, number: int, watch: Watch = UNWATCHED
) -> Picture:
    """Return a view as a figure, or its caption alone with the reason why it cannot be drawn."""
    try:
        made = drawing_of(view, session, findings, review, watch)
    except PulsewrightError as error:
        text = " ".join(f"{with_full_stop(view.caption)} This view cannot be drawn: {error.sentence}".split())
        return Picture(number, "", text, "")
    return Picture(number, drawn(number, made.height_mm, made.draw), made.caption, made.description)


def drawing_of(
    view: SheetView, session: Session, findings: Findings, review: Review, watch: Watch = UNWATCHED
) -> ViewDrawing:
    """Return a view with everything read that it shows.

    Raises
    ------
    PulsewrightError
        If the session has no such channel or record, no record matches the filter, or it cannot be aligned so.
    Cancelled
        If it was called off.
    """
    channel = session.channel_index(view.channel)
    if view.record >= session.records:
        raise PulsewrightError(f"the session has no record {view.record}")
    records = filter_records(record_table(session, findings, channel, review), view.filter)
    asked = _Asked(view, session, findings, channel, records, _shown(view, session, findings, review), watch)
    if len(records) == 0 and view.view != "single":
        raise PulsewrightError("no record matches its filter")
    makers = {"single": _single, "stacked": _stacked, "afterglow": _afterglow, "map": _map}
    made = makers[view.view](asked)
    return replace(made, caption=" ".join(f"{with_full_stop(view.caption)} {made.caption}".split()))


def _shown(view: SheetView, session: Session, findings: Findings, review: Review) -> Dimensions:
    """Return the marker pairs and level pairs as they stand in the record of a view."""
    if not view.markers:
        return Dimensions()
    units = {channel.name: channel.unit for channel in session.channels}
    found = dimensions_of(review, findings, units, (view.channel,), view.record)
    if view.view == "single" and view.lanes:  # the other lanes have levels of their own
        lanes = dimensions_of(review, findings, units, view.visible or tuple(units), view.record)
        found = replace(found, levels=lanes.levels)
    timeless = view.view == "afterglow" and view.aligned_by != "trigger"  # a marker is a time from the trigger
    return Dimensions((), found.levels) if timeless else found


def _single(asked: _Asked) -> ViewDrawing:
    view, session = asked.view, asked.session
    names = view.visible or tuple(channel.name for channel in session.channels)
    channels = [session.channel_index(name) for name in names][:_MOST_LANES]
    beneath = _beneath(asked, channels)
    under = "" if view.reference is None else " Beneath, pale: the mean of all measured records."
    if isinstance(view.reference, int):
        under = f" Beneath, pale: record {view.reference}."
    height = 30 + (_LANE_MM * len(channels) if view.lanes else 45) + PAIR_MM * len(asked.shown.pairs)

    def draw(figure: Figure) -> None:
        draw_single(
            figure, session, view.record, channels, view.time, asked.shown, lanes=view.lanes, values=view.value,
            beneath=beneath,
        )  # fmt: skip

    shown = "each channel in a lane of its own" if view.lanes and len(channels) > 1 else count(len(channels), "channel")
    rest = len(names) - len(channels)
    more = f" {count(rest, 'more channel')} not drawn." if rest else ""
    caption = f"Record {view.record}, {shown}.{under}{more}{asked.shown.sentence}"
    return ViewDrawing(height, draw, caption, f"the traces of record {view.record}")


def _beneath(asked: _Asked, channels: Sequence[int]) -> list[tuple[Floats, Floats]]:
    """Return what lies beneath each channel's trace: times and values."""
    session, reference = asked.session, asked.view.reference
    if isinstance(reference, int):
        if reference >= session.records:
            raise PulsewrightError(f"the session has no record {reference} to lie beneath")
        values = session.values(reference, reference + 1, channels)[0]
        return [(session.times(reference, channel), values[i]) for i, channel in enumerate(channels)]
    return [] if reference is None else [_mean(asked, channel) for channel in channels]


def _mean(asked: _Asked, channel: int) -> tuple[Floats, Floats]:
    session, records = asked.session, asked.findings.records
    starts, interval = session.first_sample_time(channel), session.sample_interval
    sums = mean_over(starts[records], interval, session.record_length)
    for first, block in session.blocks():
        asked.watch.check()
        here = records[(records >= first) & (records < first + len(block))]
        sums.add(block[here - first, channel, :], starts[here])
    about = session.channels[channel]
    mean = sums.mean(about.scale, about.offset)
    times: Floats = mean.first_time + interval * np.arange(len(mean.value), dtype=np.float64)
    return times, mean.value


def _stacked(asked: _Asked) -> ViewDrawing:
    """Return the run of records around the current one, of those that match."""
    view, records = asked.view, asked.records
    run = run_around(view.record, view.neighbours, records).tolist()

    def draw(figure: Figure) -> None:
        draw_stacked(figure, asked.session, run, view.record, asked.channel, view.time, view.spacing)

    caption = stacked_caption(run, asked.name, view.record) + asked.matching
    return ViewDrawing(40 + 4.5 * min(len(run), 20), draw, caption, f"{count(len(run), 'trace')} above each other")


def _afterglow(asked: _Asked) -> ViewDrawing:
    view, session = asked.view, asked.session
    alignment = alignment_of(session, asked.findings, asked.channel, view.aligned_by)
    if isinstance(alignment, str):
        raise PulsewrightError(alignment)
    values = view.value or value_window(session, asked.channel, asked.records, asked.watch)
    signs = asked.findings.polarity.sign[:, asked.channel] if view.inks == "polarity" else None
    glow = glow_of(
        session, asked.channel, asked.records, asked.window, values, signs=signs, alignment=alignment, watch=asked.watch
    )
    about, shown = alignment.about, asked.shown

    def draw(figure: Figure) -> None:
        draw_glow(figure, glow, asked.unit, shown, channel=view.channel, logarithmic=view.logarithmic, about=about)

    caption = glow_caption(glow, asked.name, about, logarithmic=view.logarithmic, shown=shown) + asked.matching
    return ViewDrawing(glow_height(shown), draw, caption, f"the traces of {asked.name} laid over each other")


def _map(asked: _Asked) -> ViewDrawing:
    rows = rows_of(asked.session, asked.channel, asked.records, asked.window, asked.watch)

    def draw(figure: Figure) -> None:
        draw_map(figure.subplots(), rows, asked.unit, asked.findings)

    caption = map_caption(rows, asked.name, len(asked.records), asked.findings) + asked.matching
    return ViewDrawing(map_height(rows), draw, caption, f"{count(len(rows.numbers), 'record')} as rows of one image")
