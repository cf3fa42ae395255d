"""Stepping and playing through the records that match, and through the passing records of a spot."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright import Channel, Session
from pulsewright_app.desk.document import Document
from pulsewright_app.desk.filtering import Filtering
from pulsewright_app.desk.results import Results
from pulsewright_app.desk.viewing import Viewing


@pytest.fixture
def viewing() -> Viewing:
    document = Document()
    document.open(Session.from_samples(np.zeros((20, 1, 8), np.int16), [Channel("H01", "M1")], 1e6, 0))
    viewing = Viewing(document)
    viewing.set_filter("record 4 .. 16", [16, 4, 9, 9, 99])
    return viewing


def test_a_filter_alone_leaves_every_record_in_the_walk(viewing: Viewing) -> None:
    assert viewing.matching is None
    viewing.step()
    assert viewing.record == 1


def test_only_matching_records_are_stepped_through_each_once_and_in_order(viewing: Viewing) -> None:
    viewing.set_only_matching(True)
    assert viewing.matching is not None and viewing.matching.tolist() == [4, 9, 16]
    seen = []
    for _ in range(4):
        viewing.step()
        seen.append(viewing.record)
    assert seen == [4, 9, 16, 16]
    viewing.step(-1)
    assert viewing.record == 9
    viewing.first()
    assert viewing.record == 4
    viewing.last()
    assert viewing.record == 16


def test_stepping_from_a_record_that_does_not_match_goes_to_its_neighbour(viewing: Viewing) -> None:
    viewing.set_only_matching(True)
    viewing.go_to(12)
    viewing.step()
    assert viewing.record == 16
    viewing.go_to(12)
    viewing.step(-1)
    assert viewing.record == 9


def test_a_loop_goes_round_the_matching_records(viewing: Viewing) -> None:
    viewing.set_only_matching(True)
    viewing.set_loop(True)
    viewing.go_to(18)
    viewing.step()
    assert viewing.record == 4
    viewing.step(-1)
    assert viewing.record == 16


def test_playing_ends_at_the_last_matching_record_and_begins_again_at_the_first(viewing: Viewing) -> None:
    viewing.set_only_matching(True)
    viewing.go_to(9)
    viewing.play(True)
    for _ in range(2):
        viewing.tick()
    assert (viewing.record, viewing.playing) == (16, False)
    viewing.play(True)
    assert (viewing.record, viewing.playing) == (4, True)


def test_nothing_matches_and_nothing_moves(viewing: Viewing) -> None:
    viewing.set_filter("clipped", [])
    viewing.set_only_matching(True)
    viewing.play(True)
    for gesture in (viewing.step, viewing.first, viewing.last, viewing.tick):
        gesture()
    assert (viewing.record, viewing.playing) == (0, False)


def test_passing_records_take_the_place_of_the_filter_until_they_are_let_go(viewing: Viewing) -> None:
    viewing.set_only_matching(True)
    told = []
    viewing.matching_changed.connect(lambda: told.append(viewing.matching))
    viewing.walk_through([7, 2], "passing records at 214 µs")
    viewing.step(2)
    assert viewing.record == 7
    viewing.walk_through(None)
    assert [None if which is None else which.tolist() for which in told] == [[2, 7], [4, 9, 16]]


def test_another_session_has_no_filter_yet(viewing: Viewing) -> None:
    viewing.set_only_matching(True)
    viewing._document.open(None)
    assert (viewing.matching, viewing.filter_text, viewing.only_matching) == (None, "", False)


def test_a_filter_that_is_applied_is_one_change_and_so_is_taking_it_away() -> None:
    document = Document()
    document.open(Session.from_samples(np.zeros((20, 1, 8), np.int16), [Channel("H01", "M1")], 1e6, 0))
    viewing = Viewing(document)
    filtering = Filtering(document, viewing, Results())
    heard: list[list[int] | None] = []

    def changed() -> None:
        heard.append(None if viewing.matching is None else viewing.matching.tolist())

    viewing.filter_changed.connect(changed)
    filtering.apply("record 4 .. 6")
    filtering.apply("record 4 .. 6")
    filtering.apply("")
    assert heard == [[4, 5, 6], None]
