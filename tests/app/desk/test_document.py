"""What a person adds: every gesture can be undone and brought back."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

import pytest

from pulsewright.errors import SettingError

pytest.importorskip("PySide6.QtCore", exc_type=ImportError, reason="Qt's core library is missing")

from pulsewright.review import SheetView
from pulsewright_app.desk.additions import PlacedLevel
from pulsewright_app.desk.document import Document

GESTURES: dict[str, Callable[[Document], object]] = {
    "add": lambda d: d.add_pair(1e-6, 5e-6, 1e-9, 1e-9, 0, 0),
    "move": lambda d: d.move_marker(1, 2, 9e-6, 2e-9),
    "intervals": lambda d: d.set_intervals(1, 9),
    "rename": lambda d: d.rename_pair(1, "echo"),
    "remove": lambda d: d.remove_pair(1),
    "flag": lambda d: d.flag(4),
    "note": lambda d: d.note(4, "late"),
    "leave out": lambda d: d.leave_out(5, "carriage stuck"),
    "setting": lambda d: d.set_setting("span", "10 us .. 60 us"),
    "delay": lambda d: d.set_setting("delays", {"H01": "5 ns"}),
    "note on a pair": lambda d: d.note_pair(1, "of the wall"),
    "follow": lambda d: d.follow(d.pairs[0], (0, 1)),
    "order": lambda d: d.shift_pair(1, 1),
    "levels": lambda d: d.add_level_pair(PlacedLevel(0.1, 1e-3), PlacedLevel(0.2, 1e-3), 0, 0),
    "move a level": lambda d: d.move_level(d.levels[0].id, 1, PlacedLevel(0.35, 1e-3)),
    "flag many": lambda d: d.flag_many([1, 2]),
    "note many": lambda d: d.note_many([1, 2], "late"),
    "leave out many": lambda d: d.leave_out_many([1, 2], "carriage stuck"),
    "reject": lambda d: d.reject_pulses([(4, 0, 30)], "an echo"),
    "take back": lambda d: d.take_pulses_back([(9, 0, 30)]),
    "claims": lambda d: d.set_claims_text('[settings]\nre_arm = "3 us"\n', "Set the re-arm time"),
    "view on the sheet": lambda d: d.set_sheet_views((SheetView("map", 0, "H01", "all"),), "Add a view"),
    "title of the sheet": lambda d: d.set_sheet_title("Acceptance"),
}


@pytest.mark.parametrize("gesture", GESTURES)
def test_every_gesture_is_undone_and_redone(gesture: str) -> None:
    document = Document()
    document.add_pair(0.0, 540e-6, 1e-8, 1e-8, 0, 0)
    document.add_pair(0.0, 60e-6, 1e-8, 1e-8, 0, 0)
    document.add_level_pair(PlacedLevel(0.3, 1e-3), PlacedLevel(0.4, 1e-3), 0, 0)
    document.reject_pulses([(9, 0, 30)], "an echo")
    before = document.additions
    GESTURES[gesture](document)
    after = document.additions
    assert after != before
    document.undo()
    assert document.additions == before
    document.redo()
    assert document.additions == after


def test_a_drag_is_one_step() -> None:
    document = Document()
    pair = document.add_pair(0.0, 1e-6, 1e-9, 1e-9, 0, 0)
    for time in (2e-6, 3e-6, 4e-6):
        document.move_marker(pair.id, 2, time, 1e-9, merge=True)
    document.end_gesture()
    document.move_marker(pair.id, 2, 5e-6, 1e-9, merge=True)
    document.undo()
    assert document.pairs[0].t2 == 4e-6
    document.undo()
    assert document.pairs[0].t2 == 1e-6


def test_many_rejected_pulses_are_taken_back_without_comparing_each_with_all() -> None:
    compared = 0

    class Place(tuple[int, int, int]):
        def __eq__(self, other: object) -> bool:
            nonlocal compared
            compared += 1
            return super().__eq__(other)

        __hash__ = tuple.__hash__

    places = [Place((record, 0, 30)) for record in range(500)]
    document = Document()
    document.reject_pulses(places, "an echo")
    kept = Place((500, 0, 30))
    document.reject_pulses([kept], "an echo")
    compared = 0
    document.take_pulses_back([Place(place) for place in places])
    assert list(document.rejected) == [kept]
    assert compared <= 10 * len(places)


def test_something_new_forgets_what_was_undone() -> None:
    document = Document()
    document.flag(1)
    document.undo()
    document.flag(2)
    document.redo()
    assert document.flags == {2}


def test_what_changes_nothing_is_no_step() -> None:
    document = Document()
    document.flag(3)
    document.flag(3)
    document.undo()
    assert document.undo_label == ""


def test_a_wrong_setting_changes_nothing_and_says_why() -> None:
    document = Document()
    with pytest.raises(SettingError, match="span"):
        document.set_setting("span", "60 us .. 10 us")
    assert document.settings == {}


def test_option_counts_before_review_before_claims() -> None:
    document = Document()
    document.open(None, option={"position": "peak"}, claims={"span": "1 us .. 2 us", "re_arm": "3 us"})
    document.set_setting("position", "centroid")
    document.set_setting("span", "10 us .. 20 us")
    document.leave_out(7, "bubble")
    settings = document.measuring_settings()
    assert (settings.position, settings.origin("position")) == ("peak", "option")
    assert (settings.span, settings.origin("span")) == ((10e-6, 20e-6), "review")
    assert (settings.re_arm, settings.origin("re_arm")) == (3e-6, "claims")
    assert (settings.left_out, settings.origin("left_out")) == ((7,), "review")


def test_each_kind_of_change_has_its_own_signal() -> None:
    document = Document()
    heard: list[str] = []
    for name in ("pairs", "flags", "notes", "left_out", "settings"):
        getattr(document, f"{name}_changed").connect(lambda name=name: heard.append(name))
    document.flag(2)
    document.leave_out(2, "")
    document.undo()
    assert heard == ["flags", "left_out", "left_out"]


def test_the_state_needs_no_screen() -> None:
    """The three state files load neither QtGui nor QtWidgets nor pyqtgraph."""
    code = (
        "import sys; import pulsewright_app.desk.document, pulsewright_app.desk.viewing, pulsewright_app.desk.results;"
        "print([m for m in sys.modules if m.split('.')[-1] in ('QtGui', 'QtWidgets', 'pyqtgraph')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
