"""Writes the tables of an assessment as CSV files into a folder."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pulsewright.errors import PulsewrightError

if TYPE_CHECKING:
    from pulsewright.review import Review
    from pulsewright_analysis.assessment import Assessment
    from pulsewright_analysis.findings import Watch
    from pulsewright_analysis.tables import Table

RUN_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""A spreadsheet takes a cell that begins with one of these for a formula."""
_ROWS_A_LOOK = 200
"""Rows between two looks at whether to go on."""


def write_csv(
    assessment: Assessment, folder: Path, review: Review | None = None, watch: Watch | None = None
) -> list[Path]:
    """Write one CSV file for each table: UTF-8, a heading with units, what was not measured left empty.

    Parameters
    ----------
    assessment : Assessment
    folder : Path
        Made if it is missing; files of the same names in it are replaced, each whole or not at all.
    review : Review, optional
        What a person added: its marker pairs are a table too.
    watch : Watch, optional
        Told which table is written; stops the work when it is called off.

    Returns
    -------
    list of Path

    Raises
    ------
    PulsewrightError
        If the folder cannot be written to.
    Cancelled
        If it was called off; the tables before are written.
    """
    from pulsewright_analysis.tables import tables_of

    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tables = tables_of(assessment, review)
        for place, (name, table) in enumerate(tables.items()):
            if watch is not None:
                watch.at(place / len(tables), f"writing {name}")
            path = folder / f"{name}.csv"
            _write(path, _headings(table), table.rows.tolist(), len(table.rows), _quiet(watch))
            written.append(path)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PulsewrightError(
            f"{folder}: the tables cannot be written there ({reason})", "give another folder"
        ) from error
    return written


def write_table(table: Table, path: Path, watch: Watch | None = None) -> None:
    """Write one table as a CSV file, whole or not at all; the form is that of `write_csv`.

    Parameters
    ----------
    table : Table
    path : Path
    watch : Watch, optional
        Told how far it is; stops the work when it is called off.

    Raises
    ------
    PulsewrightError
        If it cannot be written there.
    Cancelled
        If it was called off; nothing is written then.
    """
    write_rows(path, _headings(table), table.rows.tolist(), len(table.rows), watch)


def write_rows(
    path: Path, headings: Sequence[str], rows: Iterable[Iterable[Any]], number: int, watch: Watch | None = None
) -> None:
    """Write rows under their headings as a CSV file, whole or not at all.

    Parameters
    ----------
    path : Path
    headings : sequence of str
    rows : iterable of iterable
        Values, row by row; None for what is not known.
    number : int
        How many rows there are.
    watch : Watch, optional
        As for `write_table`.

    Raises
    ------
    PulsewrightError, Cancelled
        As `write_table`.
    """
    try:
        _write(path, headings, rows, number, watch)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PulsewrightError(
            f"{path}: cannot be written ({reason}); what was there before is untouched", "give another name"
        ) from error


def _quiet(watch: Watch | None) -> Watch | None:
    """Return what stops the work alike, and is told nothing."""
    return None if watch is None else replace(watch, progress=None)


def _headings(table: Table) -> list[str]:
    return [table.heading(column) for column in table.columns]


def _write(
    path: Path, headings: Sequence[str], rows: Iterable[Iterable[Any]], number: int, watch: Watch | None
) -> None:
    from pulsewright.atomic import replacing

    with replacing(path) as temporary:
        with temporary.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(headings)
            for place, row in enumerate(rows):
                if watch is not None and place % _ROWS_A_LOOK == 0:
                    watch.at(place / number, "writing the table")
                writer.writerow([cell(value) for value in row])
        if watch is not None:
            watch.check()  # for the last time: the old file is still there


def cell(value: Any) -> str:
    """Return a value as a cell: numbers at full precision, text so that no spreadsheet runs it as a formula."""
    if value is None:
        return ""
    if isinstance(value, float):
        return "" if math.isnan(value) else repr(value)
    if isinstance(value, str):
        return f"'{value}" if value.startswith(RUN_AS_FORMULA) else value
    return str(value).lower() if isinstance(value, bool) else str(value)
