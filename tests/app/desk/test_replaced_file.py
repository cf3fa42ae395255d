"""A session file that another one replaces, or that is written to, while the desk shows it: nothing wrong is shown."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")

from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication

from pulsewright_app.desk.window import DeskWindow
from pulsewright_app.samples import sample
from pulsewright_app.theme import LIGHT

from .gestures import Settle, inked, labelled, message

CAPTION = "What the Single view shows"
Windows = Callable[..., DeskWindow]


def ink_of(desk: DeskWindow, settle: Settle, record: int) -> set[tuple[int, int]]:
    """Go to a record, and return what is drawn of its channels; what was said stays to be read."""
    desk.viewing.go_to(record)
    settle(desk)
    told = message(desk)
    desk.message_bar.hide()  # it moves the plot
    settle(desk)
    ink = inked(desk, LIGHT.channel(7))
    desk.message_bar.setVisible(bool(told))
    return ink


def test_of_a_file_that_is_replaced_the_opened_samples_are_shown_on(
    make_window: Windows, faults: Path, settle: Settle
) -> None:
    desk = make_window(faults)
    as_opened = ink_of(desk, settle, 30)
    other = faults.with_name("other.part")
    shutil.copy(sample("tank_slip.h5"), other)
    other.replace(faults)
    assert ink_of(desk, settle, 31)
    assert "tank_faults.h5: another file has taken its place" in message(desk)
    assert "Open it again to see the other" in message(desk)
    desk.message_bar.dismiss.click()
    assert ink_of(desk, settle, 30) == as_opened
    assert message(desk) == "", "it is said at every step"


@pytest.mark.parametrize("grown", [True, False], ids=["grown", "another written into it"])
def test_of_a_file_that_is_written_to_no_other_samples_are_shown(
    grown: bool, make_window: Windows, faults: Path, settle: Settle
) -> None:
    desk, whole = make_window(faults), faults.read_bytes()
    as_opened = ink_of(desk, settle, 30)
    desk.viewing.go_to(0)
    settle(desk)
    with faults.open("r+b") as stream:
        if grown:
            stream.seek(0, os.SEEK_END)
            stream.write(whole[:5000])
        else:
            stream.write(sample("tank_walk.h5").read_bytes().ljust(len(whole), b"\0")[: len(whole)])
    QApplication.sendEvent(desk, QEvent(QEvent.Type.WindowActivate))
    settle(desk)
    assert "nothing more of it is shown" in message(desk), "it is said only once something cannot be read"
    assert not ink_of(desk, settle, 20)
    assert "tank_faults.h5: it has been written to while it was open" in message(desk)
    assert "cannot be read" in labelled(desk, CAPTION)
    assert ink_of(desk, settle, 30) == as_opened, "what was read before is that of the file that was opened"
    with faults.open("r+b") as stream:
        stream.truncate(0)
        stream.write(whole)
    ink_of(desk, settle, 21)
    assert ink_of(desk, settle, 20), "the file holds the same again"
    assert "cannot be read" not in labelled(desk, CAPTION)
