"""Where a person wants to go, by number or by time; expected records by counting the made triggers."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright.session import Channel, Session
from pulsewright_app.desk.going import next_of, record_meant


def session(times: np.ndarray | None) -> Session:
    samples = np.zeros((20, 1, 100), np.int16)
    return Session.from_samples(samples, [Channel("H01", "M1")], 1e6, trigger_time=times)


@pytest.mark.parametrize(
    ("text", "record"),
    [
        ("0", 0),
        (" 19 ", 19),
        ("0 s", 0),
        ("50 ms", 5),
        ("0.054 s", 5),
        ("56 ms", 6),
        ("190ms", 19),
        ("#13", 13),
        (" # 7", 7),
    ],
)
def test_numbers_and_times(text: str, record: int) -> None:
    assert record_meant(text, session(np.arange(20) * 10e-3)) == record


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("20", "no record 20"), ("9" * 40, "no record"), ("", "no record and no time"),
        ("soon", "no record and no time"), ("#", "no record and no time"), ("#5 ms", "no record and no time"),
        ("#20", "no record 20"),
        ("-1", "no record and no time"), ("1.5", "no record and no time"), ("3 V", "no record and no time"),
        ("5 s", "No record was taken at 5 s"), ("-5 s", "No record was taken at"),
        ("٣", "no record and no time"),
    ],
)  # fmt: skip
def test_what_means_no_record_is_told(text: str, told: str) -> None:
    answer = record_meant(text, session(np.arange(20) * 10e-3))
    assert isinstance(answer, str)
    assert told in answer


def test_without_trigger_times_a_time_means_nothing() -> None:
    assert "carry no times" in str(record_meant("1 ms", session(None)))


def test_next_and_before_go_round() -> None:
    assert [next_of([2, 5, 9], at, True) for at in (0, 2, 5, 9, 11)] == [2, 5, 9, 2, 2]
    assert [next_of([2, 5, 9], at, False) for at in (0, 2, 5, 9, 11)] == [9, 9, 2, 5, 9]
