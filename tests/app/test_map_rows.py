"""The Map picture without a window: farthest values, open rows, rows that several records share; by made records."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pulsewright.session import Channel, Session
from pulsewright_app import map_rows
from pulsewright_app.map_rows import MapRows, coloured, read_rows
from pulsewright_app.theme import LIGHT, components

RATE = 1e6


def spikes(heights: list[int], length: int = 200) -> Session:
    """A record for each height, flat at 100 codes but for one sample so far from it, at sample 100."""
    codes = np.full((len(heights), 1, length), 100, dtype=np.int16)
    codes[:, 0, 100] += np.array(heights, dtype=np.int16)
    return Session.from_samples(codes, [Channel("H01", "M1", scale=1e-3, offset=0.5)], RATE, 0)


def test_the_value_farthest_from_the_base_counts() -> None:
    """Base 100 codes at 1 mV and 0.5 V offset: 0.6 V."""
    session = spikes([500, -300, 20])
    rows = read_rows(session, 0, (0.0, 200e-6), 20)
    assert (rows.base, rows.complete) == (pytest.approx(0.6), True)
    assert rows.largest == pytest.approx(0.5, rel=1e-6)
    np.testing.assert_allclose(rows.values[:, 10], [1.1, 0.3, 0.62], rtol=1e-6)
    np.testing.assert_allclose(rows.values[:, 3], 0.6, rtol=1e-6)


def test_beside_the_trace_there_is_no_value() -> None:
    rows = read_rows(spikes([5]), 0, (-100e-6, 300e-6), 40)
    assert np.isfinite(rows.values[0]).tolist() == [False] * 10 + [True] * 20 + [False] * 10


def test_full_ink_for_the_largest_and_the_page_for_the_base() -> None:
    session = spikes([500, -500, 250])
    rows = read_rows(session, 0, (0.0, 200e-6), 20)
    image = coloured(rows, np.arange(3), 3, 600, None, LIGHT)
    assert tuple(image[0, 10]) == (*components(LIGHT.positive), 255)
    assert tuple(image[1, 10]) == (*components(LIGHT.negative), 255)
    assert tuple(image[0, 3]) == (*components(LIGHT.plot), 255)
    halfway = [(a + b) / 2 for a, b in zip(components(LIGHT.plot), components(LIGHT.positive), strict=True)]
    np.testing.assert_allclose(image[2, 10, :3], halfway, atol=1)


def test_a_missed_trigger_leaves_its_row_open() -> None:
    rows = read_rows(spikes([500, 500]), 0, (0.0, 200e-6), 20)
    image = coloured(rows, np.array([0, 3]), 4, 600, None, LIGHT)
    assert image[:, 10, 3].tolist() == [255, 0, 0, 255]


def test_records_that_share_a_row_of_pixels_show_the_farthest() -> None:
    rows = read_rows(spikes([10, 500, -20, -400, 30, 5]), 0, (0.0, 200e-6), 20)
    image = coloured(rows, np.arange(6), 6, 3, 0.5, LIGHT)
    assert image.shape == (3, 20, 4)
    assert tuple(image[0, 10, :3]) == components(LIGHT.positive)
    blue = image[1, 10, :3].astype(int)
    assert abs(blue - components(LIGHT.negative)).sum() < abs(blue - components(LIGHT.positive)).sum()


def test_a_very_long_session_keeps_a_row_for_several_records(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(map_rows, "MOST_ROWS", 3)
    rows = read_rows(spikes([10, 500, -20, -400, 30]), 0, (0.0, 200e-6), 20)
    assert rows.records_a_row == 2
    np.testing.assert_allclose(rows.values[:, 10], [1.1, 0.2, 0.63], rtol=1e-6)
    image = coloured(rows, np.arange(5), 5, 600, None, LIGHT)
    assert image.shape == (5, 20, 4)
    assert tuple(image[0, 10]) == tuple(image[1, 10]) == (*components(LIGHT.positive), 255)


def test_it_tells_how_far_it_is_and_stops_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(map_rows, "BLOCK_BYTES", 1)  # a record a block
    told: list[tuple[int, bool]] = []

    def heard(rows: MapRows) -> None:
        told.append((rows.read, rows.complete))

    session = spikes([1, 2, 3, 4])
    read_rows(session, 0, (0.0, 200e-6), 20, lambda: len(told) == 2, heard)
    assert told == [(1, False), (2, False)]
    read_rows(session, 0, (0.0, 200e-6), 20, publish=heard)
    assert told[-1] == (4, True)


def test_a_session_of_zeros_has_no_largest() -> None:
    rows: Any = read_rows(spikes([0, 0]), 0, (0.0, 200e-6), 20)
    assert rows.largest == 1.0


def test_a_sample_that_is_no_number_leaves_the_rest_of_the_map() -> None:
    """One NaN in the first block: its column is open or shows its neighbours, everything else is as without it."""
    codes = np.zeros((3, 1, 200), dtype=np.float32)
    codes[:, 0, 100] = [0.5, -0.3, 0.2]
    whole = read_rows(Session.from_samples(codes, [Channel("H01", "M1")], RATE, 0), 0, (0.0, 200e-6), 20)
    codes[0, 0, 7] = np.nan
    rows = read_rows(Session.from_samples(codes, [Channel("H01", "M1")], RATE, 0), 0, (0.0, 200e-6), 20)
    assert (rows.base, rows.largest) == (0.0, pytest.approx(0.5))
    elsewhere = np.arange(20) != 0
    np.testing.assert_array_equal(rows.values[:, elsewhere], whole.values[:, elsewhere])
    np.testing.assert_array_equal(rows.values[1:], whole.values[1:])


def test_a_session_without_a_number_still_has_a_map() -> None:
    codes = np.full((2, 1, 50), np.nan, dtype=np.float32)
    rows = read_rows(Session.from_samples(codes, [Channel("H01", "M1", offset=0.25)], RATE, 0), 0, (0.0, 50e-6), 10)
    assert (rows.base, rows.largest, rows.complete) == (0.25, 1.0, True)
    assert not np.any(np.isfinite(rows.values))
    assert not np.any(coloured(rows, np.arange(2), 2, 600, None, LIGHT)[..., 3])


def test_some_records_alone_make_the_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    """They show what they show among all, in as many blocks as it takes."""
    session = spikes([500, -300, 20, 80, -60])
    among_all = read_rows(session, 0, (0.0, 200e-6), 20)
    monkeypatch.setattr(map_rows, "BLOCK_BYTES", 2 * 200 * 2)  # two records a block
    rows = read_rows(session, 0, (0.0, 200e-6), 20, wanted=np.array([1, 4]))
    np.testing.assert_array_equal(rows.values, among_all.values[[1, 4]])
    assert rows.complete and rows.numbers.tolist() == [1, 4]
    assert rows.largest == pytest.approx(0.3, rel=1e-6)
