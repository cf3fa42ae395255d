"""Which of the reviews beside a session is its own, and which of those is the newest."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pulsewright.errors import ReviewFileError
from pulsewright.review import Review, save_review
from pulsewright.review_places import find_review, review_places

SHA, QUICK, OTHER = "a" * 64, "b" * 64, "c" * 64


@pytest.fixture
def places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, ...]:
    """The places beside a session and in the user's own folder."""
    monkeypatch.setattr("platformdirs.user_data_path", lambda *_, **__: tmp_path / "data")
    found = review_places(tmp_path / "run.h5", QUICK)
    found[-1].parent.mkdir(parents=True)
    return found


@pytest.mark.parametrize(
    ("review", "own"),
    [
        (Review(), True),
        (Review(SHA), True),
        (Review(OTHER), False),
        (Review(session_quick_digest=QUICK), True),
        (Review(session_quick_digest=OTHER), False),
        (Review(SHA, session_quick_digest=OTHER), True),  # the digest of the whole file says more
        (Review(OTHER, session_quick_digest=QUICK), False),
    ],
)
def test_a_review_is_the_sessions_own_by_the_digests_that_both_know(
    places: tuple[Path, ...], tmp_path: Path, review: Review, own: bool
) -> None:
    save_review(review, places[0])
    if own:
        found = find_review(tmp_path / "run.h5", SHA, QUICK)
        assert found is not None and found.review == review
        return
    with pytest.raises(ReviewFileError, match=r"run\.review\.json belongs to another session"):
        find_review(tmp_path / "run.h5", SHA, QUICK)


def test_the_newest_counts_wherever_it_lies_and_a_foreign_one_does_not(
    places: tuple[Path, ...], tmp_path: Path
) -> None:
    for age, (path, flag) in enumerate(((places[1], 1), (places[-1], 2), (places[0], 3))):
        save_review(Review(SHA, flags={flag}), path)
        os.utime(path, ns=(10**18 - age, 10**18 - age))
    save_review(Review(OTHER), places[2])
    found = find_review(tmp_path / "run.h5", SHA, QUICK)
    assert found is not None and (found.path, found.review.flags) == (places[1], {1})
    os.utime(places[-1], ns=(2 * 10**18, 2 * 10**18))
    found = find_review(tmp_path / "run.h5", SHA, QUICK)
    assert found is not None and found.path == places[-1]
