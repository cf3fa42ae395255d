"""The afterglow against a plain and slow version of its definition, record by record and column by column."""

import math
import subprocess
import sys

import numpy as np
import pytest

from pulsewright_analysis.line_envelope import line_envelope
from pulsewright_analysis.overlay import Afterglow, Part, Raster, part_seen, passing_records

from .plain_overlay import plain_marks, plain_stretch

INTERVAL = 0.2e-6


def walks(rng, records, samples, dtype=np.int16, step=40.0):
    """Random walks, and each record's time of sample 0."""
    values = np.cumsum(rng.normal(0, step, (records, samples)), axis=1)
    if np.issubdtype(dtype, np.integer):
        # codes lie between pixel edges below, so that rounding cannot decide
        values = np.rint(values)
    return values.astype(dtype), -3e-6 + rng.uniform(0, INTERVAL, records)


def raster_over(columns_per_sample, samples, **changes):
    duration = samples * INTERVAL
    form = {
        "width": max(1, round(columns_per_sample * samples)),
        "height": 23,
        "time_low": -3.03e-6,
        "time_high": -3.03e-6 + 1.01 * duration,
        "value_low": -0.40003,
        "value_high": 0.50007,
    }
    return Raster(**(form | changes))


CASES = {
    "dense": (0.1, 300, {}),
    "one sample a column, about": (1.0, 120, {}),
    "just dense": (0.93, 120, {}),
    "sparse": (4.3, 40, {}),
    "just sparse": (1.2, 90, {}),
    "clipped to a narrow range of values": (0.2, 200, {"value_low": -0.0203, "value_high": 0.0307}),
    "zoomed into the middle": (1.0, 200, {"time_low": 5e-6, "time_high": 9.1e-6, "width": 31}),
    "zoomed between two samples": (1.0, 60, {"time_low": 1.01e-6, "time_high": 1.15e-6, "width": 17}),
    "wider than the record": (0.3, 100, {"time_low": -30e-6, "time_high": 60e-6}),
    "beside the record": (0.3, 100, {"time_low": 1e-3, "time_high": 2e-3}),
    "one pixel": (0.3, 100, {"width": 1, "height": 1}),
}


@pytest.mark.parametrize("dtype", [np.int16, np.float32, np.float64, np.int8, np.uint16, np.int32])
@pytest.mark.parametrize("case", CASES)
def test_counts_are_those_of_the_definition(case, dtype):
    density, samples, changes = CASES[case]
    raster = raster_over(density, samples, **changes)
    small = np.dtype(dtype).itemsize == 1
    codes, starts = walks(np.random.default_rng(1), 9, samples, np.float64, 40.0)
    if np.issubdtype(dtype, np.integer):
        codes = np.rint(codes / 16 if small else codes)
        codes = (
            codes - codes.min()
            if np.dtype(dtype).kind == "u"
            else np.clip(codes, *((-128, 127) if small else (-32768, 32767)))
        )
    codes = codes.astype(dtype)
    scale, offset = (-8e-3 if small else 5.1e-4), 0.01234
    afterglow = Afterglow(raster)
    afterglow.add(codes, starts, INTERVAL, scale, offset)
    expected = np.zeros((raster.height, raster.width), dtype=np.uint32)
    for record, start in zip(codes, starts, strict=True):
        values = [float(code) * scale + offset for code in record]
        expected += plain_marks(values, start, INTERVAL, raster)
    np.testing.assert_array_equal(afterglow.counts, expected)
    assert afterglow.counts.dtype == np.uint32
    assert expected.any() == (case != "beside the record")


@pytest.mark.parametrize("case", CASES)
def test_passing_records_agree_with_counts(case):
    density, samples, changes = CASES[case]
    raster = raster_over(density, samples, **changes)
    codes, starts = walks(np.random.default_rng(2), 12, samples)
    afterglow = Afterglow(raster)
    afterglow.add(codes, starts, INTERVAL, 5e-4, 0.0)
    counts = afterglow.counts
    rng = np.random.default_rng(3)
    for _ in range(40):
        column, row = int(rng.integers(raster.width)), int(rng.integers(raster.height))
        alone = passing_records(codes, starts, INTERVAL, raster, column, row, scale=5e-4, reach=0)
        assert alone.sum() == counts[row, column]
        near = passing_records(codes, starts, INTERVAL, raster, column, row, scale=5e-4)
        around = np.zeros(len(codes), dtype=bool)
        for c in range(max(column - 1, 0), min(column + 2, raster.width)):
            for r in range(max(row - 1, 0), min(row + 2, raster.height)):
                around |= passing_records(codes, starts, INTERVAL, raster, c, r, scale=5e-4, reach=0)
        np.testing.assert_array_equal(near, around)


