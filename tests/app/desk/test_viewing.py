"""What is looked at: kept inside the session, zoom with a history, playing that ends."""

from __future__ import annotations

import pytest

pytest.importorskip("PySide6.QtCore", exc_type=ImportError, reason="Qt's core library is missing")

import numpy as np

from pulsewright.session import Channel, Session
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.viewing import Viewing


@pytest.fixture
def viewing() -> Viewing:
    document = Document()
    viewing = Viewing(document, document)
    channels = [Channel(name, "M1") for name in ("H01", "H02", "H03")]
    document.open(Session.from_samples(np.zeros((10, 3, 50), np.int16), channels, 1e6))
    return viewing


def test_stepping_stops_at_both_ends(viewing: Viewing) -> None:
    viewing.step(-1)
    assert viewing.record == 0
    viewing.go_to(99)
    assert viewing.record == 9


def test_a_loop_goes_round(viewing: Viewing) -> None:
    viewing.set_loop(True)
    viewing.last()
    viewing.step()
    assert viewing.record == 0


def test_playing_ends_at_the_last_record(viewing: Viewing) -> None:
    viewing.go_to(8)
    viewing.play(True)
    viewing.tick()
    assert (viewing.record, viewing.playing) == (9, True)
    viewing.tick()
    assert (viewing.record, viewing.playing) == (9, False)


def test_playing_from_the_end_begins_at_the_first_record(viewing: Viewing) -> None:
    viewing.last()
    viewing.play(True)
    assert viewing.record == 0


def test_stepping_holds_the_zoom(viewing: Viewing) -> None:
    viewing.zoom((1e-6, 2e-6), (-0.1, 0.1))
    viewing.step()
    viewing.set_view("afterglow")
    assert (viewing.time_window, viewing.value_window) == ((1e-6, 2e-6), (-0.1, 0.1))


def test_zoom_goes_back_to_where_a_gesture_began(viewing: Viewing) -> None:
    viewing.zoom((1e-6, 5e-6), None)
    viewing.zoom((2e-6, 6e-6), None)
    viewing.zoom((3e-6, 7e-6), None, remember=False)
    viewing.zoom_back()
    assert viewing.time_window == (1e-6, 5e-6)
    viewing.zoom_back()
    assert viewing.time_window is None


def test_the_current_channel_is_always_shown(viewing: Viewing) -> None:
    viewing.show_only(1)
    assert (viewing.visible_channels, viewing.channel) == ((1,), 1)
    viewing.set_channel(2)
    assert viewing.visible_channels == (1, 2)


def test_a_removed_pair_cannot_stay_selected() -> None:
    document = Document()
    viewing = Viewing(document)
    pair = document.add_pair(0.0, 1.0, 0.1, 0.1, 0, 0)
    viewing.select_marker(pair.id, 2)
    document.remove_pair(pair.id)
    assert viewing.selected_marker is None
