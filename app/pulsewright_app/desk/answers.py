"""What every action of the desk does: one call on the state each."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from pulsewright_app.desk.claims_again import read_claims_again
from pulsewright_app.desk.following import follow_or_fix, follow_or_fix_one
from pulsewright_app.desk.going import next_of
from pulsewright_app.desk.pair_answers import (
    choose_next,
    shift_pair,
    snap_now,
    take_as_threshold,
    take_suggested_n,
    write_note,
)
from pulsewright_app.desk.record_answers import (
    flag_and_go_on,
    go_against,
    reject_pulse,
    take_pulses_back,
    write_filter,
    write_record,
)
from pulsewright_app.desk.spans import SPANS, SpanName
from pulsewright_app.desk.viewing import Snap, View
from pulsewright_app.desk.zoom_answers import zoom_to_pulse, zoom_to_span

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow

_CLOSER = 0.5
_SPREAD = 2**0.25
_PLACE_STEP = 0.1
"""Of the stretch of values that a channel takes up: how far a key moves it."""
_FAR = 10
"""Samples that a marker, and codes that a level, moves by with Shift."""

Answer = Callable[[], object]


def answers_of(window: DeskWindow) -> dict[str, Answer]:
    """Return for every action's name what it calls."""
    document, viewing, results = window.document, window.viewing, window.results
    return {
        "open": window.choose_file,
        "import": window.show_import,
        "sample": window.open_sample,
        "measure": results.ask_to_measure,
        "claims_again": lambda: read_claims_again(window),
        "claims_page": lambda: window.show_claims(),
        "cancel": window.saving.stop,
        "close": window.close_session,
        "quit": window.close,
        "undo": document.undo,
        "redo": document.redo,
        "add_pair": _about_times(window, lambda: window.middle.view.hand.add_at_pointer()),
        "add_levels": lambda: window.middle.view.level_hand.add_at_pointer(),
        "next_marker": lambda: choose_next(window, 1),
        "marker_before": lambda: choose_next(window, -1),
        "snap_now": lambda: snap_now(window),
        "threshold": lambda: take_as_threshold(window),
        "note_pair": lambda: write_note(window),
        "remove_pair": lambda: _remove_pair(window),
        "pair_series": window.show_series,
        "suggested_n": lambda: take_suggested_n(window),
        "pair_ahead": lambda: shift_pair(window, -1),
        "pair_back": lambda: shift_pair(window, 1),
        "follow": lambda: _then_tell(window, follow_or_fix),
        "follow_one": lambda: _then_tell(window, follow_or_fix_one),
        **{name: _about_times(window, _nudge(window, by)) for name, by in _NUDGES.items()},
        **{name: _nudge_level(window, by) for name, by in _LEVEL_NUDGES.items()},
        **{f"snap_{snap}": _snap(window, snap) for snap in _SNAPS},
        **{f"draw_{name}": _about_times(window, _draw_span(window, name)) for name in SPANS},
        **{f"{name}_shown": _about_times(window, _span_shown(window, name)) for name in SPANS},
        "clear_spans": lambda: _clear_spans(window),
        "flag": lambda: document.flag(viewing.record, viewing.record not in document.flags),
        "first": viewing.first,
        "back": lambda: viewing.step(-1),
        "play": lambda: viewing.play(not viewing.playing),
        "forward": lambda: viewing.step(1),
        "last": viewing.last,
        "loop": lambda: viewing.set_loop(not viewing.loop),
        "next_flag": _next_flag(window, forward=True),
        "flag_before": _next_flag(window, forward=False),
        "go_to": lambda: write_record(window),
        "flag_on": lambda: flag_and_go_on(window),
        "reject_pulse": lambda: reject_pulse(window),
        "take_pulses_back": lambda: take_pulses_back(window),
        "next_against": lambda: go_against(window),
        "against_before": lambda: go_against(window, forward=False),
        "filter": lambda: write_filter(window),
        "only_matching": lambda: viewing.set_only_matching(not viewing.only_matching),
        **{view: _show(window, view) for view in _VIEWS},
        "lanes": lambda: viewing.set_lanes(not viewing.lanes),
        "next_channel": lambda: viewing.set_channel(viewing.channel + 1),
        "previous_channel": lambda: viewing.set_channel(viewing.channel - 1),
        "only_channel": lambda: window.channels_panel.show_only(),
        "only_module": lambda: window.channels_panel.show_only_module(),
        "all_channels": viewing.show_all,
        "cable_delay": lambda: _edit_delay(window),
        "drawn_larger": lambda: viewing.trims.step_scale(viewing.channel, up=True),
        "drawn_smaller": lambda: viewing.trims.step_scale(viewing.channel, up=False),
        "drawn_higher": lambda: _draw_higher(window, _PLACE_STEP),
        "drawn_lower": lambda: _draw_higher(window, -_PLACE_STEP),
        "as_recorded": lambda: viewing.trims.reset(viewing.channel),
        "rows_apart": lambda: viewing.set_spacing(viewing.spacing * _SPREAD),
        "rows_together": lambda: viewing.set_spacing(viewing.spacing / _SPREAD),
        "reference_here": viewing.reference.take_current,
        "reference_mean": viewing.reference.take_mean,
        "no_reference": viewing.reference.leave,
        "difference": viewing.reference.next_difference,
        "closer": lambda: window.middle.view.zoom_time_by(_CLOSER),
        "farther": lambda: window.middle.view.zoom_time_by(1 / _CLOSER),
        "fit": viewing.fit,
        "zoom_back": viewing.zoom_back,
        "zoom_forward": viewing.zoom_forward,
        "zoom_pulse": lambda: zoom_to_pulse(window),
        **{f"zoom_{name}": _about_times(window, partial(zoom_to_span, window, name)) for name in SPANS},
        **{name: _toggle_panel(window, name) for name in _PANELS},
        "figure": window.open_figure,
        "dark": lambda: window.manners.choose_dark(not viewing.dark),
        "another": window.open_another_window,
        "preferences": lambda: window.manners.show_preferences(),
        "usual_layout": lambda: window.manners.usual_layout(),
        "guide": window.show_guide,
        "cautions": window.show_cautions,
        "about": window.show_about,
        "save_sheet": lambda: window.saving.show_sheet_page(),
        "add_view": lambda: window.saving.add_view(),
        "sheet_views": lambda: window.saving.show_views_page(),
        "save_picture": lambda: window.saving.show_picture_page(),
        "copy_picture": lambda: window.saving.copy_picture(),
        "save_numbers": lambda: window.saving.save_numbers(),
        "save_records": lambda: _save_records(window),
        "shortcuts": window.show_shortcuts,
    }


