"""What the rows of the records say at full precision. No Qt."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pulsewright_analysis.record_table import RecordTable
from pulsewright_app.desk.additions import Additions
from pulsewright_app.desk.panels.rows_text import exact, on_one_line

SIGNS = {1: "positive", -1: "negative", 0: "none"}
"""The words of polarity."""


@dataclass(frozen=True)
class RecordText:
    """Rows as they were when somebody copied them.

    Attributes
    ----------
    headings : tuple of str
        Of the columns, in the order of the table.
    rows : RecordTable
    additions : Additions
    clipped : mapping of int to str
        The channels that are clipped, by record.
    records : sequence of int
        Which rows, in their order.
    """

    headings: tuple[str, ...]
    rows: RecordTable
    additions: Additions
    clipped: Mapping[int, str]
    records: Sequence[int]

    def cells(self) -> Iterator[tuple[str, ...]]:
        """Return the cells of each row."""
        rows, said, clipped = self.rows, self.additions, self.clipped
        for record in self.records:
            yield (
                str(record),
                "yes" if record in said.flags else "no",
                exact(rows.trigger_time[record]),
                exact(rows.gap[record]),
                SIGNS[int(rows.polarity[record])] if rows.measured[record] else "",
                exact(rows.first_pulse[record]),
                exact(rows.residual[record]),
                clipped.get(record, ""),
                on_one_line(said.left_out.get(record, "")),
                on_one_line(said.notes.get(record, "")),
            )
