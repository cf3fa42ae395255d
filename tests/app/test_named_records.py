"""Names by record, beside a plain loop over everything that is marked."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright_app.desk.named_records import marks, names_by_record


@pytest.mark.parametrize("columns", [1, 3, 12, 70])
def test_the_names_are_those_that_a_plain_loop_finds(columns: int) -> None:
    marked = np.random.default_rng(columns).random((200, columns)) < 0.1
    names = [f"H{place:02d}" for place in range(columns)]
    plain = {
        record: ", ".join(name for place, name in enumerate(names) if marked[record, place])
        for record in range(200)
        if marked[record].any()
    }
    assert names_by_record(marked, names) == plain


def test_records_outside_the_session_are_left_away() -> None:
    marked = marks(4, [(1, 9), np.array([3, -1]), ()])
    assert names_by_record(marked, ["a", "b", "c"]) == {1: "a", 3: "b"}
    assert names_by_record(marks(4, []), []) == {}
    assert names_by_record(marks(0, [(1,)]), ["a"]) == {}
