"""The sign of negative numbers where a sentence quotes what somebody gave."""

from __future__ import annotations

import pytest

from pulsewright.errors import SettingError
from pulsewright.minus import quoted
from pulsewright.settings import parse_setting


@pytest.mark.parametrize(
    ("raw", "seen"),
    [
        (-3, "−3"), (-1e-9, "−1e−09"), (2.5, "2.5"), (True, "True"), ("-3 us", "'-3 us'"), ("H-1", "'H-1'"),
        ([-1, "a-b", 2], "[−1, 'a-b', 2]"), (None, "None"),
    ],
)  # fmt: skip
def test_a_number_gets_a_minus_sign_and_a_text_stays_as_it_was_typed(raw: object, seen: str) -> None:
    assert quoted(raw) == seen


def test_a_refused_setting_is_quoted_so() -> None:
    for raw, seen in ((-1, "clock_ppm: −1 is negative"), ("-1", "clock_ppm: '-1' is negative")):
        with pytest.raises(SettingError, match=seen):
            parse_setting("clock_ppm", raw)
