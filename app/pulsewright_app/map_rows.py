"""The Map picture: for each record and pixel column the value farthest from the base, and its colours.

Knows no toolkit, so that the desk and the evidence sheet can make the same picture.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Codes, Session
from pulsewright_analysis.line_envelope import line_envelope
from pulsewright_analysis.overlay import Raster
from pulsewright_analysis.results import Ints
from pulsewright_app.theme import Theme, components

Values = NDArray[np.float32]

BLOCK_BYTES = 4 << 20
MOST_ROWS = 4096
"""Rows that values are kept for; neighbours of a longer session share one, and the farthest of them counts."""


@dataclass(frozen=True)
class MapRows:
    """The picture's values.

    Attributes
    ----------
    channel : int
    window : (float, float)
        The stretch of time, seconds.
    values : array (rows, columns)
        The value farthest from the base, in the channel's unit; NaN beside the trace, and where nothing is read yet.
    records_a_row : int
        Neighbouring records that share a row; 1 unless there are very many.
    base, largest : float
        The channel's base, and the largest distance from it, in its unit; 1 where nothing leaves the base.
    numbers : int array (records,)
        The records that become rows.
    read : int
        How many of them are read so far.
    """

    channel: int
    window: tuple[float, float]
    values: Values
    records_a_row: int
    base: float
    largest: float
    numbers: Ints
    read: int = 0

    @property
    def complete(self) -> bool:
        """Whether every record was read."""
        return self.read == len(self.numbers)


def read_rows(
    session: Session,
    channel: int,
    window: tuple[float, float],
    width: int,
    stopped: Callable[[], bool] = lambda: False,
    publish: Callable[[MapRows], None] = lambda _: None,
    wanted: Ints | None = None,
) -> MapRows:
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
        Given the rows so far after each block; their values go on changing.
    wanted : int array, optional
        Numbers of the records that become rows, rising; all of them if left out.
    """
    starts, about = session.first_sample_time(channel), session.channels[channel]
    wanted = np.arange(session.records) if wanted is None else wanted
    raster = Raster(width, 1, *window, 0.0, 1.0)
    together = -(-len(wanted) // MOST_ROWS) or 1
    values = np.full((-(-len(wanted) // together), width), np.nan, dtype=np.float32)
    rows, largest, read = MapRows(channel, window, values, together, 0.0, 1.0, wanted), 0.0, 0
    for first, block in session.blocks(block_bytes=BLOCK_BYTES):
        if first == 0:
            rows = replace(rows, base=base_code(block[:, channel, :]) * about.scale + about.offset)
        here, before = wanted[(wanted >= first) & (wanted < first + len(block))], read
        for record in here.tolist():
            if stopped():
                return rows
            codes = block[record - first, channel, :]
            low, high = line_envelope(codes, float(starts[record]), session.sample_interval, raster)
            _take_farthest(values[read // together], low, high, about.scale, about.offset, rows.base)
            read += 1
        if read > before:
            largest = max(largest, _largest(values[before // together : (read - 1) // together + 1], rows.base))
        rows = replace(rows, read=read, largest=largest or 1.0)
        publish(rows)
    return rows


def base_code(codes: Codes) -> float:
    """Return the base of some records of one channel: the median of the codes that are numbers, 0 where none is."""
    finite = codes[np.isfinite(codes)]
    return float(np.median(finite)) if finite.size else 0.0


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
    rows: MapRows, place: Ints, total: int, most_rows: int, largest: float | None, theme: Theme
) -> NDArray[np.uint8]:
    """Return the picture: red, green, blue and opacity, (rows, columns, 4), first record at the top.

    Parameters
    ----------
    rows : MapRows
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
    height = min(total, max(most_rows, 1))
    signed = np.clip((rows.values - rows.base) / (largest or rows.largest), -1.0, 1.0)
    row_of = place * height // max(total, 1)
    own = np.arange(len(place)) // rows.records_a_row
    farthest = np.full((height, signed.shape[1]), np.nan, dtype=np.float32)
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
