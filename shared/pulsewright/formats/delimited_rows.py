"""The rows of a delimited text file as numbers, block by block and from any row on."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime
from io import StringIO
from typing import Any

import numpy as np

from pulsewright.errors import RecordingError
from pulsewright.formats.delimited_form import TextForm
from pulsewright.formats.text_lines import TextFile
from pulsewright.session import Floats

_MOST_NAMES = 4096
_AT = re.compile(r"at row (\d+)(?:, column (\d+))?")
_CELL = re.compile(r"could not convert string (.{1,60}?) to ")


class Rows:
    """Reads rows of some columns as float64; columns of names become their places, dates become seconds.

    Parameters
    ----------
    text : TextFile
        Open.
    form : TextForm
        How it is written.
    columns : sequence of int
        Those wanted, from 0.
    names_in : int or None
        A column of names.
    dates_in : int or None
        A column of dates.

    Attributes
    ----------
    names : list of str
        The names found so far, in the order of their first rows.
    """

    def __init__(
        self, text: TextFile, form: TextForm, columns: Sequence[int], names_in: int | None, dates_in: int | None
    ) -> None:
        self._text, self._form, self._columns = text, form, tuple(columns)
        self.names: list[str] = []
        self._places: dict[str, int] = {}
        self._first_date: datetime | None = None
        self._converters: dict[int, Callable[[str], float]] = {}
        if names_in is not None:
            self._converters[names_in] = self._place_of
        if dates_in is not None:
            self._converters[dates_in] = self._seconds_of
        self._starts: list[tuple[int, int]] = []  # number of the first row, place in the text
        self._kept: tuple[int, Floats] | None = None
        self._ahead: Iterator[tuple[int, bytes]] | None = None
        self._next_row, self._header = 0, 0

    def all_blocks(self) -> Iterator[Floats]:
        """Yield every row once, in blocks (rows, columns), and note where each block begins.

        Yields
        ------
        array (rows, columns)
            As they stand in the file.

        Raises
        ------
        RecordingError
            If a cell is no number, with its line.
        """
        row, line = 0, 1
        header = self._form.header_lines
        for place, block in self._text.blocks():
            kept, header = self._data_lines(block, header)
            values = self._parsed(kept, line)
            line += block.count(b"\n")
            self._starts.append((row, place))
            row += len(values)
            if len(values):
                yield values

    @property
    def share(self) -> float:
        """How much of the file the look through it has read, 0 … 1."""
        return self._text.share

    def between(self, first: int, stop: int) -> Iterator[tuple[int, Floats]]:
        """Yield rows first … stop − 1 in parts, none much larger than a block of text.

        Parameters
        ----------
        first, stop : int
            After `all_blocks` has been through.

        Yields
        ------
        int, array (rows, columns)
            Which of the wanted rows the part begins with, from 0.

        Raises
        ------
        RecordingError
            If the file has changed since.
        """
        have = first
        for row, values in self._blocks_from(first):
            part = values[max(0, have - row) : stop - row]
            if len(part):
                yield have - first, part
                have += len(part)
            if have >= stop:
                return
        raise RecordingError(f"{self._text.name}: has become shorter", "copy the file again")

    def _blocks_from(self, first: int) -> Iterator[tuple[int, Floats]]:
        """Yield (number of the first row, rows) from the block on that holds a row.

        The look goes on where the last one ended: packed text could only be read from its beginning again.
        """
        if self._kept is not None and self._kept[0] <= first < self._kept[0] + len(self._kept[1]):
            yield self._kept
            first = self._kept[0] + len(self._kept[1])
        if self._ahead is None or self._next_row != first:
            at = max(0, bisect_right(self._starts, first, key=lambda start: start[0]) - 1)
            self._next_row, place = self._starts[at]
            self._ahead = self._text.blocks(place)
            self._header = self._form.header_lines if at == 0 else 0
        for _, block in self._ahead:
            kept, self._header = self._data_lines(block, self._header)
            values = self._parsed(kept, 0)
            self._kept = (self._next_row, values)
            self._next_row += len(values)
            yield self._kept

    def _data_lines(self, block: bytes, header: int) -> tuple[bytes, int]:
        """Return a block without comments and header lines, and how many header lines are still to come."""
        mark = self._form.comment.encode()
        text = block.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in block else block
        if not header and not (mark and mark in text):
            return text, 0
        kept = []
        for line in text.split(b"\n"):
            bare = line.lstrip(b" \t\xef\xbb\xbf")
            if not bare or (mark and bare.startswith(mark)):
                continue
            if header:
                header -= 1
                continue
            kept.append(line)
        return b"\n".join(kept), header

    def _parsed(self, lines: bytes, first_line: int) -> Floats:
        text = lines.decode("utf-8" if self._text.encoding.startswith("utf") else self._text.encoding, "replace")
        text = text.lstrip("\ufeff")
        if not text.strip():
            return np.empty((0, len(self._columns)))
        if self._form.decimal == ",":
            text = text.replace(",", ".")
        more: dict[str, Any] = {"converters": self._converters} if self._converters else {}
        try:
            values: Floats = np.loadtxt(
                StringIO(text), delimiter=self._form.delimiter, comments=None, usecols=self._columns, ndmin=2,
                quotechar='"', encoding=None, **more,
            )  # fmt: skip
        except (ValueError, TypeError, OverflowError, IndexError) as error:
            raise self._unusable(str(error), first_line) from error
        return values

    def _unusable(self, said: str, first_line: int) -> RecordingError:
        at = _AT.search(said)
        line = f"near line {first_line + int(at[1]) + self._form.header_lines:,}" if at and first_line else "in a row"
        cell = _CELL.search(said)
        what = f"{cell[1]} is no number" if cell else "a row has fewer columns than the first"
        if "converter" in said or "date" in said:
            what = "a cell is neither a name nor a date"
        return RecordingError(f"{self._text.name}: {line} {what}", "see how the rows are written", "value_columns")

    def _place_of(self, cell: str) -> float:
        name = cell.strip().strip('"')
        place = self._places.get(name)
        if place is None:
            if len(self._places) >= _MOST_NAMES:
                raise ValueError("too many names")
            place = self._places[name] = len(self.names)
            self.names.append(name)
        return float(place)

    def _seconds_of(self, cell: str) -> float:
        date = datetime.fromisoformat(cell.strip().strip('"').replace("Z", "+00:00"))
        if self._first_date is None:
            self._first_date = date
        return (date - self._first_date).total_seconds()

    def close(self) -> None:
        """Give back the file."""
        self._text.close()
