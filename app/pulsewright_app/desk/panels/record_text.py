"""Rows of the records as tab-separated text at full precision, made on any thread: there may be very many. No Qt."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from pulsewright_analysis.record_table import RecordTable
from pulsewright_app.desk.additions import Additions

SIGNS = {1: "positive", -1: "negative", 0: "none"}
"""The words of polarity."""
_BETWEEN_LOOKS = 1000
"""Rows made before it is asked again whether they are still wanted."""


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

    def text(self, cancelled: Callable[[], bool] = lambda: False) -> str:
        """Return the text, the headings first; empty if it was called off."""
        lines = ["\t".join(self.headings)]
        for place, cells in enumerate(self._rows()):
            if place % _BETWEEN_LOOKS == 0 and cancelled():
                return ""
            lines.append("\t".join(cells))
        return "\n".join(lines) + "\n"

    def _rows(self) -> Iterator[tuple[str, ...]]:
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
                _on_one_line(said.left_out.get(record, "")),
                _on_one_line(said.notes.get(record, "")),
            )


def exact(number: float) -> str:
    """Return a number at full precision; empty where it is not known."""
    return repr(float(number)) if math.isfinite(number) else ""


def _on_one_line(text: str) -> str:
    return " ".join(text.split())
