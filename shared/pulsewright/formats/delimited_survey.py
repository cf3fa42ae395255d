"""One look through all rows of a text file: where records begin, how channels follow one another, what times say."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pulsewright.errors import RecordingError
from pulsewright.formats.delimited_roles import TIME_UNITS, Roles
from pulsewright.formats.delimited_rows import Rows
from pulsewright.formats.sample_times import TimeWatch
from pulsewright.formats.understanding import Ledger
from pulsewright.session import Floats

_MOST_RECORDS = 1 << 22


@dataclass
class TextSurvey:
    """What a look through all rows shows.

    Attributes
    ----------
    record_rows : list of int
        Rows of each record.
    whole_numbers : bool
        Whether every value is a whole number.
    most : float
        The largest value without its sign.
    channels : int
        Names in the column of channels.
    run : int
        How many rows of one channel follow one another; 1: channels take turns.
    watch : TimeWatch or None
        What the times say.
    """

    record_rows: list[int] = field(default_factory=list)
    whole_numbers: bool = True
    most: float = 0.0
    channels: int = 0
    run: int = 0
    watch: TimeWatch | None = None


def survey_rows(ledger: Ledger, rows: Rows, roles: Roles) -> TextSurvey:
    """Look through all rows once.

    Parameters
    ----------
    ledger : Ledger
        Told how far it is, and what is odd.
    rows : Rows
        Of the record, time and channel columns that there are, and then of the values.
    roles : Roles
        Which column is what.

    Raises
    ------
    RecordingError
        If a value is not finite, or channels do not follow one another in an even order.
    """
    places = iter(range(4))
    record = None if roles.record is None else next(places)
    time = None if roles.time is None else next(places)
    channel = None if roles.channel is None else next(places)
    looker = _Looker(ledger, roles, record, time, channel, values=next(places))
    for block in rows.all_blocks():
        looker.take(block)
        ledger.step(rows.share, f"Looking through {ledger.file_name}")
    return looker.done(len(rows.names))


class _Looker:
    """Takes in rows block by block."""

    def __init__(
        self, ledger: Ledger, roles: Roles, record: int | None, time: int | None, channel: int | None, values: int
    ) -> None:
        self._ledger, self._record, self._time, self._channel = ledger, record, time, channel
        self._values = values
        self._unit = TIME_UNITS[roles.time_unit]
        self._found = TextSurvey(watch=None if time is None else TimeWatch())
        self._row = 0  # of the record under way
        self._last_record, self._last_time = np.nan, np.nan
        self._first_record_done = False

    def take(self, block: Floats) -> None:
        """Take in one block of rows."""
        values = block[:, self._values :]
        if not np.isfinite(values).all():
            row = int(np.nonzero(~np.isfinite(values).all(axis=1))[0][0]) + sum(self._found.record_rows) + self._row
            raise RecordingError(
                f"{self._ledger.file_name}: row {row:,} holds a value that is no finite number",
                "every sample must be one",
            )
        self._found.most = max(self._found.most, float(np.abs(values).max()))
        if self._found.whole_numbers:
            self._found.whole_numbers = bool(np.all(values == np.rint(values)))
        starts = self._starts(block)
        for start, stop in zip([0, *starts], [*starts, len(block)], strict=True):
            if start or (starts and starts[0] == 0):
                self._end_record()
            if stop > start:
                self._within_record(block[start:stop])

    def _starts(self, block: Floats) -> list[int]:
        """Return the rows of a block at which a record begins that is not the first."""
        if self._record is not None:
            numbers = block[:, self._record]
            new = np.flatnonzero(np.diff(numbers, prepend=self._last_record) != 0)
            self._last_record = float(numbers[-1])
        elif self._time is not None and self._channel is None:
            times = block[:, self._time]
            new = np.flatnonzero(np.diff(times, prepend=self._last_time) < 0)
            self._last_time = float(times[-1])
        else:
            return []
        first = self._row == 0 and not self._found.record_rows
        return [place for place in new.tolist() if not (first and place == 0)]

    def _within_record(self, part: Floats) -> None:
        rows = np.arange(self._row, self._row + len(part), dtype=np.int64)
        if self._channel is not None:
            self._check_channels(part[:, self._channel].astype(np.int64), rows)
        if self._found.watch is not None and self._time is not None:
            times = part[:, self._time] * self._unit
            if not np.isfinite(times).all():
                raise RecordingError(f"{self._ledger.file_name}: a time is no finite number", "see the time column",
                                     "time_column")  # fmt: skip
            if self._channel is not None:
                times = times[part[:, self._channel] == 0]
            self._watch(self._found.watch, times)
        self._row += len(part)

    def _watch(self, watch: TimeWatch, times: Floats) -> None:
        if not len(times):
            return
        if len(watch.starts) <= len(self._found.record_rows):
            watch.begin(float(times[0]))
            times = times[1:]
        if len(times):
            # decimals are written to a last place: how far apart neighbours differ tells which
            watch.resolution = max(watch.resolution, _last_place(times / self._unit) * self._unit)
        watch.feed(times)

    def _check_channels(
        self, places: np.ndarray[tuple[int], np.dtype[np.int64]], rows: np.ndarray[tuple[int], np.dtype[np.int64]]
    ) -> None:
        found = self._found
        if found.run == 0 or (found.run > 1 and not self._first_record_done and found.channels < 2):
            changed = np.flatnonzero(places != 0)
            found.run = int(rows[changed[0]]) if len(changed) else int(rows[-1]) + 1
            found.channels = 2 if len(changed) else 1
        if found.run > 1:
            if found.channels >= 2 and not bool(np.array_equal(places, rows // found.run)):
                self._uneven()
            return
        turns = int(places.max()) + 1
        found.channels = max(found.channels, turns)
        if not bool(np.array_equal(places, rows % found.channels)):
            self._uneven()

    def _uneven(self) -> None:
        raise RecordingError(
            f"{self._ledger.file_name}: channels neither take turns row by row nor follow one another in equal runs",
            "sort the rows by record, channel and time", "channel_column",
        )  # fmt: skip

    def _end_record(self) -> None:
        self._found.record_rows.append(self._row)
        self._row = 0
        self._first_record_done = True
        if len(self._found.record_rows) > _MOST_RECORDS:
            raise RecordingError(f"{self._ledger.file_name}: has more than {_MOST_RECORDS:,} records",
                                 "say which column counts records", "record_column")  # fmt: skip

    def done(self, names: int) -> TextSurvey:
        """Return what was seen."""
        if self._row:
            self._end_record()
        if not self._found.record_rows:
            raise RecordingError(f"{self._ledger.file_name}: holds no rows of numbers", "see how they are written")
        self._found.channels = names
        if self._found.watch is not None:
            self._found.watch.finish()
            self._found.watch.judge(self._ledger, "time_column")
        return self._found


def _last_place(values: Floats) -> float:
    """Return half of the last decimal place that some numbers seem to be written to."""
    looked_at = values[:200]
    for digits in range(16):
        if bool(np.all(np.abs(np.round(looked_at, digits) - looked_at) <= 1e-15 * np.abs(looked_at))):
            return 0.5 * 10.0**-digits
    return float(np.abs(looked_at).max()) * 1e-15
