"""Reading into memory that is used again gives what reading into fresh memory gives."""

from __future__ import annotations

from pathlib import Path

import h5py
import numpy as np
import pytest

from pulsewright.block_source import ArraySource, BlockSource, Room
from pulsewright.file_blocks import WORTH_SKIPPING, PositionedSource

LENGTH = WORTH_SKIPPING  # so that other channels and samples are worth skipping


@pytest.fixture(params=["<i2", ">i2", "<f4", "array"])
def source(request: pytest.FixtureRequest, tmp_path: Path) -> BlockSource:
    kind = request.param
    codes = np.random.default_rng(1).integers(-3000, 3000, (5, 3, LENGTH)).astype("<i2" if kind == "array" else kind)
    if kind == "array":
        return ArraySource(codes)
    with h5py.File(tmp_path / "s.h5", "w") as file:
        place = file.create_dataset("samples", data=codes).id.get_offset()
    return PositionedSource(tmp_path / "s.h5", "s.h5", place, codes.shape, codes.dtype)


@pytest.mark.parametrize("samples", [slice(None), slice(100, 9000), slice(LENGTH - 3, LENGTH), slice(7, 7)])
def test_a_room_that_is_used_again_holds_the_same_samples(source: BlockSource, samples: slice) -> None:
    room = Room()
    for first, stop in ((0, 5), (3, 5), (1, 2), (0, 0), (0, 4)):
        for channel in range(3):
            fresh = source.read_channel(first, stop, channel, samples)
            again = source.read_channel(first, stop, channel, samples, room)
            np.testing.assert_array_equal(again, fresh)
            assert again.dtype == fresh.dtype
            assert not again.flags.writeable


def test_a_room_is_taken_again_and_not_made_anew() -> None:
    room = Room()
    large = room.array((4, 100), np.dtype(np.int16))
    small = room.array((3, 7), np.dtype(np.float32))
    assert np.shares_memory(large, small)
    assert small.shape == (3, 7)
