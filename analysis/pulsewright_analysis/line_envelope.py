"""One record's outline in a picture: how far its trace reaches in each column, by the afterglow's rule."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Floats
from pulsewright_analysis.overlay import Raster


def line_envelope(
    values: NDArray[Any], first_time: float, sample_interval: float, raster: Raster
) -> tuple[Floats, Floats]:
    """Return the least and the greatest value of one record's trace in each column, each (width,).

    The same stretches as the afterglow's, before they are cut to rows; NaN in columns that the trace does not reach.
    Needs no compiled code, so that a first picture need not wait for it.

    Parameters
    ----------
    values : array (samples,)
        In any unit; `raster.value_low` and `value_high` play no part.
    first_time : float
        Time of sample 0, seconds.
    sample_interval : float
        Seconds.
    raster : Raster
        Only its columns count.
    """
    x_first = (first_time - raster.time_low) / raster.column_time
    x_step = sample_interval / raster.column_time
    edges = np.arange(raster.width + 1)
    length = len(values)
    bounds = np.clip(np.ceil((edges - x_first) / x_step), 0, length).astype(np.intp)
    begin = max(int(bounds[0]) - 1, 0)
    seen = np.asarray(values[begin : int(bounds[-1]) + 1], dtype=np.float64)
    low, high = np.full(raster.width, np.inf), np.full(raster.width, -np.inf)
    start, stop = bounds[:-1] - begin, bounds[1:] - begin
    filled = np.flatnonzero(start < stop)
    if len(filled):
        # columns that hold samples follow on each other without a gap, so each one's part ends where the next begins
        upto = seen[: stop[filled[-1]]]
        low[filled] = np.minimum.reduceat(upto, start[filled])
        high[filled] = np.maximum.reduceat(upto, start[filled])
    dense = (start < stop) & (x_step <= 1.0)
    joined = np.flatnonzero(dense & (stop < len(seen)))
    _extend(low, high, joined, seen[stop[joined]])
    crossed = _edge_values(seen, edges, bounds, x_first, x_step, begin)
    for side in (crossed[:-1], crossed[1:]):
        lined = np.flatnonzero(~dense & np.isfinite(side))
        _extend(low, high, lined, side[lined])
    unseen = low > high
    low[unseen] = high[unseen] = np.nan
    return low, high


def _extend(low: Floats, high: Floats, columns: NDArray[np.intp], values: Floats) -> None:
    """Widen the stretches of some columns so that they hold one more value each."""
    low[columns] = np.minimum(low[columns], values)
    high[columns] = np.maximum(high[columns], values)


def _edge_values(
    seen: Floats, edges: NDArray[Any], bounds: NDArray[np.intp], x_first: float, x_step: float, begin: int
) -> Floats:
    """Return where the straight line between samples crosses each column's edge, NaN beside the trace."""
    after = bounds - begin
    inside = (bounds > 0) & (after > 0) & (after < len(seen))
    result = np.full(len(edges), np.nan)
    before = seen[after[inside] - 1]
    share = np.clip((edges[inside] - x_first) / x_step - (bounds[inside] - 1), 0.0, 1.0)
    result[inside] = before + (seen[after[inside]] - before) * share
    return result
