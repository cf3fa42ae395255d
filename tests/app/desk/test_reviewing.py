"""What a person adds is kept: by real clicks and keys, over closing and opening, and whatever lies in the way."""

from __future__ import annotations

import json
import shutil
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit

from pulsewright.digest import sha256_of
from pulsewright.errors import ReviewFileError
from pulsewright.review import Marker, Review, read_review, save_review
from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample, samples_folder

from .gestures import LEFT, Settle, all_findings, at, button, canvas_of, message, press
from .shown_pages import VIEWS, page_of

MakeWindow = Callable[..., DeskWindow]
ANOTHER = "0123456789abcdef" * 4


@pytest.fixture
def review_path(faults: Path) -> Path:
    return faults.with_suffix(".review.json")


def leave_out(desk: DeskWindow, qtbot: Any, reason: str) -> None:
    """Leave the current record out by typing a reason."""
    box = next(e for e in desk.findChildren(QLineEdit) if e.placeholderText() == "Note, or reason to leave out")
    qtbot.keyClicks(box, reason)
    qtbot.mouseClick(desk.records_panel.leave_out_button, Qt.MouseButton.LeftButton)


def activate(desk: DeskWindow, qtbot: Any) -> None:
    """Make a window the active one: keys reach the actions of that one alone."""
    desk.activateWindow()
    qtbot.waitUntil(desk.isActiveWindow, timeout=60_000)


def add_everything(desk: DeskWindow, qtbot: Any, settle: Settle) -> None:
    press(desk, qtbot, "PgDown")
    press(desk, qtbot, "F")
    qtbot.mouseDClick(canvas_of(desk).viewport(), LEFT, pos=at(desk, 100e-6))
    pair = desk.document.pairs[0]
    desk.document.set_intervals(pair.id, 9)
    leave_out(desk, qtbot, "bubbles")
    desk.document.note(2, "plate still moving – see log")
    desk.document.set_setting("threshold", "40 mV")
    desk.viewing.show_channel(11, False)
    press(desk, qtbot, "H")
    press(desk, qtbot, "X")
    press(desk, qtbot, "V")
    qtbot.keyClicks(page_of(VIEWS).findChild(QLineEdit), "The plate at rest")
    qtbot.keyClick(page_of(VIEWS).findChild(QLineEdit), Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: desk.document.sheet_views[0].caption == "The plate at rest")
    page_of(VIEWS).close()
    activate(desk, qtbot)
    settle(desk)


# -- kept ---------------------------------------------------------------------------------------------------------


def test_everything_is_there_again(make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path) -> None:
    first = make_window(faults)
    add_everything(first, qtbot, settle)
    added, hidden = first.document.additions, first.viewing.visible_channels
    first.close()
    second = make_window(faults)
    assert second.document.additions == added
    assert added.levels and added.rejected and added.sheet_views[0].caption == "The plate at rest"
    assert second.viewing.visible_channels == hidden == tuple(range(11))
    assert not second.actions_by_name["undo"].isEnabled()
    assert message(second) == ""
    press(second, qtbot, "PgDown")
    settle(second)
    assert "left out: bubbles" in second.middle.view.caption.text()
    assert "Records left out: 1, namely 1 (review)" in all_findings(second, qtbot)


def test_a_change_is_on_disk_soon_without_closing(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, review_path: Path
) -> None:
    desk = make_window(faults)
    press(desk, qtbot, "F")
    qtbot.waitUntil(review_path.exists, timeout=60_000)
    settle(desk)
    review = read_review(review_path)
    assert review.flags == {0}
    assert review.session_sha256 == sha256_of(faults)
    press(desk, qtbot, "Ctrl+Z")
    settle(desk)
    assert read_review(review_path).flags == set()


def test_a_change_waits_a_second_and_no_longer_however_many_more_follow(
    make_window: MakeWindow, qtbot: Any, faults: Path, review_path: Path
) -> None:
    """The wait itself is shortened here: a row of changes that never ends must not put the saving off."""
    desk, changes = make_window(faults), 0
    while not review_path.exists():
        press(desk, qtbot, "F")
        qtbot.wait(5)
        changes += 1
        assert changes < 10_000


def test_the_wait_of_a_change_leaves_a_second_for_the_writing() -> None:
    from pulsewright_app.desk import reviewing

    assert reviewing._SOON_MS <= 1000  # of the two seconds after which it is to be on disk


