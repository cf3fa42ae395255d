"""Delimited text: a column for each channel, or a row for each value; packed or not."""

from __future__ import annotations

import codecs
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource, Codes, slice_of
from pulsewright.errors import RecordingError
from pulsewright.formats.concluding import Found, conclude, records_in
from pulsewright.formats.delimited_form import TextForm, find_form
from pulsewright.formats.delimited_own import is_own, read_own
from pulsewright.formats.delimited_roles import Roles, find_roles
from pulsewright.formats.delimited_rows import Rows
from pulsewright.formats.delimited_survey import TextSurvey, survey_rows
from pulsewright.formats.packing import packed_how
from pulsewright.formats.sample_times import triggers_from
from pulsewright.formats.sample_types import StoredType, as_type, sample_type
from pulsewright.formats.text_lines import TextFile, looks_like_text
from pulsewright.formats.understanding import Ledger, Reading

_UTF8_MARK = b"\xef\xbb\xbf"
NAME = "delimited text"
SUFFIXES = (".csv", ".tsv", ".txt", ".dat", ".asc")


def recognises(head: bytes, path: Path) -> bool:
    """Say whether a file is text with numbers in it, or packed with gzip, bzip2 or xz.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    return packed_how(head) is not None or looks_like_text(head)


def read(path: Path, ledger: Ledger) -> Reading:
    """Open a text file, and look through all of it once.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for what the file does not say.

    Raises
    ------
    RecordingError
        If it holds no rows of numbers, or rows that make no records.
    """
    text = TextFile(path, _encoding(ledger))
    try:
        if not looks_like_text(text.head):
            raise RecordingError(f"{path.name}: what it unpacks to is no text with numbers", "unpack it first")
        if is_own(text.head):
            return read_own(path, ledger, text, NAME)
        form = find_form(ledger, text)
        roles = find_roles(ledger, form)
        return conclude(ledger, path, NAME, _found(ledger, text, form, roles))
    except BaseException:
        text.close()
        raise


def _encoding(ledger: Ledger) -> str | None:
    given = ledger.given("encoding")
    if given is None:
        return None
    try:
        name = codecs.lookup(given).name
        plain = "0123456789.,;\t\n".encode(name)
    except (LookupError, UnicodeError, ValueError) as error:
        raise RecordingError(f"encoding: {given!r} is none", 'write it like "utf-8"', "encoding") from error
    if plain not in (b"0123456789.,;\t\n", _UTF8_MARK + b"0123456789.,;\t\n") and not name.startswith("utf-16"):
        raise RecordingError(f"encoding: {given!r} does not write digits as ASCII", "save it as UTF-8", "encoding")
    return name


def _found(ledger: Ledger, text: TextFile, form: TextForm, roles: Roles) -> Found:
    columns = [column for column in (roles.record, roles.time, roles.channel) if column is not None]
    dates = roles.time if roles.time_unit == "date" else None
    rows = Rows(text, form, [*columns, *roles.values], roles.channel, dates)
    seen = survey_rows(ledger, rows, roles)
    layout = _layout(ledger, seen, roles)
    integer = StoredType(np.dtype(np.int16 if seen.most < 1 << 15 else np.int32 if seen.most < 1 << 31 else float))
    dtype = sample_type(ledger, integer if seen.whole_numbers else StoredType(np.dtype(np.float64)))
    source = TextSource(rows, layout, len(columns), dtype, text.name)
    found = Found(source, stored=dtype, sample_rate=form.rate)
    _take_channels(found, rows, roles, layout)
    _take_times(found, seen, layout)
    if dates is not None:  # seconds since the first date: that it is 0 says nothing of a trigger
        found.pre_trigger, found.trigger_offset = None, None
    return found


def _take_channels(found: Found, rows: Rows, roles: Roles, layout: TextLayout) -> None:
    if layout.by_channel:
        found.names = list(rows.names)
        unit, factor = roles.units[0], roles.factors[0]
        found.units = [unit] * layout.channels if unit else None
        found.scales = [factor] * layout.channels if factor != 1.0 else None
        return
    if all(roles.names) and len(set(roles.names)) == len(roles.names) and not any("," in name for name in roles.names):
        found.names = roles.names
    if all(roles.units):
        found.units = roles.units
    if any(factor != 1.0 for factor in roles.factors):
        found.scales = roles.factors


def _take_times(found: Found, seen: TextSurvey, layout: TextLayout) -> None:
    if seen.watch is None or seen.watch.rate is None:
        return
    if found.sample_rate is None:
        found.sample_rate = seen.watch.rate
    starts = seen.watch.starts
    if len(starts) != layout.records:  # cut by length: the times run on
        starts = [starts[0] + record * layout.length / found.sample_rate for record in range(layout.records)]
    for key, value in triggers_from(starts[: layout.records], found.sample_rate, layout.length).items():
        setattr(found, key, value)
        if key == "trigger_time":
            found.time_origin = Fraction(starts[0])


class TextLayout:
    """Where a sample stands among the rows.

    Parameters
    ----------
    records, channels, length : int
        Of the session.
    by_channel : bool
        Whether a row holds one value of one channel.
    run : int
        How many rows of one channel follow one another, by channel; 1: channels take turns.

    Attributes
    ----------
    records, channels, length, by_channel, run
        As given.
    """

    def __init__(self, records: int, channels: int, length: int, by_channel: bool, run: int) -> None:
        self.records, self.channels, self.length = records, channels, length
        self.by_channel, self.run = by_channel, run

    @property
    def rows(self) -> int:
        """Rows of a record."""
        return self.length * (self.channels if self.by_channel else 1)


def _layout(ledger: Ledger, seen: TextSurvey, roles: Roles) -> TextLayout:
    """Return how many records of what length the rows make."""
    name = ledger.file_name
    channels = max(1, seen.channels) if roles.channel is not None else len(roles.values)
    each = seen.channels if roles.channel is not None else 1
    if roles.channel is not None and len(roles.values) != 1:
        raise RecordingError(f"{name}: has a column of channels and {len(roles.values)} columns of values",
                             "say which one column holds the values", "value_columns")  # fmt: skip
    rows = seen.record_rows
    if len(rows) > 1 and rows[-1] < rows[0]:
        ledger.odd.append(f"its last record has {rows[-1]:,} rows, the first {rows[0]:,}: it is left out")
        rows = rows[:-1]
    if len(set(rows)) > 1:
        other = next(place for place, count in enumerate(rows) if count != rows[0])
        raise RecordingError(
            f"{name}: record {other} has {rows[other]:,} rows, record 0 has {rows[0]:,}; a session's records are equal",
            "give the record length, or leave the record column aside (none)", "record_length",
        )  # fmt: skip
    if rows[0] % each:
        raise RecordingError(f"{name}: a record's {rows[0]:,} rows do not make {each} equal channels",
                             "see whether rows are missing", "channel_column")  # fmt: skip
    length = rows[0] // each
    if len(rows) > 1:
        ledger.note("record_length", str(length), "file" if ledger.given("record_length") is None else "option")
        if ledger.given("record_length") not in (None, str(length)):
            raise RecordingError(f"{name}: its records have {length:,} samples", "leave the record length out",
                                 "record_length")  # fmt: skip
        return TextLayout(len(rows), channels, length, roles.channel is not None, seen.run)
    if roles.channel is not None and seen.run != 1:
        ledger.note("record_length", str(length), "guessed", "nothing divides the rows into records")
        return TextLayout(1, channels, length, True, seen.run)
    records, length = records_in(ledger, length)
    return TextLayout(records, channels, length, roles.channel is not None, seen.run)


class TextSource(BlockSource):
    """A block source over the rows of a text file.

    Parameters
    ----------
    rows : Rows
        Looked through once already; closed with the source.
    layout : TextLayout
        Where a sample stands.
    skipped : int
        Columns of each row before the values.
    dtype : dtype
        The type to hand out.
    name : str
        The file's name, for errors.
    """

    def __init__(self, rows: Rows, layout: TextLayout, skipped: int, dtype: np.dtype[Any], name: str) -> None:
        self._rows, self._layout, self._skipped = rows, layout, skipped
        self._dtype, self._name = dtype, name

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._layout.records, self._layout.channels, self._layout.length

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as it is handed out."""
        return self._dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.
        """
        each, (_, count, length) = self._layout.rows, self.shape
        if len(samples) == length:
            block = self._arranged(self._values(records.start * each, records.stop * each), len(records))
            return np.ascontiguousarray(block[:, slice_of(channels)])
        block = np.empty((len(records), len(channels), len(samples)), self._dtype)
        for row, record in zip(block, records, strict=True):
            row[:] = self._stretch(record * each, count, channels, samples)
        return block

    def _arranged(self, values: Codes, records: int) -> Codes:
        """Return the values of whole records by record, channel and sample."""
        _, channels, length = self.shape
        if not self._layout.by_channel or self._layout.run == 1:
            return values.reshape(records, length, channels).transpose(0, 2, 1)
        return values.reshape(records, channels, length)

    def _stretch(self, start: int, count: int, channels: range, samples: range) -> Codes:
        """Return a part of the record whose rows begin at `start`, (channels, samples)."""
        if not self._layout.by_channel:
            return self._values(start + samples.start, start + samples.stop).T[slice_of(channels)]
        if self._layout.run == 1:
            values = self._values(start + samples.start * count, start + samples.stop * count)
            return values.reshape(-1, count).T[slice_of(channels)]
        starts = [start + channel * self._layout.length for channel in channels]
        return np.stack([self._values(at + samples.start, at + samples.stop)[:, 0] for at in starts])

    def _values(self, first: int, stop: int) -> Codes:
        """Return the values of some rows in the session's type, which is smaller than that of the numbers read."""
        columns = 1 if self._layout.by_channel else self._layout.channels
        values = np.empty((max(0, stop - first), columns), self._dtype)
        if len(values):
            for at, part in self._rows.between(first, stop):
                values[at : at + len(part)] = as_type(part[:, self._skipped :], self._dtype, self._name)
        return values

    def close(self) -> None:
        """Give back the file."""
        self._rows.close()
