"""Prints the record table of a session, or the rows that match a filter: readable, as JSON, or as CSV."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pulsewright_analysis.record_table import RecordTable

SCHEMA = "pulsewright-records/1"
_SIGNS = {1: "positive", -1: "negative", 0: "none"}


def run_records(
    file: Path, where: str, channel: str | None, as_json: bool, as_csv: bool, options: Mapping[str, Any]
) -> int:
    """Print the rows of the records that match.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, a setting cannot be used, or the filter cannot be understood.
    """
    from pulsewright.errors import PulsewrightError
    from pulsewright_analysis.record_filter import parse_filter
    from pulsewright_analysis.record_table import record_table
    from pulsewright_app.inputs import open_with_settings
    from pulsewright_app.printing import print_json, progress_on_stderr

    if as_json and as_csv:
        raise PulsewrightError("--json and --csv: only one form can be printed", "leave one of them out")
    given = open_with_settings(file, None, options)
    with given.session as session:
        seen_from = None if channel is None else session.channel_index(channel)
        if seen_from is not None or len({c.unit for c in session.channels}) == 1:
            # a mistake in the filter is told before the measuring, not after it
            parse_filter(where, session.channels[seen_from or 0].unit)
        with progress_on_stderr("Measuring") as progress:
            findings = given.assess(progress).findings
        table = record_table(session, findings, seen_from, given.review)
    matching = parse_filter(where, table.unit).matching(table)
    rows = [row_of(table, int(record)) for record in matching]
    name = findings.channel_name(table.channel)
    if as_json:
        body = {
            "schema": SCHEMA,
            "channel": name,
            "unit": table.unit,
            "where": where,
            "of": len(table),
            "records": rows,
        }
        print_json(body)
    elif as_csv:
        print(csv_of(rows, list(row_of(table, 0))), end="")
    else:
        _print_table(table, rows, name)
    return 0


def row_of(table: RecordTable, record: int) -> dict[str, Any]:
    """Return what is known of a record as plain Python in SI units, None where it is not known."""

    def known(column: Any) -> float | None:
        return float(column[record]) if math.isfinite(column[record]) else None

    measured = bool(table.measured[record])
    return {
        "record": record,
        "trigger_time_s": known(table.trigger_time),
        "gap_s": known(table.gap),
        "measured": measured,
        "polarity": int(table.polarity[record]) if measured else None,
        "confidence": known(table.confidence),
        "first_pulse_s": known(table.first_pulse),
        "first_pulse_u_s": known(table.first_pulse_u),
        "residual_s": known(table.residual),
        "residual_u_s": known(table.residual_u),
        "amplitude": known(table.amplitude),
        "amplitude_u": known(table.amplitude_u),
        "width_s": known(table.width),
        "width_u_s": known(table.width_u),
        "pulses": int(table.pulses[record]) if measured else None,
        "clipped": bool(table.clipped[record]) if measured else None,
        "clipped_anywhere": bool(table.clipped_anywhere[record]) if measured else None,
        "missed_before": int(table.missed_before[record]) if measured else None,
        "slip": int(table.slip[record]) if measured else None,
        "repeats": int(table.repeats[record]) if table.repeats[record] >= 0 else None,
        "out_of_place": bool(table.out_of_place[record]) if measured else None,
        "out_of_step": bool(table.out_of_step[record]) if measured else None,
        "flagged": bool(table.flagged[record]),
        "note": table.notes.get(record, ""),
        "left_out": table.reasons.get(record),
    }


def csv_of(rows: list[dict[str, Any]], columns: list[str]) -> str:
    """Return rows as CSV: numbers at full precision, text so that no spreadsheet runs it as a formula."""
    from pulsewright_app.csv_folder import cell

    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([cell(value) for value in row.values()])
    return stream.getvalue()


def _print_table(table: RecordTable, rows: list[dict[str, Any]], channel: str) -> None:
    from rich.table import Table

    from pulsewright.quantity import engineering, with_uncertainty
    from pulsewright_app.printing import page

    shown = Table(box=None, pad_edge=False)
    headings = ("Record", "Trigger", "Gap", "Polarity", f"First pulse on {channel}", "Residual", "Said")
    for place, heading in enumerate(headings):
        shown.add_column(heading, justify="left" if place in (3, 6) else "right")

    def pair(value: Any, expanded: Any) -> str:
        return with_uncertainty(float(value), float(expanded), "s") if math.isfinite(value) else ""

    for row in rows:
        record = row["record"]
        said = ["flagged"] if row["flagged"] else []
        said += [f"left out: {row['left_out']}"] if row["left_out"] is not None else []
        said += [row["note"]] if row["note"] else []
        shown.add_row(
            str(record),
            "" if row["trigger_time_s"] is None else engineering(row["trigger_time_s"], "s", 6),
            "" if row["gap_s"] is None else engineering(row["gap_s"], "s", 6),
            _SIGNS[row["polarity"]] if row["measured"] else "",
            pair(table.first_pulse[record], table.first_pulse_expanded[record]),
            pair(table.residual[record], table.residual_expanded[record]),
            "; ".join(said),
        )
    console = page()
    console.print(f"{len(rows)} of {len(table)} records")
    if rows:
        console.print(shown)
