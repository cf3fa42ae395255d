"""A review goes onto the desk and comes back whole, whatever it holds: expected by construction."""

from __future__ import annotations

import numpy as np

from pulsewright.review import Marker, RejectedPulse, Review, SheetView
from pulsewright.session import Channel, Session
from pulsewright_app.desk.review_file import additions_of, review_of

SESSION = Session.from_samples(np.zeros((10, 2, 50), np.int16), [Channel("H01", "M1"), Channel("H02", "M1")], 1e6)
WHOLE = Review(
    session_sha256="ab" * 32,
    session_quick_digest="cd" * 32,
    settings={"span": "1 us .. 2 us"},
    flags={3, 99},
    notes={1: "here", 50: "a record that there is not"},
    left_out={2: "bubble", 77: "also not there"},
    rejected=[RejectedPulse(4, "H02", 7, "noise"), RejectedPulse(4, "H09", 7, "no such channel")],
    markers=[
        Marker(1e-6, 1e-9, 1, "one", "H01", 2), Marker(2e-6, 1e-9, 1, "one", "H01", 2),
        Marker(1e-6, 1e-9, 2, "elsewhere", "H09", 2), Marker(2e-6, 1e-9, 2, "elsewhere", "H09", 2),
        Marker(1e-6, 1e-9, 3, "too late", "H01", 40), Marker(2e-6, 1e-9, 3, "too late", "H01", 40),
        Marker(5e-6, 1e-9, 4, "alone", "H02", 1),
    ],
    hidden_channels=["H02", "H09"],
    sheet_views=[SheetView("map", 1, "H01", "all of it")],
    claims='title = "T"\n',
)  # fmt: skip


def test_what_the_session_has_not_is_kept_and_not_laid_on_something_else() -> None:
    additions, hidden, kept = additions_of(WHOLE, SESSION)
    assert [(pair.id, pair.channel, pair.record) for pair in additions.pairs] == [(1, 0, 2)]
    assert additions.flags == {3} and set(additions.notes) == {1} and set(additions.left_out) == {2}
    assert set(additions.rejected) == {(4, 1, 7)} and hidden == {1}
    back = review_of(additions, hidden, kept, SESSION, WHOLE.session_sha256, WHOLE.session_quick_digest)
    assert back == WHOLE
