"""The afterglow by blocks against the plain definition, and against every sample of longer records."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright.session import Channel, Session
from pulsewright_analysis import pyramid as pyramids
from pulsewright_analysis.overlay import Afterglow, Raster
from pulsewright_analysis.overlay_by_blocks import Refinement, Scales, add_coarse
from pulsewright_analysis.pyramid import Pyramid, block_of, make_pyramid

from .plain_overlay import plain_marks

INTERVAL = 1e-6
SCALE, OFFSET = 5.1e-4, 0.01234


def blocks_of(codes: np.ndarray, block: int) -> Pyramid:
    """The definition: the least and the greatest of each block, by NumPy."""
    starts = np.arange(0, codes.shape[1], block)
    low, high = (ends.reduceat(codes, starts, axis=1) for ends in (np.minimum, np.maximum))
    return Pyramid(block, codes.shape[1], low, high)


def by_blocks(codes, starts, raster, block, gap=0, reads=None):
    """Counts of the coarse picture and of the exact one."""
    pyramid, scales = blocks_of(codes, block), Scales(INTERVAL, SCALE, OFFSET)
    glow = Afterglow(raster)
    add_coarse(glow, pyramid, np.arange(len(codes)), starts, scales)
    coarse = glow.counts
    refinement = Refinement(raster.width, pyramid, scales, gap)
    for record, start in enumerate(starts):

        def read(pieces, record=record):
            assert (pieces[:, 0] < pieces[:, 1]).all() and pieces[0, 0] >= 0 and pieces[-1, 1] <= codes.shape[1]
            assert (pieces[1:, 0] > pieces[:-1, 1]).all()
            if reads is not None:
                reads.append(pieces.copy())
            return np.concatenate([codes[record, begin:end] for begin, end in pieces])

        refinement.add(glow, record, float(start), read)
    assert glow.records == len(codes)
    return coarse, glow.counts


def by_samples(codes, starts, raster):
    glow = Afterglow(raster)
    glow.add(codes, starts, INTERVAL, SCALE, OFFSET)
    return glow.counts


def noisy(rng, records, samples, dtype):
    """Random walks in noise, and each record's time of sample 0."""
    values = np.cumsum(rng.normal(0, 20, (records, samples)), axis=1) + rng.normal(0, 60, (records, samples))
    small = np.dtype(dtype).itemsize == 1
    if np.issubdtype(dtype, np.integer):
        limits = np.iinfo(dtype)
        values = np.clip(np.rint(values / (40 if small else 1)), max(limits.min, -32768), min(limits.max, 32767))
    return values.astype(dtype), rng.uniform(-20e-6, 20e-6, records)


@pytest.mark.parametrize("dtype", [np.int16, np.uint8, np.int32, np.float32, np.float64])
@pytest.mark.parametrize("seed", range(4))
def test_counts_are_those_of_the_definition(seed, dtype):
    rng = np.random.default_rng(seed)
    codes, starts = noisy(rng, 4, 230, dtype)
    block, width = int(rng.integers(2, 9)), int(rng.integers(3, 20))
    low, high = sorted(rng.uniform(-60e-6, 290e-6, 2))
    raster = Raster(width, 19, low, max(high, low + 2e-6 * width), -0.4003, 0.5007)
    _, counts = by_blocks(codes, starts, raster, block)
    expected = np.zeros((raster.height, raster.width), np.uint32)
    for record, start in zip(codes, starts, strict=True):
        expected += plain_marks([float(code) * SCALE + OFFSET for code in record], start, INTERVAL, raster)
    np.testing.assert_array_equal(counts, expected)


@pytest.mark.parametrize("seed", range(60))
def test_any_zoom_any_offset_any_block_gives_every_sample_s_counts(seed):
    rng = np.random.default_rng(100 + seed)
    samples = int(rng.integers(2_000, 20_000))
    codes, starts = noisy(rng, 3, samples, rng.choice([np.int16, np.float32]))
    block, gap = int(rng.choice([7, 16, 64, 100])), int(rng.choice([0, 300, 100_000]))
    share, width = rng.uniform(0.02, 1.5), int(rng.integers(1, 60))
    begin = rng.uniform(-0.3, 1.1) * samples * INTERVAL
    middle = float(rng.normal(0, 0.3))
    tall = float(rng.uniform(0.02, 3))
    raster = Raster(width, int(rng.integers(1, 400)), begin, begin + share * samples * INTERVAL, middle, middle + tall)
    coarse, counts = by_blocks(codes, starts, raster, block, gap)
    expected = by_samples(codes, starts, raster)
    np.testing.assert_array_equal(counts, expected)
    # a coarse picture leaves nothing out
    assert (coarse >= expected).all()