def test_no_record_passes_outside_the_raster():
    raster = raster_over(0.2, 100)
    codes, starts = walks(np.random.default_rng(4), 5, 100)
    for column, row in ((-2, 5), (raster.width + 1, 5), (3, -2), (3, raster.height + 1)):
        assert not passing_records(codes, starts, INTERVAL, raster, column, row, scale=5e-4).any()


def test_a_record_counts_once_in_a_pixel():
    raster = Raster(3, 4, 0.0, 30.0, -1.0, 1.0)
    there_and_back = np.tile(np.array([0.9, -0.9], dtype=np.float32), 15)[None, :]
    afterglow = Afterglow(raster)
    afterglow.add(there_and_back, np.array([0.5]), 1.0)
    np.testing.assert_array_equal(afterglow.counts, np.ones((4, 3)))


def test_blocks_threads_and_order_give_the_same_as_all_at_once():
    raster = raster_over(0.3, 150)
    codes, starts = walks(np.random.default_rng(5), 20, 150)
    whole, parts, other = Afterglow(raster), Afterglow(raster), Afterglow(raster)
    whole.add(codes, starts, INTERVAL, 5e-4)
    parts.add(codes[13:], starts[13:], INTERVAL, 5e-4)
    other.add(codes[:6], starts[:6], INTERVAL, 5e-4)
    other.add(codes[6:13], starts[6:13], INTERVAL, 5e-4)
    parts.merge(other)
    np.testing.assert_array_equal(parts.counts, whole.counts)
    assert parts.records == whole.records == 20
    parts.clear()
    assert parts.records == 0 and not parts.counts.any()


@pytest.mark.parametrize("density", [0.1, 0.5, 0.97, 1.0, 1.4, 5.0])
def test_every_covered_column_holds_each_record(density):
    samples = 90
    raster = Raster(round(density * samples) - 7, 31, -2.5e-6, 13e-6, -1e3, 1e3)
    codes, starts = walks(np.random.default_rng(6), 8, samples)
    afterglow = Afterglow(raster)
    afterglow.add(codes, starts, INTERVAL, 5e-4)
    assert (afterglow.counts.sum(axis=0) >= 8).all()


def test_one_channel_of_a_block_is_read_where_it_lies():
    raster = raster_over(0.3, 120)
    rng = np.random.default_rng(7)
    block = rng.integers(-800, 800, (6, 4, 120)).astype(np.int16)
    block.flags.writeable = False
    starts = np.full(6, -3e-6)
    forms = [block[:, 2], np.ascontiguousarray(block[:, 2]), block[:, 2].astype(">i2"), np.asfortranarray(block[:, 2])]
    counts = []
    for codes in forms:
        afterglow = Afterglow(raster)
        afterglow.add(codes, starts, INTERVAL, 5e-4)
        counts.append(afterglow.counts)
    for other in counts[1:]:
        np.testing.assert_array_equal(counts[0], other)
    backwards, forwards = Afterglow(raster), Afterglow(raster)
    backwards.add(block[::-1, 2, ::-1], starts, INTERVAL, 5e-4)
    forwards.add(np.ascontiguousarray(block[::-1, 2, ::-1]), starts, INTERVAL, 5e-4)
    np.testing.assert_array_equal(backwards.counts, forwards.counts)


def test_edges_of_the_value_range():
    raster = Raster(1, 4, 0.0, 1.0, 0.0, 4.0)
    for value, row in ((4.0, 0), (3.0, 1), (3.5, 0), (0.0, 3), (0.5, 3)):
        afterglow = Afterglow(raster)
        afterglow.add(np.array([[value]]), np.array([0.5]), 1.0)
        assert np.flatnonzero(afterglow.counts[:, 0]).tolist() == [row] == [raster.row(value)]
    for value in (4.001, -0.001):
        afterglow = Afterglow(raster)
        afterglow.add(np.array([[value]]), np.array([0.5]), 1.0)
        assert not afterglow.counts.any()
        assert not 0 <= raster.row(value) < 4
    afterglow = Afterglow(raster)
    afterglow.add(np.array([[9.0, -9.0]]), np.array([0.2]), 0.5)
    np.testing.assert_array_equal(afterglow.counts[:, 0], [1, 1, 1, 1])


