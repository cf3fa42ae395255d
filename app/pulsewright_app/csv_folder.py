"""Writes the tables of an assessment as CSV files into a folder."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pulsewright.errors import PulsewrightError

if TYPE_CHECKING:
    from pulsewright.review import Review
    from pulsewright_analysis.assessment import Assessment
    from pulsewright_analysis.tables import Table

RUN_AS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""A spreadsheet takes a cell that begins with one of these for a formula."""


def write_csv(assessment: Assessment, folder: Path, review: Review | None = None) -> list[Path]:
    """Write one CSV file for each table: UTF-8, a heading with units, what was not measured left empty.

    Parameters
    ----------
    assessment : Assessment
    folder : Path
        Made if it is missing; files of the same names in it are replaced, each whole or not at all.
    review : Review, optional
        What a person added: its marker pairs are a table too.

    Returns
    -------
    list of Path

    Raises
    ------
    PulsewrightError
        If the folder cannot be written to.
    """
    from pulsewright.atomic import replacing
    from pulsewright_analysis.tables import tables_of

    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in tables_of(assessment, review).items():
            path = folder / f"{name}.csv"
            with replacing(path) as temporary:
                _write(table, temporary)
            written.append(path)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PulsewrightError(
            f"{folder}: the tables cannot be written there ({reason})", "give another folder"
        ) from error
    return written


def write_table(table: Table, path: Path) -> None:
    """Write one table as a CSV file, whole or not at all; the form is that of `write_csv`.

    Parameters
    ----------
    table : Table
    path : Path

    Raises
    ------
    PulsewrightError
        If it cannot be written there.
    """
    from pulsewright.atomic import replacing

    try:
        with replacing(path) as temporary:
            _write(table, temporary)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise PulsewrightError(
            f"{path}: cannot be written ({reason}); what was there before is untouched", "give another name"
        ) from error


def _write(table: Table, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow([table.heading(column) for column in table.columns])
        for row in table.rows.tolist():
            writer.writerow([cell(value) for value in row])


def cell(value: Any) -> str:
    """Return a value as a cell: numbers at full precision, text so that no spreadsheet runs it as a formula."""
    if isinstance(value, float):
        return "" if math.isnan(value) else repr(value)
    if isinstance(value, str):
        return f"'{value}" if value.startswith(RUN_AS_FORMULA) else value
    return str(value).lower() if isinstance(value, bool) else str(value)
