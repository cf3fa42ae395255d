"""Traces as they are inked: the geometry of lines and bands, and the compiled picture beside the plain one."""

from __future__ import annotations

import numpy as np
import pytest

from pulsewright_app.desk.views import ink

BLACK: ink.Ink = (0, 0, 0, 1.0)
WIDTH, HEIGHT = 60, 40


@pytest.fixture(params=["plain", "compiled"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Draw without compiled code, and with it."""
    if request.param == "compiled":
        ink.load_compiled()
    else:
        monkeypatch.setattr(ink, "_compiled", None)
    return str(request.param)


def drawn(
    samples: np.ndarray, x_first: float, x_step: float, y_zero: float, y_step: float, pen: float = 1.0
) -> np.ndarray:
    """How much ink each pixel got, 0 … 1."""
    picture = np.zeros((HEIGHT, WIDTH), np.uint32)
    ink.draw_trace(picture, ink.Line(samples, x_first, x_step, y_zero, y_step), BLACK, pen)
    return (picture >> 24) / 255.0


@pytest.mark.usefixtures("way")
def test_a_level_line_has_the_pens_width_in_every_column() -> None:
    """From 19.55 to 21.05 pixels below the top: so much of the rows 19, 20 and 21 lies in it."""
    cover = drawn(np.zeros(200, np.int16), -5.0, 0.4, 20.3, 1.0, pen=1.5)
    assert np.flatnonzero(cover.any(axis=1)).tolist() == [19, 20, 21]
    for row, share in ((19, 0.45), (20, 1.0), (21, 0.05)):
        assert cover[row] == pytest.approx(np.full(WIDTH, share), abs=0.003)  # of 255 steps


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("slope", [0.5, 1.0, 3.0])
def test_a_sloping_line_is_as_heavy_as_a_level_one(slope: float) -> None:
    """A strip of width w that rises by the slope s covers w·√(1 + s²) of each column: Pythagoras.

    Slices of a quarter of a pixel make it up to s/4 more.
    """
    samples = np.array([0.0, 1.0])
    cover = drawn(samples, 20.0, 10.0, 10.0 - slope, 10.0 * slope, pen=1.5)
    inside = cover.sum(axis=0)[23:27]
    wanted = 1.5 * np.hypot(1.0, slope)
    assert np.all((inside > 0.97 * wanted) & (inside < wanted + slope / 4 + 0.03))


@pytest.mark.usefixtures("way")
def test_a_band_of_many_samples_a_column_is_full() -> None:
    samples = np.tile(np.array([-100, 100], np.int16), 30_000)
    cover = drawn(samples, 0.0, WIDTH / len(samples), 20.0, 0.1)
    assert np.all(cover[11:29] == 1.0)
    assert not cover[:9].any()
    assert not cover[31:].any()


@pytest.mark.usefixtures("way")
def test_one_sample_far_out_is_not_lost_among_thousands() -> None:
    samples = np.zeros(600_000, np.int16)
    samples[345_678] = 1000
    cover = drawn(samples, 0.0, WIDTH / len(samples), 30.0, -0.02)
    rows, columns = np.nonzero(cover[:20] > 0.2)
    assert rows.min() == pytest.approx(10, abs=1)
    assert columns.mean() == pytest.approx(34.6, abs=1)


@pytest.mark.usefixtures("way")
def test_nothing_is_drawn_before_the_first_sample_and_after_the_last() -> None:
    cover = drawn(np.zeros(5, np.int16), 20.0, 4.0, 20.0, 1.0)
    assert not cover[:, :19].any()
    assert not cover[:, 37:].any()
    assert cover[:, 21:35].any(axis=0).all()


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("dtype", [np.int8, np.uint16, np.dtype(">i2"), np.float32])
def test_samples_of_every_type_are_drawn(dtype: np.dtype) -> None:
    samples = np.arange(100).astype(dtype)
    cover = drawn(samples, 0.0, 0.6, 35.0, -0.3)
    assert cover == pytest.approx(drawn(samples.astype(np.int16), 0.0, 0.6, 35.0, -0.3))


@pytest.mark.usefixtures("way")
def test_a_dot_is_round_and_as_large_as_it_should_be() -> None:
    """Its area is π·r²."""
    picture = np.zeros((HEIGHT, WIDTH), np.uint32)
    ink.draw_dots(picture, ink.Line(np.array([3.0]), 30.2, 1.0, 20.0, -1.0), BLACK, 4.0)
    cover = (picture >> 24) / 255.0
    assert cover.sum() == pytest.approx(np.pi * 16.0, rel=0.02)
    rows, columns = np.indices(cover.shape) + 0.5
    assert (cover * columns).sum() / cover.sum() == pytest.approx(30.2, abs=0.05)
    assert (cover * rows).sum() / cover.sum() == pytest.approx(17.0, abs=0.05)


@pytest.mark.parametrize("length", [3, 40, 700, 30_000])
@pytest.mark.parametrize("density", [1.0, 2.0])
def test_the_compiled_picture_is_the_plain_one(length: int, density: float, monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(length)
    lines = [
        ink.Line(np.cumsum(random.normal(0, 3, length)).astype(np.int16), -7.3, 70.0 / length, 20.0, 0.3),
        ink.Line(random.normal(0, 5.0, length), 11.2, 40.0 / length, 22.0, -1.0),
    ]
    pictures = []
    for compiled in (True, False):
        ink.load_compiled()
        if not compiled:
            monkeypatch.setattr(ink, "_compiled", None)
        picture = np.zeros((HEIGHT, WIDTH), np.uint32)
        for line, colour in zip(lines, ((200, 30, 60, 1.0), (10, 90, 220, 0.6)), strict=True):
            ink.draw_trace(picture, line, colour, 1.2 * density, density)
            ink.draw_dots(picture, line, colour, 2.0)
        pictures.append(picture.view(np.uint8).reshape(HEIGHT, WIDTH, 4).astype(int))
    assert pictures[0].any()
    assert np.abs(pictures[0] - pictures[1]).max() <= 1
    blue, green, red, alpha = np.moveaxis(pictures[0], 2, 0)
    assert np.all(np.maximum(np.maximum(red, green), blue) <= alpha), "a premultiplied colour passes its alpha"
