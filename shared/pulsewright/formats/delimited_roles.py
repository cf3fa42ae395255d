"""Which column of a text file is what: time, record, channel, values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pulsewright.errors import RecordingError
from pulsewright.formats.delimited_form import TextForm, prefixed_unit
from pulsewright.formats.understanding import Ledger

TIME_HEADINGS = ("t", "time", "times", "zeit", "temps", "tiempo", "tempo", "tid", "seconds", "timestamp", "x")
RECORD_HEADINGS = ("record", "segment", "shot", "trace", "sweep", "event", "frame", "ping", "trigger")
CHANNEL_HEADINGS = ("channel", "ch", "kanal", "input", "sensor", "hydrophone")
COUNT_HEADINGS = ("", "index", "sample", "n", "i", "row", "no", "nr")
TIME_UNITS = {
    "s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9, "ps": 1e-12, "min": 60.0, "h": 3600.0,
    "date": 1.0,
}  # fmt: skip


@dataclass(frozen=True)
class Roles:
    """Which column is what; columns count from 0.

    Attributes
    ----------
    time, record, channel : int or None
        None where there is none.
    values : tuple of int
        Columns with samples.
    time_unit : str
        A key of `TIME_UNITS`.
    names : tuple of str
        Headings of the value columns; empty where one has none.
    units : tuple of str
        SI units of the value columns; empty where none is said.
    factors : tuple of float
        What a number of the column is worth in that unit.
    """

    time: int | None
    record: int | None
    channel: int | None
    values: tuple[int, ...]
    time_unit: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    factors: tuple[float, ...]


def find_roles(ledger: Ledger, form: TextForm) -> Roles:
    """Return which column is what, by headings, by the first rows, and by what a person says.

    Parameters
    ----------
    ledger : Ledger
        Asked for the columns and the time unit.
    form : TextForm
        How the file is written.

    Raises
    ------
    RecordingError
        If no column is left for samples.
    """
    numbers = [column for column in range(form.columns) if form.column_of_numbers(column)]
    lower = [heading.lower() for heading in form.headings]
    named = any(lower)
    record = _one(ledger, form, "record_column", _headed(lower, RECORD_HEADINGS, numbers), "its heading",
                  None if named else _record_like(form, numbers))  # fmt: skip
    channel = _one(ledger, form, "channel_column", _headed(lower, CHANNEL_HEADINGS, range(form.columns)),
                   "its heading", None)  # fmt: skip
    left = [column for column in range(form.columns) if column not in (record, channel)]
    numeric = set(numbers)
    times = [column for column in left if column in numeric or form.column_of_dates(column)]
    headed = _time_heading(lower, times)
    likely = next((c for c in times if form.column_of_dates(c)), None) if named else _time_like(form, times)
    time = _one(ledger, form, "time_column", headed, "its heading", likely)
    unit = _time_unit(ledger, form, time)
    free = [c for c in numbers if c not in (record, channel, time) and not (named and lower[c] in COUNT_HEADINGS)]
    free = [c for c in free if c not in (headed, likely)] or free
    if not free:
        free = [c for c in numbers if c not in (record, channel, time)]
    values = ledger.decide(
        "value_columns",
        lambda text: [_column(part, form) for part in text.split(",")],
        lambda columns: ",".join(_shown(column, form) for column in columns),
        guess=free or None,
        why="the other columns of numbers" if free else "no column of numbers is left for samples",
    )
    if not values:
        raise RecordingError(f"{ledger.file_name}: has no column with samples", "say which", "value_columns")
    prefixed = [prefixed_unit(form.units[column]) for column in values]
    return Roles(
        time, record, channel, tuple(values), unit, tuple(form.headings[c] for c in values),
        tuple(base for _, base in prefixed), tuple(factor for factor, _ in prefixed),
    )  # fmt: skip


def _headed(lower: Sequence[str], headings: Sequence[str], able: Sequence[int]) -> int | None:
    return next((column for column in able if lower[column] in headings), None)


def _time_heading(lower: Sequence[str], able: Sequence[int]) -> int | None:
    for column in able:
        bare = lower[column].rsplit("_", 1)[0] if lower[column].rsplit("_", 1)[-1] in TIME_UNITS else lower[column]
        if bare in TIME_HEADINGS:
            return column
    return None


def _one(ledger: Ledger, form: TextForm, option: str, headed: int | None, why: str, likely: int | None) -> int | None:
    """Return a column, or None for none."""
    guess = headed if headed is not None else likely
    reason = why if headed is not None else "its first numbers" if likely is not None else "no column looks like it"
    told = ledger.decide(
        option,
        lambda text: -1 if text == "none" else _column(text, form),
        lambda column: "none" if column < 0 else _shown(column, form),
        guess=-1 if guess is None else guess,
        why=reason,
        choices=("none", *(_shown(column, form) for column in range(min(form.columns, 64)))),
    )
    return None if told is None or told < 0 else told


def _shown(column: int, form: TextForm) -> str:
    heading = form.headings[column]
    usable = heading and "," not in heading and not heading.isdigit() and form.times_used[heading] == 1
    return heading if usable and heading != "none" else str(column + 1)


def _column(text: str, form: TextForm) -> int:
    bare = text.strip()
    if bare in form.headings:
        return form.headings.index(bare)
    if bare.isdigit() and 1 <= int(bare) <= form.columns:
        return int(bare) - 1
    headings = ", ".join(heading for heading in form.headings if heading)
    told = f"or a heading: {headings}" if headings else "there are no headings"
    raise RecordingError(f"there is no column {bare!r}", f"give a number from 1 to {form.columns}, {told}")


def _numbers(form: TextForm, column: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    def number(cell: str) -> float:
        try:
            return float(cell.replace(form.decimal, "."))
        except ValueError:
            return np.nan

    return np.array([number(row[column]) for row in form.first_rows], dtype=np.float64)


def _record_like(form: TextForm, numbers: Sequence[int]) -> int | None:
    """Return the first column if it holds one whole number for many rows, or grows by 1 now and then."""
    if form.columns < 3 or not numbers or numbers[0] != 0 or len(form.first_rows) < 3:
        return None
    values = _numbers(form, 0)
    steps = np.diff(values)
    whole = bool(np.all(values == np.rint(values)))
    return 0 if whole and bool(np.all((steps == 0) | (steps == 1))) and bool(np.any(steps == 0)) else None


def _time_like(form: TextForm, times: Sequence[int]) -> int | None:
    """Return the first column left if it grows evenly, but is not just a count."""
    if len(times) < 2 or len(form.first_rows) < 3:
        return None
    if form.column_of_dates(times[0]):
        return times[0]
    values = _numbers(form, times[0])
    steps = np.diff(values)
    usual = float(np.median(steps))
    if not usual > 0 or not np.isfinite(values).all():
        return None
    even = float(np.mean(np.abs(steps - usual) <= 0.5 * usual))
    return times[0] if even >= 0.8 else None


def _time_unit(ledger: Ledger, form: TextForm, time: int | None) -> str:
    if time is None:
        return "s"
    said = form.units[time]
    ending = form.headings[time].lower().rsplit("_", 1)[-1]
    in_file = said if said in TIME_UNITS else ending if ending in TIME_UNITS and "_" in form.headings[time] else None
    if in_file is None and prefixed_unit(said)[1] == "s":
        in_file = "s"
    if form.column_of_dates(time):
        in_file = "date"
    told = ledger.decide("time_unit", _known_unit, in_file=in_file, guess="s", why="the file names none",
                         choices=tuple(TIME_UNITS))  # fmt: skip
    return told or "s"


def _known_unit(text: str) -> str:
    if text not in TIME_UNITS:
        raise ValueError(text)
    return text