_NUDGES = {"nudge_earlier": -1, "nudge_later": 1, "nudge_far_earlier": -_FAR, "nudge_far_later": _FAR}
_LEVEL_NUDGES = {"nudge_up": 1, "nudge_down": -1, "nudge_far_up": _FAR, "nudge_far_down": -_FAR}
_SNAPS: tuple[Snap, ...] = ("pulses", "samples", "nothing", "crossings")
_VIEWS: tuple[View, ...] = ("single", "stacked", "afterglow", "map")
_PANELS = ("channels_panel", "records_panel", "markers_panel", "findings_panel")


def _about_times(window: DeskWindow, answer: Answer) -> Answer:
    """Return an answer that says why where the view that is shown has no place for markers and spans."""

    def answer_or_refuse() -> None:
        refused = window.middle.view.time_refused
        if refused:
            window.viewing.tell(refused)
            window.update_actions()  # the button or the menu may have ticked itself
        else:
            answer()

    return answer_or_refuse


def _save_records(window: DeskWindow) -> None:
    window.docks["records_panel"].show()
    window.records_panel.save()


def _edit_delay(window: DeskWindow) -> None:
    window.docks["channels_panel"].show()
    window.channels_panel.edit_delay()


def _draw_higher(window: DeskWindow, share: float) -> None:
    trims, channel = window.viewing.trims, window.viewing.channel
    low, high = window.data.value_range((channel,))
    trims.place(channel, float(f"{trims.of(channel).place + share * (high - low):.3g}"))


def _nudge(window: DeskWindow, by: int) -> Answer:
    return lambda: window.middle.view.hand.nudge(by)


def _nudge_level(window: DeskWindow, by: int) -> Answer:
    return lambda: window.middle.view.level_hand.nudge(by)


def _snap(window: DeskWindow, snap: Snap) -> Answer:
    def answer() -> None:
        window.viewing.set_snap(snap)
        window.update_actions()

    return answer


def _show(window: DeskWindow, view: View) -> Answer:
    def answer() -> None:
        window.viewing.set_view(view)
        window.update_actions()  # a second press of the same switch must not let it go

    return answer


def _toggle_panel(window: DeskWindow, name: str) -> Answer:
    return lambda: window.docks[name].setVisible(window.docks[name].isHidden())


def _remove_pair(window: DeskWindow) -> None:
    selected = window.viewing.selected_marker
    if selected is not None:
        window.document.remove_pair(selected[0])


def _then_tell(window: DeskWindow, answer: Callable[[DeskWindow], None]) -> None:
    answer(window)
    window.update_actions()  # it may have been refused, though the button ticked itself


def _next_flag(window: DeskWindow, forward: bool) -> Answer:
    """Return what goes to the next flagged record, or the one before; round at the ends."""

    def answer() -> None:
        flags = sorted(window.document.flags)
        if flags:
            window.viewing.go_to(next_of(flags, window.viewing.record, forward))

    return answer


def _draw_span(window: DeskWindow, name: SpanName) -> Answer:
    spans = window.viewing.spans

    def answer() -> None:
        refused = spans.refused(name)
        spans.draw(None if refused or spans.name == name else name)
        window.update_actions()
        if refused:
            window.viewing.tell(refused)

    return answer


def _span_shown(window: DeskWindow, name: SpanName) -> Answer:
    def answer() -> None:
        (low, high), _ = window.middle.view.canvas.windows()
        refused = window.viewing.spans.set(name, low, high)
        if refused:
            window.viewing.tell(refused)

    return answer


def _clear_spans(window: DeskWindow) -> None:
    for name in SPANS:
        refused = window.viewing.spans.clear(name)
        if refused:
            window.viewing.tell(refused)
