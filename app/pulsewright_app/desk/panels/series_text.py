"""What the rows of a pair over all records say at full precision, its foot among them. No Qt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pulsewright_analysis.marker_series import PairSeries
from pulsewright_app.desk.panels.rows_text import exact, on_one_line

FOOT = ("Mean", "Standard deviation")
_SIGNS = {1: "+", -1: "−", 0: "fixed"}


@dataclass(frozen=True)
class SeriesText:
    """Rows as they were when somebody copied them.

    Attributes
    ----------
    headings : tuple of str
        Of the columns, in the order of the table.
    series : PairSeries
    rows : sequence of int
        Which rows: the records, and those of the foot below them.
    """

    headings: tuple[str, ...]
    series: PairSeries
    rows: Sequence[int]

    def cells(self) -> Iterator[tuple[str, ...]]:
        """Return the cells of each row."""
        series = self.series
        each = series.delta / series.intervals
        intervals = str(series.intervals)
        for row in self.rows:
            foot = row - len(series.delta)
            if foot >= 0:
                yield foot_cells(series, foot)
                continue
            reason = series.reasons[row]
            t1, t2, delta, share = (
                "" if reason else exact(values[row]) for values in (series.t1, series.t2, series.delta, each)
            )
            yield str(row), t1, t2, delta, intervals, share, polarity_text(series, row), on_one_line(reason)


def foot_cells(series: PairSeries, row: int) -> tuple[str, ...]:
    """Return the cells of a row of the foot at full precision."""
    value = (None if series.mean is None else series.mean.value, series.deviation)[row]
    delta, each = ("" if value is None else repr(value * share) for share in (1.0, 1 / series.intervals))
    return FOOT[row], "", "", delta, "", each, "", f"of {len(series.measured)} of {len(series.delta)} records"


def polarity_text(series: PairSeries, record: int) -> str:
    """Return the polarity of the pulse that each end follows, such as ``+, −``; empty where there is none."""
    first, second = (_SIGNS[sign] for sign in series.polarity[record].tolist())
    return "" if series.reasons[record] else f"{first}, {second}"
