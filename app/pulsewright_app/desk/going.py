"""Understands where a person wants to go: the number of a record, or a time since the first trigger. No Qt."""

from __future__ import annotations

from bisect import bisect_left, bisect_right

import numpy as np

from pulsewright.errors import SettingError
from pulsewright.quantity import engineering, parse_number
from pulsewright.session import Session

HOW = "a record's number, such as 12, or a time since the first trigger, such as 1.2 s"


def record_meant(text: str, session: Session) -> int | str:
    """Return the record that a text means, or a sentence why it means none.

    Parameters
    ----------
    text : str
        A whole number, which ``#`` may lead; or a number with a unit of time, which means the record whose trigger
        is nearest.
    session : Session
    """
    written, records = text.strip(), session.records
    number = written.removeprefix("#").lstrip()
    if number.isascii() and number.isdigit():
        if len(number) < 13 and int(number) < records:
            return int(number)
        return f"There is no record {number}; the records are 0 to {records - 1}."
    if not written.endswith("s"):
        return f"{written!r} is no record and no time: write {HOW}."
    try:
        time = parse_number(written, "s", "time")
    except SettingError:
        return f"{written!r} is no record and no time: write {HOW}."
    known = np.isfinite(session.trigger_time).any(axis=1)
    if not known.any():
        return "The triggers of this session carry no times: write the number of a record."
    times = np.full(records, np.nan)
    times[known] = np.nanmin(session.trigger_time[known], axis=1)
    last = float(np.nanmax(times))
    if not -last / 100 <= time <= last * 1.01 + session.record_duration:
        return (
            f"No record was taken at {engineering(time, 's', 6)}: the last trigger came at {engineering(last, 's', 6)}."
        )
    return int(np.nanargmin(np.abs(times - time)))


def next_of(records: list[int], current: int, forward: bool) -> int:
    """Return the next of some rising records after the current one, or the one before it; round at the ends.

    Parameters
    ----------
    records : list of int
        At least one.
    current : int
    forward : bool
        False goes back.
    """
    place = bisect_right(records, current) if forward else bisect_left(records, current) - 1
    return records[place % len(records)]
