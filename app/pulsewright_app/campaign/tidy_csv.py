"""Writes the results of a campaign as three tidy CSV files: one row for a session, a quantity, a verdict."""

from __future__ import annotations

import csv
from pathlib import Path

from pulsewright.atomic import replacing
from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.csv_folder import cell

TABLES = ("sessions", "quantities", "verdicts")


def write_tidy_csv(results: ResultsFile, folder: Path) -> list[Path]:
    """Write ``sessions.csv``, ``quantities.csv`` and ``verdicts.csv``; units stand in a column of their own.

    Raises
    ------
    PulsewrightError
        If the folder cannot be written to; each file is whole or as it was.
    """
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in TABLES:
            columns, rows = results.rows(name)
            path = folder / f"{name}.csv"
            with replacing(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as stream:
                writer = csv.writer(stream, lineterminator="\n")
                writer.writerow(columns)
                writer.writerows([["" if value is None else cell(value) for value in row] for row in rows])
            written.append(path)
    except OSError as error:
        raise PulsewrightError(
            f"{folder}: the tables cannot be written there ({error.strerror or error})", "give another folder"
        ) from error
    return written
