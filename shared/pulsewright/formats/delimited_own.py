"""Delimited text that Pulsewright wrote: a session's facts stand above the rows, so that all of it comes back."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from pulsewright.block_source import BlockSource, Codes, slice_of
from pulsewright.errors import RecordingError
from pulsewright.formats.concluding import conclude
from pulsewright.formats.delimited_form import TextForm
from pulsewright.formats.delimited_rows import Rows
from pulsewright.formats.session_facts import MOST_BYTES, found_by, read_facts
from pulsewright.formats.text_lines import TextFile
from pulsewright.formats.understanding import Ledger, Reading
from pulsewright.layout import SAMPLE_TYPES

MARK = b"# pulsewright: "
CODES, UNITS = "codes", "units"


def is_own(head: bytes) -> bool:
    """Say whether a text file begins with a session's facts.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    """
    return head.startswith(MARK)


def read_own(path: Path, ledger: Ledger, text: TextFile, format_name: str) -> Reading:
    """Open a text file that Pulsewright wrote.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for what a person wants changed.
    text : TextFile
        Open; closed with the session.
    format_name : str
        What a person calls the format.

    Raises
    ------
    RecordingError
        If its facts are damaged, or its rows are not as many as they say.
    """
    facts = read_facts(_facts_text(text), path.name)
    channels, length = len(facts["names"]), facts["record_length"]
    form = TextForm(",", ".", "#", 1, ("",) * (2 + channels), ("",) * (2 + channels), (), None, ())
    rows = Rows(text, form, range(2, 2 + channels), None, None)
    count = 0
    for block in rows.all_blocks():
        count += len(block)
        ledger.step(rows.share, f"Looking through {path.name}")
    if not length or not count or count % length:
        raise RecordingError(f"{path.name}: its {count:,} rows make no whole records of {length:,}", "copy it again")
    source = OwnSource(rows, (count // length, channels, length), facts, path.name)
    return conclude(ledger, path, format_name, found_by(facts, source, path.name))


def _facts_text(text: TextFile) -> bytes:
    parts: list[bytes] = []
    size = 0
    for _, block in text.blocks():
        for line in block.split(b"\n"):
            bare = line.rstrip(b"\r")
            if not bare.startswith(MARK):
                return b"".join(parts)
            parts.append(bare.removeprefix(MARK))
            size += len(bare)
            if size > MOST_BYTES:
                raise RecordingError(f"{text.name}: the facts above its rows are too long", "write it out again")
    return b"".join(parts)


class OwnSource(BlockSource):
    """A block source over rows of codes, or of values in units from which the codes are found again.

    Parameters
    ----------
    rows : Rows
        Looked through once already; closed with the source.
    shape : tuple of int
        Records, channels, record length.
    facts : dict
        Of the session.
    name : str
        The file's name, for errors.
    """

    def __init__(self, rows: Rows, shape: tuple[int, int, int], facts: dict[str, object], name: str) -> None:
        self._rows, self._shape, self._name = rows, shape, name
        if facts["sample_type"] not in SAMPLE_TYPES or facts.get("values") not in (CODES, UNITS):
            raise RecordingError(f"{name}: does not say whether its rows hold codes", "write it out again")
        self._dtype = np.dtype(str(facts["sample_type"]))
        self._in_units = facts["values"] == UNITS
        self._scales, self._offsets = np.array(facts["scales"], float), np.array(facts["offsets"], float)

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._shape

    @property
    def dtype(self) -> np.dtype[np.generic]:
        """Type of a sample as it is handed out."""
        return self._dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.
        """
        _, count, length = self._shape
        if len(samples) == length:  # whole records lie one after another
            rows = self._codes(records.start * length, records.stop * length)
            block = rows.reshape(len(records), length, count).transpose(0, 2, 1)
        else:
            block = np.empty((len(records), count, len(samples)), self._dtype)
            for row, record in zip(block, records, strict=True):
                row[:] = self._codes(record * length + samples.start, record * length + samples.stop).T
        return np.ascontiguousarray(block[:, slice_of(channels)])

    def _codes(self, first: int, stop: int) -> Codes:
        """Return rows as whole codes that fit their type; float32 samples are written as they are."""
        rows = np.empty((stop - first, self._shape[1]), self._dtype)
        for at, part in self._rows.between(first, stop):
            rows[at : at + len(part)] = self._checked(part)
        return rows

    def _checked(self, values: Codes) -> Codes:
        if self._in_units and self._dtype.kind != "f":
            values = np.rint((values - self._offsets) / self._scales)
        if self._dtype.kind != "f":
            room = np.iinfo(self._dtype)
            if not bool(np.all((values >= room.min) & (values <= room.max) & (values == np.rint(values)))):
                raise RecordingError(f"{self._name}: holds values that are no {self._dtype}", "write it out again")
        return values

    def close(self) -> None:
        """Give back the file."""
        self._rows.close()
