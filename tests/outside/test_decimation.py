"""Minima and maxima by columns beside those of tsdownsample on the same samples (source: tsdownsample, PyPI).

Its bins are equal parts of the time from the first sample to the last one, so the columns are laid out in the same way
here; by a count of columns that shares no factor with the samples, no sample falls on an edge but the first and the
last. What tsdownsample does not do is to join a column to the first sample of the next one; that sample is added to its
extremes before they are compared.
"""

from __future__ import annotations

from math import gcd

import numpy as np
import pytest

from pulsewright_analysis.line_envelope import line_envelope
from pulsewright_analysis.overlay import Afterglow, Raster

INTERVAL, START = 40e-9, -2e-6
CODES = 1 << 12
"""Rows of the counted picture: one for each code, so that a stretch is seen exactly."""


def _walk(length: int, seed: int, dtype: type[np.generic]) -> np.ndarray:
    steps = np.random.default_rng(seed).normal(0.0, 12.0, length)
    walk = np.cumsum(steps) - np.cumsum(steps).mean()
    samples: np.ndarray = np.round(np.clip(walk, -CODES / 2, CODES / 2 - 1)).astype(dtype)
    samples.flags.writeable = False
    return samples


def _raster(length: int, width: int) -> Raster:
    # rows' middles are whole codes, so that rounding cannot decide
    value_high = CODES / 2 - 0.5
    return Raster(width, CODES, START, START + (length - 1) * INTERVAL, value_high - CODES, value_high)


def _by_tsdownsample(samples: np.ndarray, width: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the extremes of each bin, joined to the first sample of the next one."""
    from tsdownsample import MinMaxDownsampler

    length = len(samples)
    assert gcd(length - 1, width) == 1
    kept = MinMaxDownsampler().downsample(np.arange(length, dtype=np.float64), samples, n_out=2 * width)
    kept = kept.astype(np.int64)
    bins = np.minimum(kept * width // (length - 1), width - 1)
    following = -(-np.arange(1, width + 1) * (length - 1) // width)
    low, high = np.full(width, np.inf), np.full(width, -np.inf)
    for where, values in ((bins, samples[kept]), (np.arange(width), samples[following])):
        np.minimum.at(low, where, values)
        np.maximum.at(high, where, values)
    return low, high


FORMS = [(1000, 7), (25_000, 800), (25_001, 1601), (100_003, 641)]


@pytest.mark.parametrize("dtype", [np.int16, np.float64])
@pytest.mark.parametrize(("length", "width"), FORMS)
def test_extremes_of_columns_are_tsdownsamples(length: int, width: int, dtype: type[np.generic]) -> None:
    samples = _walk(length, length + width, dtype)
    expected = _by_tsdownsample(samples, width)
    assert np.isfinite(expected).all() and (expected[0] < expected[1]).mean() > 0.9
    found = line_envelope(samples, START, INTERVAL, _raster(length, width))
    np.testing.assert_array_equal(found, expected)


@pytest.mark.parametrize(("length", "width"), FORMS)
def test_the_afterglow_of_one_record_covers_what_tsdownsample_keeps(length: int, width: int) -> None:
    samples = _walk(length, length - width, np.int16)
    low, high = _by_tsdownsample(samples, width)
    glow = Afterglow(_raster(length, width))
    glow.add(samples[None, :], np.array([START]), INTERVAL)
    rows = np.arange(CODES)[:, None]
    codes = CODES // 2 - 1 - rows
    np.testing.assert_array_equal(glow.counts, (codes >= low) & (codes <= high))


@pytest.mark.parametrize(("length", "width"), FORMS)
def test_compiled_drawing_reduces_as_tsdownsample_does(length: int, width: int) -> None:
    from pulsewright_app.desk.views.ink_kernels import stretches

    samples = _walk(length, length * width, np.int16)
    low, high = np.empty(width), np.empty(width)
    stretches(samples, 0.0, width / (length - 1), 0.0, 1.0, low, high)
    np.testing.assert_array_equal((low, high), _by_tsdownsample(samples, width))
