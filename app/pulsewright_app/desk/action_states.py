"""What every action says of itself: whether it is on, what it would do now, and whether it can."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pulsewright_app.desk.actions import ACTIONS
from pulsewright_app.desk.plain_letters import without_keys
from pulsewright_app.desk.spans import SPANS

if TYPE_CHECKING:
    from pulsewright_app.desk.window import DeskWindow


def allow_actions(window: DeskWindow) -> None:
    """Let the actions that need a session be used only with one; called as a session comes or goes."""
    there = window.document.session is not None
    for described in ACTIONS:
        window.actions_by_name[described.name].setEnabled(there or not described.needs_session)
    update_actions(window)


def update_actions(window: DeskWindow) -> None:
    """Let every action say what it would do now, and whether it can."""
    actions, viewing, document = window.actions_by_name, window.viewing, window.document
    there = document.session is not None
    checked = {
        **{name: viewing.view == name for name in ("single", "stacked", "afterglow", "map")},
        **{f"snap_{name}": viewing.snap == name for name in ("pulses", "samples", "nothing", "crossings")},
        **{name: not dock.isHidden() for name, dock in window.docks.items()},
        **{f"draw_{name}": viewing.spans.name == name for name in SPANS},
        "play": viewing.playing,
        "loop": viewing.loop,
        "only_matching": viewing.only_matching and viewing.matches is not None,
        "lanes": viewing.lanes,
        "dark": viewing.dark,
        "flag": viewing.record in document.flags,
    }
    pair_id, which = viewing.selected_marker or (0, 1)
    pair = document.pair(pair_id)
    checked["follow"] = pair is not None and all(end.pulse is not None for end in pair.ends)
    checked["follow_one"] = pair is not None and pair.ends[which - 1].pulse is not None
    for name, on in checked.items():
        actions[name].setChecked(on)
    actions["play"].setText("Pause" if viewing.playing else "Play")
    for name, label in (("undo", document.undo_label), ("redo", document.redo_label)):
        actions[name].setText(f"{name.capitalize()}: {without_keys(label)}" if label else name.capitalize())
        actions[name].setEnabled(bool(label))
    for name in (
        "nudge_earlier",
        "nudge_later",
        "nudge_far_earlier",
        "nudge_far_later",
        "follow",
        "follow_one",
        "suggested_n",
    ):
        actions[name].setEnabled(there and pair is not None)
    for name in ("nudge_up", "nudge_down", "nudge_far_up", "nudge_far_down", "threshold"):
        actions[name].setEnabled(there and document.level_pair(pair_id) is not None)
    for name in ("remove_pair", "pair_ahead", "pair_back", "note_pair", "snap_now"):
        actions[name].setEnabled(there and document.either_pair(pair_id) is not None)
    actions["zoom_back"].setEnabled(there and viewing.zooms.has_before)
    actions["zoom_forward"].setEnabled(there and viewing.zooms.has_after)
    actions["cancel"].setEnabled(window.results.busy or window.saving.files.writing_tables)
    for name in ("next_flag", "flag_before"):
        actions[name].setEnabled(bool(document.flags))
    actions["only_matching"].setEnabled(viewing.matches is not None)
