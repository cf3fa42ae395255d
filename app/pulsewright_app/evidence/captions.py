"""What stands below an Afterglow, a Map and a stack of records, and how high they are: one wording for the sheet."""

from __future__ import annotations

from collections.abc import Sequence

from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.accumulating import MOST_RECORDS_IN_ROWS, one_in
from pulsewright_app.evidence.dimensions import Dimensions
from pulsewright_app.glow import GlowPicture
from pulsewright_app.map_rows import MapRows
from pulsewright_app.wording import count, ranges

GLOW_MM = 74.0
PAIR_MM = 5.0
"""Room for the dimension line of a marker pair."""
_MAP_MM, _LEAST_MAP_MM, _MOST_MAP_MM = 40.0, 52.0, 110.0
_ROW_MM = 0.8


def glow_height(shown: Dimensions) -> float:
    """Return the height in millimetres of an Afterglow with marker pairs above it."""
    return GLOW_MM + PAIR_MM * len(shown.pairs)


def glow_caption(glow: GlowPicture, name: str, about: str = "", *, logarithmic: bool = True, shown: Dimensions) -> str:
    """Return what an Afterglow shows.

    Parameters
    ----------
    glow : GlowPicture
    name : str
        The channel's.
    about : str
        What aligns the records; empty where the trigger does.
    logarithmic : bool
        Whether the ink follows the logarithm of the count.
    shown : Dimensions
        The marker pairs and level pairs that are drawn with it.
    """
    denser = f"the ink gets denser with the {'logarithm of the ' if logarithmic else ''}number of records"
    told = [
        f"Afterglow of {count(glow.records, 'record')} on {name}, aligned by {about or 'the trigger'}: {denser} whose "
        f"trace passes through a spot."
    ]
    if len(glow.counts) > 1:
        told.append("Dark where the polarity is positive, light where it is negative, grey where there is none.")
    if glow.unplaced:
        told.append(f"{count(glow.unplaced, 'record')} could not be aligned.")
    if shown:
        kinds = [word for word, some in (("marker", shown.pairs), ("level", shown.levels)) if some]
        told.append(f"Dimension lines: the {' and '.join(kinds)} pairs.")
    return " ".join(told) + shown.sentence


def map_height(rows: MapRows) -> float:
    """Return the height in millimetres of a Map."""
    return min(max(_MAP_MM + _ROW_MM * len(rows.numbers), _LEAST_MAP_MM), _MOST_MAP_MM)


def map_caption(rows: MapRows, name: str, asked: int, findings: Findings) -> str:
    """Return what a Map shows.

    Parameters
    ----------
    rows : MapRows
    name : str
        The channel's.
    asked : int
        How many records there would be, if all of them were shown.
    findings : Findings
        For the missed triggers, whose rows stand open.
    """
    told = [
        f"Map of {name}, {count(len(rows.numbers), 'record')}: every record is a row, dark where the value is above "
        f"the base and light where it is below."
    ]
    if one_in(asked) > 1:
        told.append(f"Of more than {MOST_RECORDS_IN_ROWS:,} records one in {one_in(asked)} is shown.")
    if any(gap.after_record < record for gap in findings.sequence.missed for record in rows.numbers[-1:].tolist()):
        told.append("A hatched row: a missed trigger.")
    return " ".join(told)


def stacked_caption(run: Sequence[int], name: str, current: int) -> str:
    """Return what a run of records above each other shows; the current one is named if it is among them."""
    noun = "Record" if len(run) == 1 else "Records"
    strong = f"; record {current} strong" if current in run and len(run) > 1 else ""
    return f"{noun} {ranges(run)} of {name}, each offset upward{strong}."
