"""The Map picture: for each record and pixel column the value farthest from the base, and its colours.

Knows no toolkit, so that the desk and the evidence sheet can make the same picture.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Session
from pulsewright_analysis.overlay import Raster, line_envelope
from pulsewright_analysis.results import Ints
from pulsewright_app.theme import Theme, components

Values = NDArray[np.float32]

BLOCK_BYTES = 4 << 20
MOST_ROWS = 4096
"""Rows that values are kept for; neighbours of a longer session share one, and the farthest of them counts."""


@dataclass(frozen=True)
class Sheet:
    """The picture's values.

    Attributes
    ----------
    channel : int
    window : (float, float)
        The stretch of time, seconds.
    values : array (rows, columns)
        The value farthest from the base, in the channel's unit; NaN beside the trace, and where nothing is read yet.
    records_a_row : int
        Neighbouring records that share a row; 1 unless the session is very long.
    base, largest : float
        The channel's base, and the largest distance from it, in its unit.
    read, records : int
        Records read so far, and all there are.
    """

    channel: int
    window: tuple[float, float]
    values: Values
    records_a_row: int
    base: float
    largest: float
    read: int
    records: int

    @property
    def complete(self) -> bool:
        """Whether every record was read."""
        return self.read == self.records


def read_sheet(
    session: Session,
    channel: int,
    window: tuple[float, float],
    width: int,
    stopped: Callable[[], bool] = lambda: False,
    publish: Callable[[Sheet], None] = lambda _: None,
) -> Sheet:
    """Return for each record and pixel column the value farthest from the channel's base.

    Parameters
    ----------
    session : Session
    channel : int
    window : (float, float)
        Seconds.
    width : int
        Columns.
    stopped : callable
        Asked between records whether to leave off.
    publish : callable
        Given the sheet so far after each block; its values go on changing.
    """
    starts, about = session.first_sample_time(channel), session.channels[channel]
    raster = Raster(width, 1, *window, 0.0, 1.0)
    together = -(-session.records // MOST_ROWS) or 1
    values = np.full((-(-session.records // together), width), np.nan, dtype=np.float32)
    sheet, largest = Sheet(channel, window, values, together, 0.0, 1.0, 0, session.records), 0.0
    for first, block in session.blocks(block_bytes=BLOCK_BYTES):
        if first == 0:
            sheet = replace(sheet, base=float(np.median(block[:, channel, :])) * about.scale + about.offset)
        for place, codes in enumerate(block[:, channel, :]):
            if stopped():
                return sheet
            low, high = line_envelope(codes, float(starts[first + place]), session.sample_interval, raster)
            _take_farthest(values[(first + place) // together], low, high, about.scale, about.offset, sheet.base)
        own = values[first // together : (first + len(block) - 1) // together + 1]
        largest = max(largest, _largest(own, sheet.base))
        sheet = replace(sheet, read=first + len(block), largest=largest or 1.0)
        publish(sheet)
    return sheet


def _take_farthest(
    row: Values, low: NDArray[np.float64], high: NDArray[np.float64], scale: float, offset: float, base: float
) -> None:
    """Put the value farthest from the base into each column of a row, beside what stands there already."""
    for side in (low * scale + offset, high * scale + offset):
        farther = np.isfinite(side) & ~(np.abs(side - base) <= np.abs(row - base))
        row[farther] = side[farther]


def _largest(values: Values, base: float) -> float:
    return float(np.abs(values[np.isfinite(values)] - base).max(initial=0.0))


def coloured(
    sheet: Sheet, place: Ints, total: int, most_rows: int, largest: float | None, theme: Theme
) -> NDArray[np.uint8]:
    """Return the picture: red, green, blue and opacity, (rows, columns, 4), first record at the top.

    Parameters
    ----------
    sheet : Sheet
    place : int array (records,)
        Where each record stands in the order of triggers; places without one stay open.
    total : int
        How many places there are.
    most_rows : int
        Rows of pixels to be had; where there are more places, neighbours share one, and the farthest counts.
    largest : float or None
        The distance from the base that has the full ink; None for the largest there is.
    theme : Theme
        From the page to one ink or the other, by value.
    """
    rows = min(total, max(most_rows, 1))
    signed = np.clip((sheet.values - sheet.base) / (largest or sheet.largest), -1.0, 1.0)
    row_of = place * rows // max(total, 1)
    own = np.arange(len(place)) // sheet.records_a_row
    farthest = np.full((rows, signed.shape[1]), np.nan, dtype=np.float32)
    first = np.flatnonzero(np.diff(row_of, prepend=-1))
    if len(first) == len(place) == len(signed):
        farthest[row_of] = signed
    else:
        filled = signed[own]
        high = np.fmax.reduceat(filled, first, axis=0)
        low = np.fmin.reduceat(filled, first, axis=0)
        farthest[row_of[first]] = np.where(high >= -low, high, low)
    return _in_colour(farthest, theme)


def _in_colour(signed: Values, theme: Theme) -> NDArray[np.uint8]:
    """Return colours of values from −1 to 1, by a table of 511; no ink where there is no value."""
    page = np.array(components(theme.plot), dtype=np.float64)
    steps = np.linspace(-1.0, 1.0, 511)[:, None]
    ends = np.where(steps >= 0, np.array(components(theme.positive)), np.array(components(theme.negative)))
    table = np.empty((512, 4), dtype=np.uint8)
    # the first step, 1/255 of the full ink, is still the page: nobody sees it, and a quiet base is one colour
    table[:511, :3] = np.rint(page + (ends - page) * np.maximum(np.abs(steps) * 255 - 1, 0) / 254)
    table[:511, 3], table[511] = 255, 0
    known = np.isfinite(signed)
    place = np.where(known, np.rint((np.where(known, signed, 0.0) + 1.0) * 255.0), 511.0).astype(np.int16)
    return table[place]
