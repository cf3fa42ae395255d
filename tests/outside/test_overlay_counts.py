"""Afterglow counts beside those of datashader's line rasteriser on the same traces (source: datashader, PyPI).

Datashader draws one pixel a column along a gentle line; the afterglow counts every pixel that the line touches in a
column. The two must agree wherever no trace goes from one row to the next within the column, and the afterglow may
never miss a pixel that datashader draws. Datashader moves samples to the middle of their pixel first, so here they
stand there.
"""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright_analysis.overlay import Afterglow, Raster

WIDTH, HEIGHT, TRACES = 114, 80, 6
"""113 steps from the first column to the last, a prime: no line that rises by an even number of rows meets the corner
of four pixels, where rounding would decide."""


def _by_datashader(values: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Count with datashader; row 0 at the top, as the afterglow has it."""
    import datashader
    import pandas

    gap = np.full((len(values), 1), np.nan)  # parts one trace from the next
    frame = pandas.DataFrame(
        {"time": np.hstack([np.tile(times, (len(values), 1)), gap]).ravel(), "value": np.hstack([values, gap]).ravel()}
    )
    canvas = datashader.Canvas(WIDTH, HEIGHT, x_range=(0.0, WIDTH), y_range=(0.0, HEIGHT))
    counts: np.ndarray = canvas.line(frame, "time", "value", agg=datashader.count()).values[::-1]
    return counts


def _by_afterglow(values: np.ndarray, times: np.ndarray) -> np.ndarray:
    glow = Afterglow(Raster(WIDTH, HEIGHT, 0.0, WIDTH, 0.0, HEIGHT))
    glow.add(values, np.full(len(values), times[0]), float(times[1] - times[0]))
    return glow.counts.astype(int)


def _changes_row(values: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Tell for each trace and column whether the line goes from one row to another within the column."""
    edges = np.clip(np.arange(WIDTH + 1.0), times[0], times[-1])
    at_edges = np.stack([np.interp(edges, times, trace) for trace in values])
    rows = np.floor(at_edges)
    changes: np.ndarray = rows[:, 1:] != rows[:, :-1]
    return changes


@pytest.mark.parametrize("seed", range(12))
def test_gentle_lines_are_counted_as_datashader_counts_them(seed: int) -> None:
    random = np.random.default_rng(seed)
    times = np.array([0.5, WIDTH - 0.5])
    rises = np.hstack([np.zeros((TRACES, 1)), 2 * random.integers(-5, 6, (TRACES, 1))])
    values = random.integers(12, HEIGHT - 12, (TRACES, 1)) + rises + 0.5
    ours, theirs = _by_afterglow(values, times), _by_datashader(values, times)
    changes = _changes_row(values, times)
    quiet = ~changes.any(axis=0)
    assert quiet.sum() > 10
    np.testing.assert_array_equal(ours[:, quiet], theirs[:, quiet])
    # one pixel a trace in every column, and one more where it goes on to the next row
    np.testing.assert_array_equal(theirs.sum(axis=0), TRACES)
    np.testing.assert_array_equal(ours.sum(axis=0), TRACES + changes.sum(axis=0))


@pytest.mark.parametrize("seed", range(6))
def test_no_pixel_of_datashaders_is_missed(seed: int) -> None:
    """Zigzags of one trace, with samples every seven columns and steep parts among them."""
    random = np.random.default_rng(100 + seed)
    times = np.arange(0.5, WIDTH, 7.0)
    values = random.integers(2, HEIGHT - 2, (1, len(times))) + 0.5
    ours, theirs = _by_afterglow(values, times), _by_datashader(values, times)
    assert (theirs > 0).sum() > 200
    assert not ((theirs > 0) & (ours == 0)).any()
    assert (ours <= 1).all()  # a record counts once in a pixel, however often it passes