@pytest.mark.parametrize("case", CASES)
def test_line_envelope_has_the_same_stretches(case):
    density, samples, changes = CASES[case]
    raster = raster_over(density, samples, **changes)
    values, starts = walks(np.random.default_rng(8), 5, samples, np.float64, 0.02)
    for record, start in zip(values, starts, strict=True):
        low, high = line_envelope(record, start, INTERVAL, raster)
        expected = [plain_stretch(record.tolist(), start, INTERVAL, raster, c) for c in range(raster.width)]
        nowhere = (math.nan, math.nan)
        np.testing.assert_allclose(low, [(pair or nowhere)[0] for pair in expected], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(high, [(pair or nowhere)[1] for pair in expected], rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("samples", [0, 1, 2])
def test_very_short_records(samples):
    raster = Raster(6, 4, 0.0, 3.0, -1.0, 1.0)
    values = np.full((1, samples), 0.1)
    afterglow = Afterglow(raster)
    afterglow.add(values, np.array([0.75]), 1.0)
    low, high = line_envelope(values[0], 0.75, 1.0, raster)
    seen = {0: [], 1: [1], 2: [1, 2, 3]}[samples]
    assert np.flatnonzero(afterglow.counts.sum(axis=0)).tolist() == seen
    assert np.flatnonzero(np.isfinite(low)).tolist() == seen
    np.testing.assert_array_equal(low[seen], high[seen])


def test_line_envelope_needs_no_compiler():
    program = (
        "import sys, numpy as np\n"
        "from pulsewright_analysis.line_envelope import line_envelope\n"
        "from pulsewright_analysis.overlay import Raster\n"
        "line_envelope(np.zeros(9), 0.0, 1.0, Raster(3, 3, 0.0, 9.0, -1.0, 1.0))\n"
        "sys.exit('numba' in sys.modules or 'scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0


def test_contradictions_are_refused():
    with pytest.raises(ValueError, match="no pixel"):
        Raster(0, 4, 0.0, 1.0, 0.0, 1.0)
    with pytest.raises(ValueError, match="end above"):
        Raster(4, 4, 0.0, 1.0, 1.0, 1.0)
    afterglow = Afterglow(Raster(4, 4, 0.0, 1.0, 0.0, 1.0))
    with pytest.raises(ValueError, match="first sample time"):
        afterglow.add(np.zeros((2, 5)), np.zeros(3), 1.0)
    with pytest.raises(ValueError, match="not above 0"):
        afterglow.add(np.zeros((2, 5)), np.zeros(2), 0.0)
    with pytest.raises(ValueError, match="same raster"):
        afterglow.merge(Afterglow(Raster(5, 4, 0.0, 1.0, 0.0, 1.0)))


@pytest.mark.parametrize("columns_per_sample", [0.05, 0.7, 1.0, 4.3])
@pytest.mark.parametrize("window", [(0.0, 1.0), (0.31, 0.33), (0.5, 0.9), (-0.5, 0.02), (0.97, 2.0), (1.5, 1.6)])
def test_the_part_that_is_seen_gives_the_counts_of_whole_records(columns_per_sample, window):
    codes, starts = walks(np.random.default_rng(5), 9, 300)
    low, high = (-3.03e-6 + share * 300 * INTERVAL for share in window)
    width = max(1, round(columns_per_sample * (high - low) / INTERVAL))
    raster = Raster(width, 23, low, high, -0.40003, 0.50007)
    whole, parted = Afterglow(raster), Afterglow(raster)
    whole.add(codes, starts, INTERVAL, 5e-4)
    begin, end = part_seen(starts, INTERVAL, 300, raster)
    assert end - begin <= min(300, math.ceil((high - low) / INTERVAL) + 9)
    parted.add(codes[:, begin:end], starts, INTERVAL, 5e-4, part=Part(begin, 300))
    assert np.array_equal(whole.counts, parted.counts)
    column, row = width // 2, 11
    begin, end = part_seen(starts, INTERVAL, 300, raster, (max(column - 1, 0), min(column + 1, width - 1)))
    near = [
        passing_records(block, starts, INTERVAL, raster, column, row, scale=5e-4, part=part)
        for block, part in ((codes, None), (codes[:, begin:end], Part(begin, 300)))
    ]
    assert np.array_equal(*near)


def test_a_part_that_is_too_small_is_refused():
    codes, starts = walks(np.random.default_rng(5), 2, 300)
    raster = raster_over(0.5, 300)
    with pytest.raises(ValueError, match="not all that the raster shows"):
        Afterglow(raster).add(codes[:, 40:200], starts, INTERVAL, part=Part(40, 300))
