"""What is kept of the samples drawn last: up to so many bytes, the oldest goes first."""

from __future__ import annotations

import numpy as np

from pulsewright_app.desk.kept import Kept


def test_the_one_used_longest_ago_makes_room() -> None:
    kept: Kept[int] = Kept(300)
    for key in range(3):
        kept.put(key, np.full(100, key, np.int8))
    assert kept.get(0) is not None  # used now: 1 is the oldest
    kept.put(3, np.full(100, 3, np.int8))
    assert [kept.get(key) is not None for key in range(4)] == [True, False, True, True]
    newest = kept.newest
    assert newest is not None
    assert int(newest[0]) == 3


def test_one_that_is_larger_than_all_the_room_is_kept_alone() -> None:
    kept: Kept[str] = Kept(10)
    kept.put("small", np.zeros(4, np.int8))
    kept.put("large", np.zeros(400, np.int8))
    assert kept.get("small") is None
    assert kept.get("large") is not None
    kept.put("small", np.zeros(4, np.int8))
    assert kept.get("large") is None
    kept.clear()
    assert kept.newest is None
