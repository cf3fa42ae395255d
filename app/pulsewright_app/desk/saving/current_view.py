"""What is looked at now, in the form in which a review keeps a view for the evidence sheet. No widgets."""

from __future__ import annotations

from typing import Literal

from pulsewright.errors import FilterError
from pulsewright.review import SheetView
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.filtering import Filtering
from pulsewright_app.desk.trims import AS_RECORDED
from pulsewright_app.desk.viewing import Viewing
from pulsewright_app.wording import listed


def current_view(document: Document, viewing: Viewing) -> SheetView | str:
    """Return the view as it could be drawn again, or a sentence why it cannot."""
    session = document.session
    if session is None:
        return "There is no session on the desk: open one first."
    glow = viewing.glow
    if viewing.view == "afterglow" and glow.of == "stepped":
        return (
            "Nobody could draw the records that you stepped through again: "
            "let Afterglow show all records, or those that match."
        )
    visible = viewing.visible_channels
    everything = len(visible) == len(session.channels)
    return SheetView(
        view=viewing.view,
        record=viewing.record,
        channel=session.channels[viewing.channel].name,
        time=viewing.time_window,
        value=viewing.value_window,
        visible=() if everything else tuple(session.channels[c].name for c in visible),
        lanes=viewing.lanes,
        neighbours=viewing.neighbours,
        spacing=viewing.spacing,
        inks=viewing.inks,
        logarithmic=viewing.logarithmic,
        filter=_filter(viewing),
        aligned_by=glow.aligned_by,
        reference=_reference(viewing),
        markers=bool(document.pairs or document.levels),
    )


def left_away(viewing: Viewing) -> str:
    """Return what of the view on the screen the sheet does not draw, in words; empty where it draws all of it."""
    glow, reference = viewing.glow, viewing.reference
    in_glow, in_single = viewing.view == "afterglow", viewing.view == "single"
    trimmed = any(viewing.trims.of(channel) != AS_RECORDED for channel in viewing.visible_channels)
    told = {
        "the fade": in_glow and glow.half_life is not None,
        "the mean": in_glow and glow.mean,
        "the current record": in_glow and glow.current,
        "the difference": in_single and reference.of != "none" and reference.difference != "off",
        "what is drawn larger or higher than recorded": in_single and trimmed,
    }
    return listed([what for what, so in told.items() if so])


def _reference(viewing: Viewing) -> int | Literal["mean"] | None:
    """Return what lies beneath the record in Single."""
    chosen = viewing.reference
    if viewing.view != "single" or chosen.of == "none":
        return None
    return "mean" if chosen.of == "mean" else chosen.record


def _filter(viewing: Viewing) -> str:
    """Return the filter that the records which are shown match; empty where all are shown."""
    if viewing.matches is None:
        return ""
    matching = viewing.glow.of == "matching" if viewing.view == "afterglow" else viewing.only_matching
    return viewing.filter_text if matching and viewing.view != "map" else ""


def go_to_view(document: Document, viewing: Viewing, filtering: Filtering, view: SheetView) -> str:
    """Look at a view that was added to the sheet; return a sentence where the session lacks what it shows.

    The records that are shown are those that the sheet draws: the filter of the view is taken again, and where the view
    has none, all records are shown, whatever the filter of the moment.
    """
    session = document.session
    names = [] if session is None else [channel.name for channel in session.channels]
    if session is None or view.channel not in names or view.record >= session.records:
        return f"The session has no record {view.record} on {view.channel}."
    viewing.set_view(view.view)
    viewing.go_to(view.record)
    channel = names.index(view.channel)
    if view.visible:
        viewing.show_only_these([*(place for place, name in enumerate(names) if name in view.visible), channel])
    else:
        viewing.show_all()
    viewing.set_channel(channel)
    viewing.set_lanes(view.lanes)
    viewing.set_neighbours(view.neighbours)
    viewing.set_spacing(view.spacing)
    viewing.set_inks(view.inks)
    viewing.set_logarithmic(view.logarithmic)
    viewing.glow.set_aligned_by(view.aligned_by)
    if view.reference is None:
        viewing.reference.leave()
    elif view.reference == "mean":
        viewing.reference.take_mean()
    else:
        viewing.reference.take_record(view.reference)
    refused = _show_its_records(viewing, filtering, view)
    viewing.zoom(view.time, view.value)
    return refused


def _show_its_records(viewing: Viewing, filtering: Filtering, view: SheetView) -> str:
    """Let in the records that the view shows; return a sentence where its filter cannot be understood any more."""
    viewing.walk_through(None)
    refused = ""
    if view.filter:
        try:
            filtering.apply(view.filter)
        except FilterError as error:
            refused = f"All records are shown, because the filter of this view means nothing now: {error.sentence}"
    matching = bool(view.filter) and not refused
    if view.view == "afterglow":
        viewing.glow.set_of("matching" if matching else "all")
    elif view.view != "map":
        viewing.set_only_matching(matching)
    return refused
