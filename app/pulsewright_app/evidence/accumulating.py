"""The two pictures that read a whole session: how many traces pass through each spot, and each record as a row."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pulsewright.session import Session
from pulsewright_analysis.findings import Watch
from pulsewright_analysis.overlay import Raster
from pulsewright_analysis.results import Ints
from pulsewright_app.glow import Accumulation, GlowPicture, GlowPlan
from pulsewright_app.glow_alignment import Alignment
from pulsewright_app.map_rows import MapRows, read_rows

COLUMNS, ROWS = 696, 232
"""Four pixels to a millimetre."""
MOST_RECORDS_IN_ROWS = 1500
_BLOCK_BYTES = 8 << 20
UNWATCHED = Watch()

Window = tuple[float, float]


def whole_window(session: Session, channel: int) -> Window:
    """Return the stretch of time, from the trigger, that any record of a channel covers."""
    start = session.first_sample_time(channel)
    return float(start.min()), float(start.max() + max(session.record_length - 1, 1) * session.sample_interval)


def value_window(session: Session, channel: int, records: Sequence[int] | Ints, watch: Watch = UNWATCHED) -> Window:
    """Return the least and the greatest value of a channel in some records, with a little room."""
    about, low, high = session.channels[channel], np.inf, -np.inf
    chosen = np.zeros(session.records, dtype=bool)
    chosen[np.asarray(records, dtype=np.intp)] = True
    for first, block in session.blocks(block_bytes=_BLOCK_BYTES):
        watch.check()
        codes = block[chosen[first : first + len(block)], channel, :]
        finite = codes[np.isfinite(codes)]
        if finite.size:
            low, high = min(low, float(finite.min())), max(high, float(finite.max()))
    if not low <= high:
        return -1.0, 1.0
    ends = sorted((low * about.scale + about.offset, high * about.scale + about.offset))
    room = 0.04 * (ends[1] - ends[0]) or max(abs(ends[1]) * 0.1, abs(about.scale))
    return ends[0] - room, ends[1] + room


def glow_of(
    session: Session,
    channel: int,
    records: Ints,
    window: Window,
    values: Window,
    *,
    signs: Ints | None = None,
    alignment: Alignment | None = None,
    watch: Watch = UNWATCHED,
) -> GlowPicture:
    """Return how many records' traces pass through each pixel.

    Parameters
    ----------
    session : Session
    channel : int
    records : int array
        Those that count.
    window, values : (float, float)
        Seconds from the trigger; values in the channel's unit.
    signs : int array (records of the session,), optional
        The polarity of each record, for an ink each.
    alignment : Alignment, optional
        What the records are laid over each other by, if not by the trigger.
    watch : Watch, optional
        Stops the work when it is called off.
    """
    raster = Raster(COLUMNS, ROWS, *window, *values)
    plan = GlowPlan(session, channel, raster, alignment or Alignment(np.zeros(session.records)), signs)
    accumulation = Accumulation(plan)
    accumulation.add(records, added=watch.check)
    return accumulation.picture()


def one_in(records: int) -> int:
    """Return every how-many-th of so many records becomes a row of a Map."""
    return max(-(-records // MOST_RECORDS_IN_ROWS), 1)


def rows_of(session: Session, channel: int, records: Ints, window: Window, watch: Watch = UNWATCHED) -> MapRows:
    """Return records as rows; of more than 1,500, every so-many-th one."""
    chosen = records[:: one_in(len(records))]
    return read_rows(session, channel, window, COLUMNS, publish=lambda _: watch.check(), wanted=chosen)
