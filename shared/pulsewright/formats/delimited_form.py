"""How a delimited text file is written: what stands between columns, the decimal mark, headings, units."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from pulsewright.errors import RecordingError
from pulsewright.formats.named_arrays import INTERVAL_NAMES, RATE_NAMES
from pulsewright.formats.option_values import parse_rate, whole_number
from pulsewright.formats.text_lines import HEAD, TextFile
from pulsewright.formats.understanding import Ledger
from pulsewright.quantity import PREFIXES, parse_number

DELIMITERS = {"tab": "\t", "semicolon": ";", "bar": "|", "comma": ",", "blanks": None}
DECIMALS = {"point": ".", "comma": ","}
_COMMENTS = ("#", "%", "//", "!", "--")
_LOOKED_AT = 60
LONGEST_CELL = 100
"""Letters of a cell that is looked at for a number, a date or a unit."""
_NUMBER = {
    "point": re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?(nan|inf)", re.IGNORECASE),
    "comma": re.compile(r"[+-]?(\d+,?\d*|,\d+)([eE][+-]?\d+)?|[+-]?(nan|inf)", re.IGNORECASE),
}
_DATE = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d+)?)?([+-]\d\d:?\d\d|Z)?")
_UNIT = re.compile(r"^(?P<name>.*?)\s*(?:\((?P<a>[^()]*)\)|\[(?P<b>[^\[\]]*)\]|\s/\s*(?P<c>\S+))\s*$")
_SAID = re.compile(r"^\W*(?P<key>[A-Za-z][A-Za-z _-]*?)\s*(?:\((?P<unit>[^)]*)\)|\[(?P<unit2>[^\]]*)\])?\s*[:=;,\t]\s*"
                   r"(?P<value>[^:=;,\t]+)")  # fmt: skip
_BASES = ("samples", "Pa", "Hz", "Ohm", "deg", "V", "A", "m", "g", "N", "K", "W", "s", "T", "C", "F", "Ω")


@dataclass(frozen=True)
class TextForm:
    """How the rows of a file are written.

    Attributes
    ----------
    delimiter : str or None
        None: any number of blanks.
    decimal : str
        ``.`` or ``,``.
    comment : str
        What a line begins with that is no data; empty if nothing does.
    header_lines : int
        Lines before the first row of numbers, comments and empty lines aside.
    headings : tuple of str
        One for each column, empty where there is none.
    units : tuple of str
        One for each column, empty where none is said.
    first_rows : tuple of tuple of str
        The first rows' cells.
    rate : float or None
        A sample rate that stands above the rows, hertz.
    preamble : tuple of str
        Lines above the rows, headings aside.
    """

    delimiter: str | None
    decimal: str
    comment: str
    header_lines: int
    headings: tuple[str, ...]
    units: tuple[str, ...]
    first_rows: tuple[tuple[str, ...], ...]
    rate: float | None
    preamble: tuple[str, ...]

    @cached_property
    def times_used(self) -> Counter[str]:
        """How many columns have each heading."""
        return Counter(self.headings)

    @property
    def columns(self) -> int:
        """How many columns there are."""
        return len(self.headings)

    def column_of_numbers(self, column: int) -> bool:
        """Say whether most of the first rows hold numbers in a column: what else stands there is then told as wrong.

        Parameters
        ----------
        column : int
            From 0.
        """
        kind = "comma" if self.decimal == "," else "point"
        numbers = sum(_is_number(kind, row[column]) for row in self.first_rows)
        return 2 * numbers > len(self.first_rows)

    def column_of_dates(self, column: int) -> bool:
        """Say whether the first rows hold dates with a time of day in a column.

        Parameters
        ----------
        column : int
            From 0.
        """
        return all(len(row[column]) <= LONGEST_CELL and _DATE.fullmatch(row[column]) for row in self.first_rows)


def _is_number(kind: str, cell: str) -> bool:
    """Say whether a cell is a number; one longer than any is not looked through, which could take for ever."""
    return len(cell) <= LONGEST_CELL and _NUMBER[kind].fullmatch(cell) is not None


def cells_of(line: str, delimiter: str | None) -> list[str]:
    """Return the cells of a line, without quotes and blanks around them.

    Parameters
    ----------
    line : str
        One line.
    delimiter : str or None
        None: any number of blanks.
    """
    parts = line.split() if delimiter is None else line.split(delimiter)
    return [part.strip().strip('"').strip() for part in parts]


def find_form(ledger: Ledger, text: TextFile) -> TextForm:
    """Return how a file is written, from its first 64 KiB and from what a person says.

    Parameters
    ----------
    ledger : Ledger
        Asked for encoding, delimiter, decimal mark, comment mark and header lines.
    text : TextFile
        Open.

    Raises
    ------
    RecordingError
        If there are no rows of numbers.
    """
    ledger.decide("encoding", str, in_file=text.encoding if text.encoding != "latin-1" else None, guess=text.encoding,
                  why="it is not UTF-8")  # fmt: skip
    shown = text.head.decode("utf-8" if text.encoding.startswith("utf") else text.encoding, "replace").lstrip("\ufeff")
    lines = shown.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if len(text.head) >= HEAD:
        lines.pop()  # cut off
    comment = ledger.decide(
        "comment", lambda given: "" if given == "none" else given, lambda mark: mark or "none",
        guess=_comment_mark(lines), why="the first lines begin so" if _comment_mark(lines) else "no line has one",
    )  # fmt: skip
    comment = comment or ""
    remarks = [line for line in lines if comment and line.lstrip().startswith(comment)]
    rows = [line for line in lines if line.strip() and not (comment and line.lstrip().startswith(comment))]
    delimiter, decimal = _marks(ledger, rows)
    if decimal == delimiter:
        raise RecordingError(f"{ledger.file_name}: the comma cannot divide columns and decimals", "choose", "decimal")
    kind = "comma" if decimal == "," else "point"
    guess = _first_row(rows, delimiter, kind)
    skipped = ledger.decide("header_lines", whole_number, guess=guess, why="numbers begin there")
    assert skipped is not None
    first_rows = [cells_of(line, delimiter) for line in rows[skipped : skipped + _LOOKED_AT]]
    if not first_rows or not any(_is_number(kind, cell) for cell in first_rows[0]):
        raise RecordingError(f"{ledger.file_name}: holds no rows of numbers", "give its delimiter and decimal mark",
                             "delimiter")  # fmt: skip
    count = len(first_rows[0])
    headings, units, used = _headings(rows[:skipped], remarks, delimiter, comment, count)
    above = [line for line in (*remarks, *rows[:skipped]) if line not in used]
    return TextForm(
        delimiter, decimal, comment, skipped, headings, units,
        tuple(tuple(row) for row in first_rows if len(row) == count), _rate(above, comment), tuple(above),
    )  # fmt: skip


def _comment_mark(lines: Sequence[str]) -> str:
    first = next((line.lstrip() for line in lines if line.strip()), "")
    return next((mark for mark in _COMMENTS if first.startswith(mark)), "#" if any(
        line.startswith("#") for line in lines[:_LOOKED_AT]) else "")  # fmt: skip


def _marks(ledger: Ledger, rows: Sequence[str]) -> tuple[str | None, str]:
    """Return delimiter and decimal mark: those under which the last lines looked at hold the most numbers."""
    best, chosen = -1.0, ("comma", "point")
    for name in DELIMITERS:
        for kind in DECIMALS:
            if name == kind:
                continue
            score = _score(rows[-_LOOKED_AT:], DELIMITERS[name], kind)
            if score > best:
                best, chosen = score, (name, kind)
    delimiter = ledger.decide("delimiter", _delimiter, guess=chosen[0], why="the first lines divide so",
                              choices=tuple(DELIMITERS))  # fmt: skip
    decimal = ledger.decide("decimal", lambda text: DECIMALS[text] and text, guess=chosen[1],
                            why="the first lines are written so", choices=tuple(DECIMALS))  # fmt: skip
    assert delimiter is not None
    assert decimal is not None
    return DELIMITERS.get(delimiter, delimiter), DECIMALS[decimal]


def _delimiter(text: str) -> str:
    if text not in DELIMITERS and len(text) != 1:
        raise ValueError(text)
    return text


def _score(rows: Sequence[str], delimiter: str | None, kind: str) -> float:
    cells = [cells_of(line, delimiter) for line in rows]
    widths = {len(row) for row in cells[len(cells) // 2 :]}
    if len(widths) != 1 or not cells:
        return -1.0
    last = cells[len(cells) // 2 :]
    numeric = sum(all(_is_number(kind, row[column]) for row in last) for column in range(widths.pop()))
    return numeric - 0.5 * (len(last[0]) - numeric) if numeric else -1.0


def _first_row(rows: Sequence[str], delimiter: str | None, kind: str) -> int:
    """Return how many lines stand before the first that is made like the last ones."""
    if not rows:
        return 0
    usual = [_is_number(kind, cell) for cell in cells_of(rows[-1], delimiter)]
    for number, line in enumerate(rows):
        cells = cells_of(line, delimiter)
        if len(cells) == len(usual) and all(
            _is_number(kind, cell) for cell, is_number in zip(cells, usual, strict=True) if is_number
        ):
            return number
    return 0


def _headings(
    above: Sequence[str], remarks: Sequence[str], delimiter: str | None, comment: str, count: int
) -> tuple[tuple[str, ...], tuple[str, ...], set[str]]:
    """Return headings and units of the columns, and the lines that they were taken from."""
    fitting = [line for line in above if len(cells_of(line, delimiter)) == count]
    if not fitting and remarks:
        last = remarks[-1].lstrip().removeprefix(comment)
        fitting = [last] if len(cells_of(last, delimiter)) == count and count > 1 else []
    if not fitting:
        return ("",) * count, ("",) * count, set()
    names, units = cells_of(fitting[-1], delimiter), [""] * count
    used = {fitting[-1], comment + fitting[-1]}
    if len(fitting) > 1 and all(_is_unit(cell) for cell in names):
        units = [cell.strip("()[] ") for cell in names]
        names = cells_of(fitting[-2], delimiter)
        used.add(fitting[-2])
    for place, name in enumerate(names):
        found = _UNIT.match(name) if len(name) <= LONGEST_CELL else None
        if found is not None and found["name"]:
            names[place] = found["name"]
            units[place] = (found["a"] or found["b"] or found["c"] or "").strip()
    return tuple(names), tuple(units), used


def _is_unit(cell: str) -> bool:
    bare = cell.strip("()[] ")
    return bare == "" or cell != bare or prefixed_unit(bare)[1] in _BASES


def prefixed_unit(unit: str) -> tuple[float, str]:
    """Return what a unit is worth in its SI unit, and that unit: ``mV`` is 0.001 V; one that is not known is left.

    Parameters
    ----------
    unit : str
        As it stands in a heading.
    """
    if unit in _BASES or not unit:
        return 1.0, unit
    for base in _BASES:
        if unit.endswith(base) and unit.removesuffix(base) in PREFIXES:
            return parse_number(f"1 {unit}", base), base
    if unit.lower() in ("sec", "second", "seconds", "volt", "volts"):
        return 1.0, unit[0].lower() if unit[0].lower() == "s" else "V"
    return 1.0, unit


def _rate(lines: Sequence[str], comment: str) -> float | None:
    """Return a sample rate that one of the lines above the rows names."""
    for line in lines:
        if len(line) > 4 * LONGEST_CELL:
            continue
        found = _SAID.match(line.lstrip().removeprefix(comment) if comment else line)
        if found is None:
            continue
        key = re.sub(r"[ _-]+", "_", found["key"].strip().lower())
        unit = found["unit"] or found["unit2"] or ""
        value = f"{found['value'].strip()} {unit}".strip().strip('"')
        try:
            if key in RATE_NAMES:
                return parse_rate(value)
            if key in INTERVAL_NAMES:
                return 1.0 / parse_number(value, "s")
        except (RecordingError, ValueError, ZeroDivisionError, OverflowError):
            continue
        except Exception as error:  # a remark may be anything: only what is a rate counts
            from pulsewright.errors import PulsewrightError

            if not isinstance(error, PulsewrightError):
                raise
    return None