def test_edges_on_blocks_need_no_sample():
    """A column ends with the next one's first sample, so that each edge cuts one block; flat blocks decide all rows."""
    codes = np.repeat(np.random.default_rng(3).integers(-500, 500, (2, 1)), 6_400, axis=1).astype(np.int16)
    raster = Raster(10, 200, 0.0, 6_400e-6, -1.0, 1.0)
    reads = []
    _, counts = by_blocks(codes, np.zeros(2), raster, 64, reads=reads)
    assert not reads
    np.testing.assert_array_equal(counts, by_samples(codes, np.zeros(2), raster))


def test_only_blocks_that_an_edge_cuts_are_read():
    rng = np.random.default_rng(4)
    codes = rng.normal(0, 300, (1, 256_000)).astype(np.int16)
    raster, reads = Raster(240, 900, 0.0, 256_000e-6, -1.0, 1.0), []
    coarse, counts = by_blocks(codes, np.array([13.3e-6]), raster, 64, reads=reads)
    expected = by_samples(codes, np.array([13.3e-6]), raster)
    np.testing.assert_array_equal(counts, expected)
    assert not np.array_equal(coarse, expected)  # else nothing would have been refined
    assert 0 < sum(int((pieces[:, 1] - pieces[:, 0]).sum()) for pieces in reads) <= 241 * 2 * 64


def test_what_is_no_number_is_looked_at_sample_by_sample():
    rng = np.random.default_rng(5)
    codes, starts = noisy(rng, 6, 3_000, np.float32)
    for record, share in enumerate((0.0, 0.0005, 0.01, 0.3, 0.9, 1.0)):
        codes[record, rng.random(3_000) < share] = np.nan
    codes[1, 100:400] = np.nan
    for width in (1, 9, 40):
        raster = Raster(width, 50, 3e-6, 2_900e-6, -0.5, 0.5)
        _, counts = by_blocks(codes, starts, raster, 16)
        np.testing.assert_array_equal(counts, by_samples(codes, starts, raster))


@pytest.mark.parametrize("dtype", [np.int16, np.uint8, np.int32, np.float32])
@pytest.mark.parametrize("stretch", [64, 1 << 12, 1 << 30])
def test_a_pyramid_is_the_same_whatever_is_read_at_once(dtype, stretch, monkeypatch):
    monkeypatch.setattr(pyramids, "LEAST_LENGTH", 100)
    monkeypatch.setattr(pyramids, "_STRETCH_BYTES", stretch)
    codes, _ = noisy(np.random.default_rng(6), 6, 1_003, dtype)
    session = Session.from_samples(codes.reshape(2, 3, 1_003), [Channel(f"H{c}", "M1") for c in range(3)], 1e6)
    told = []
    made = make_pyramid(session, 1, progress=told.append)
    expected = blocks_of(codes.reshape(2, 3, 1_003)[:, 1], made.block)
    np.testing.assert_array_equal(made.low, expected.low)
    np.testing.assert_array_equal(made.high, expected.high)
    assert made.low.dtype == session.dtype and told == [0.5, 1.0]


def test_memory_stays_within_its_bound(monkeypatch):
    monkeypatch.setattr(pyramids, "LEAST_LENGTH", 100)
    monkeypatch.setattr(pyramids, "MOST_BYTES", 4_000)
    codes = np.zeros((3, 1, 100_000), np.int16)
    session = Session.from_samples(codes, [Channel("H01", "M1")], 1e6)
    assert make_pyramid(session, 0).nbytes <= 4_000
    assert block_of(Session.from_samples(codes[..., :99], [Channel("H01", "M1")], 1e6)) is None


def test_calling_off_is_heard():
    session = Session.from_samples(np.zeros((4, 1, 60_000), np.int16), [Channel("H01", "M1")], 1e6)
    asked = []

    def cancelled():
        asked.append(0)
        return len(asked) == 3

    assert make_pyramid(session, 0, cancelled) is None
    assert len(asked) == 3


def test_a_record_that_is_left_off_is_never_thinner_than_it_should_be():
    codes = np.random.default_rng(9).normal(0, 300, (1, 64_000)).astype(np.int16)
    raster, scales = Raster(60, 900, 0.0, 64_000e-6, -1.0, 1.0), Scales(INTERVAL, SCALE, OFFSET)
    glow, pyramid, reads = Afterglow(raster), blocks_of(codes, 64), []
    add_coarse(glow, pyramid, np.arange(1), np.zeros(1), scales)

    def read(pieces):
        reads.append(pieces)
        return np.concatenate([codes[0, begin:end] for begin, end in pieces])

    Refinement(60, pyramid, scales, 0).add(glow, 0, 0.0, read, lambda: True)
    assert not reads
    assert (glow.counts >= by_samples(codes, np.zeros(1), raster)).all()