def test_the_review_of_many_records_is_made_where_the_desk_does_not_wait_for_it(
    make_window: MakeWindow,
    qtbot: Any,
    settle: Settle,
    faults: Path,
    review_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from pulsewright_app.desk import reviewing

    made: list[bool] = []
    whole = reviewing.review_of

    def review_of(*given: Any) -> Review:
        made.append(threading.current_thread() is threading.main_thread())
        return whole(*given)

    desk = make_window(faults)
    monkeypatch.setattr(reviewing, "review_of", review_of)
    press(desk, qtbot, "F")
    settle(desk)
    assert read_review(review_path).flags == {0}
    press(desk, qtbot, "PgDown")
    press(desk, qtbot, "F")
    settle(desk)
    assert read_review(review_path).flags == {0, 1}
    assert made and not any(made)


def test_what_was_added_last_is_saved_on_closing(
    make_window: MakeWindow, qtbot: Any, faults: Path, review_path: Path
) -> None:
    desk = make_window(faults)
    press(desk, qtbot, "F")
    desk.close()
    assert read_review(review_path).flags == {0}


@pytest.mark.parametrize("leave", ["Ctrl+W", "Ctrl+T"])
def test_it_is_saved_when_another_session_comes(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, review_path: Path, leave: str
) -> None:
    desk = make_window(faults)
    press(desk, qtbot, "F")
    press(desk, qtbot, leave)
    settle(desk)
    assert desk.document.flags == set()
    assert read_review(review_path).flags == {0}


def test_what_is_added_while_the_same_session_is_opened_again_is_not_lost(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, review_path: Path
) -> None:
    desk = make_window(faults)
    desk.open_path(faults)
    press(desk, qtbot, "F")  # before it is there
    settle(desk)
    assert desk.document.flags == {0}
    press(desk, qtbot, "PgDown")
    press(desk, qtbot, "F")
    settle(desk)
    assert message(desk) == ""
    assert [path.name for path in faults.parent.glob("*.review.json")] == [review_path.name]
    assert read_review(review_path).flags == {0, 1}


def test_looking_alone_writes_nothing(make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path) -> None:
    before = sorted(faults.parent.iterdir())
    desk = make_window(faults)
    press(desk, qtbot, "PgDown")
    press(desk, qtbot, "Alt+4")
    settle(desk)
    desk.close()
    assert sorted(faults.parent.iterdir()) == before


def test_markers_that_make_no_pair_are_not_lost(
    make_window: MakeWindow, qtbot: Any, faults: Path, review_path: Path
) -> None:
    alone = Marker(1e-4, 1e-8, 7, "echo", "H03", 2)
    save_review(Review(sha256_of(faults), markers=[alone]), review_path)
    desk = make_window(faults)
    press(desk, qtbot, "F")
    desk.close()
    assert read_review(review_path).markers == [alone]


def test_a_sample_stays_as_it_came(make_window: MakeWindow, qtbot: Any, settle: Settle, own_folder: Path) -> None:
    before = sorted(samples_folder().iterdir())
    desk = make_window(sample("tank_faults.h5"))
    press(desk, qtbot, "F")
    settle(desk)
    assert message(desk).startswith("The sample stays as it came: what you add is kept in ")
    desk.close()
    assert sorted(samples_folder().iterdir()) == before
    assert len(list(own_folder.iterdir())) == 1
    again = make_window(sample("tank_faults.h5"))
    assert again.document.flags == {0}


# -- what lies in the way -----------------------------------------------------------------------------------------


def spoilt(review_path: Path, kind: str) -> str:
    """Put something that cannot be used in the review's place, and return what the bar must say of it."""
    if kind == "another session's":
        save_review(Review(ANOTHER, flags={3}), review_path)
        return "belongs to another session"
    contents = {
        "no JSON": b"{ not json",
        "a newer form": json.dumps({"schema": "pulsewright-review/9"}).encode(),
        "a bad setting": json.dumps({"schema": "pulsewright-review/1", "settings": {"spam": 1}}).encode(),
        "not text": b"\xff\xfe\x00",
        "empty": b"",
    }
    review_path.write_bytes(contents[kind])
    return review_path.name


@pytest.mark.parametrize("kind", ["another session's", "no JSON", "a newer form", "a bad setting", "not text", "empty"])
def test_a_review_that_cannot_be_used_is_told_of_and_kept(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, review_path: Path, kind: str
) -> None:
    words = spoilt(review_path, kind)
    before = review_path.read_bytes()
    desk = make_window(faults)
    assert words in message(desk)
    assert "stays as it is" in message(desk)
    assert desk.document.session is not None
    assert desk.document.flags == set()
    press(desk, qtbot, "F")
    desk.close()
    assert review_path.read_bytes() == before
    again = make_window(faults)
    assert again.document.flags == {0}
    assert words in message(again)


def test_a_folder_in_the_review_s_place_is_no_reason_not_to_open(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, review_path: Path, own_folder: Path
) -> None:
    review_path.mkdir()
    desk = make_window(faults)
    press(desk, qtbot, "F")
    settle(desk)
    assert "what you add is kept in" in message(desk)
    desk.close()
    assert make_window(faults).document.flags == {0}


def test_where_the_folder_takes_nothing_the_user_s_own_does(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, own_folder: Path
) -> None:
    desk = make_window(faults)
    away = faults.parent.rename(faults.parent.with_name("pulled out"))  # as a drive is
    press(desk, qtbot, "F")
    settle(desk)
    assert "tank_faults.review.json: cannot be saved (No such file or directory)" in message(desk)
    assert message(desk).count("cannot be saved") == 1, "every name in that folder is refused alike"
    assert f"what you add is kept in {own_folder}" in message(desk)
    desk.close()
    away.rename(faults.parent)
    again = make_window(faults)
    assert again.document.flags == {0}
    assert message(again).startswith("What was added earlier is taken from ")


def test_where_nothing_can_be_saved_the_desk_asks_before_it_closes(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, own_folder: Path
) -> None:
    own_folder.parent.write_text("a file where a folder should be")
    desk = make_window(faults)
    shutil.rmtree(faults.parent)
    press(desk, qtbot, "F")
    press(desk, qtbot, "Ctrl+Q")
    assert desk.isVisible()
    assert "is not saved" in message(desk)
    assert message(desk).endswith("Close it once more to give up what you added.")
    qtbot.mouseClick(button(desk, "Dismiss"), LEFT)
    press(desk, qtbot, "Ctrl+Q")
    assert not desk.isVisible()


def test_closed_once_more_it_is_saved_where_that_has_become_possible(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, own_folder: Path
) -> None:
    own_folder.parent.write_text("a file where a folder should be")
    desk = make_window(faults)
    away = faults.parent.rename(faults.parent.with_name("pulled out"))
    press(desk, qtbot, "F")
    press(desk, qtbot, "Ctrl+Q")
    assert desk.isVisible()
    away.rename(faults.parent)  # the drive is back
    press(desk, qtbot, "Ctrl+Q")
    assert not desk.isVisible()
    assert make_window(faults).document.flags == {0}


def test_it_asks_again_about_what_was_added_since_it_could_be_saved(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, own_folder: Path
) -> None:
    own_folder.parent.write_text("a file where a folder should be")
    desk = make_window(faults)
    away = faults.parent.rename(faults.parent.with_name("pulled out"))
    press(desk, qtbot, "F")
    press(desk, qtbot, "Ctrl+Q")
    away.rename(faults.parent)
    desk.document.note(1, "late")
    qtbot.waitUntil(lambda: any(faults.parent.glob("*.review.json")), timeout=20_000)
    settle(desk)
    away = faults.parent.rename(faults.parent.with_name("pulled out"))
    desk.document.note(2, "later")
    press(desk, qtbot, "Ctrl+Q")
    assert desk.isVisible()
    assert message(desk).endswith("Close it once more to give up what you added.")


def test_two_windows_on_one_session_both_keep_what_they_add(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, review_path: Path
) -> None:
    one, other = make_window(faults), make_window(faults)
    assert message(one) == ""
    assert message(other).startswith("tank_faults.h5 is open in another window, since ")
    activate(one, qtbot)
    press(one, qtbot, "F")
    settle(one)
    activate(other, qtbot)
    other.viewing.go_to(5)
    press(other, qtbot, "F")
    settle(other)
    assert read_review(review_path).flags == {0}
    kept = [p for p in faults.parent.glob("*.review.json") if p != review_path]
    assert [read_review(path).flags for path in kept] == [{5}]
    assert message(other).endswith(f"what you add is kept in {kept[0].name}.")


def test_a_review_that_another_program_changed_stays_as_it_is(
    make_window: MakeWindow, qtbot: Any, settle: Settle, faults: Path, review_path: Path
) -> None:
    desk = make_window(faults)
    save_review(Review(sha256_of(faults), flags={9}), review_path)
    press(desk, qtbot, "F")
    settle(desk)
    assert f"{review_path.name} was changed elsewhere meanwhile and stays as it is" in message(desk)
    assert read_review(review_path).flags == {9}


def test_what_could_not_be_saved_is_tried_again_until_it_can(
    make_window: MakeWindow,
    qtbot: Any,
    settle: Settle,
    faults: Path,
    review_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from pulsewright_app.desk import review_places, reviewing

    full = {"disk": True}
    whole = review_places.save_review

    def save(*given: Any, **more: Any) -> Any:
        if full["disk"]:
            raise ReviewFileError("the disk is full", "make room")
        return whole(*given, **more)

    monkeypatch.setattr(review_places, "save_review", save)
    monkeypatch.setattr(reviewing, "_AGAIN_MS", 50)
    desk = make_window(faults)
    press(desk, qtbot, "F")
    qtbot.waitUntil(lambda: "the disk is full" in message(desk), timeout=60_000)
    assert not review_path.exists()
    full["disk"] = False
    qtbot.waitUntil(review_path.exists, timeout=60_000)  # with no further change
    settle(desk)
    assert read_review(review_path).flags == {0}
