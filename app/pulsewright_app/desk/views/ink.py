"""Draws traces into a picture of premultiplied pixels: smooth lines of even weight, many times faster than a path.

Each column of pixels is cut into slices; in each, the trace reaches from a least to a greatest height, widened by a
round pen. How much of a pixel the slices cover is how much ink it gets. So a line of a few samples and a band of
thousands a column are drawn by the same rule.

Compiled code draws once it is loaded, which takes a second; until then NumPy draws the same picture, more slowly.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.line_envelope import line_envelope
from pulsewright_analysis.overlay import Raster
from pulsewright_app.desk.memory import loading, unsearched
from pulsewright_app.first_use import load_what_compiles

Floats = NDArray[np.float64]
Picture = NDArray[np.uint32]

_SLICES_A_PIXEL = 4.0
"""Slices for each pixel of single density; a finer screen needs fewer of its pixels."""
_ROWS_AT_ONCE = 64
LEAST_COVER = 0.002
"""Cover of a pixel below which it gets no ink."""


@dataclass(frozen=True)
class Line:
    """A trace in pixels of a picture.

    Attributes
    ----------
    samples : array (samples,)
        In any unit.
    x_first, x_step : float
        Where sample 0 lies, and pixels between samples.
    y_zero, y_step : float
        Where a sample of 0 lies, pixels from the top, and pixels for each unit.
    """

    samples: NDArray[Any]
    x_first: float
    x_step: float
    y_zero: float
    y_step: float

    @property
    def in_known_type(self) -> NDArray[Any]:
        """The samples in one of the two types that compiled code is made for: in one piece, and read-only."""
        known = np.int16 if self.samples.dtype == np.int16 else np.float64
        samples = np.ascontiguousarray(self.samples, dtype=known).view()
        samples.flags.writeable = False
        return samples


_compiled: ModuleType | None = None
_begun = False


def load_compiled() -> None:
    """Load the compiled code and run it once for each type; called on a thread of its own, after the first picture."""
    global _compiled
    with loading("pulsewright_app.desk.views.ink_kernels"):
        from pulsewright_app.desk.views import ink_kernels

        load_what_compiles()
    if is_loaded():
        return
    with unsearched():
        picture = np.zeros((2, 2), np.uint32)
        for dtype in (np.int16, np.float64):
            line = Line(np.zeros(2, dtype), 0.0, 1.0, 1.0, 1.0)
            _compiled_trace(ink_kernels, line, 1, _pen(1.0, 1), (0, 0, 0, 1.0), picture)
            _compiled_dots(ink_kernels, line, 1.0, (0, 0, 0, 1.0), picture)
        _compiled = ink_kernels


def is_loaded() -> bool:
    """Return whether compiled code draws."""
    return _compiled is not None


def load_soon() -> None:
    """Load the compiled code behind the picture just drawn; does nothing if that was begun before."""
    global _begun
    if not _begun:
        _begun = True
        threading.Thread(target=load_compiled, name="ink").start()


Ink = tuple[int, int, int, float]
"""Red, green, blue, 0 … 255, and alpha, 0 … 1."""


def draw_trace(picture: Picture, line: Line, ink: Ink, pen: float, density: float = 1.0) -> None:
    """Draw a trace.

    Parameters
    ----------
    picture : uint32 array (height, width)
        Drawn on: premultiplied ARGB.
    line : Line
    ink : Ink
    pen : float
        Its width, pixels of the picture.
    density : float
        The picture's pixels for each pixel that a person thinks in.
    """
    parts = max(1, round(_SLICES_A_PIXEL / density))
    if _compiled is not None:
        _compiled_trace(_compiled, line, parts, _pen(pen, parts), ink, picture)
    else:
        _plain_trace(line, parts, _pen(pen, parts), ink, picture)


def draw_dots(picture: Picture, line: Line, ink: Ink, radius: float) -> None:
    """Draw a round dot at each sample; `radius` in pixels of the picture, the rest as for `draw_trace`."""
    if _compiled is not None:
        _compiled_dots(_compiled, line, radius, ink, picture)
    else:
        _plain_dots(line, radius, ink, picture)


def _pen(width: float, parts: int) -> Floats:
    """Return how far above its middle a round pen reaches, slice by slice from its left end to its right one."""
    radius = width / 2
    reach = max(int(radius * parts), 0)
    away: Floats = np.arange(-reach, reach + 1) / parts
    return np.sqrt(np.maximum(radius**2 - away**2, 0.0))


# -- compiled ---------------------------------------------------------------------------------------------------


def _compiled_trace(kernels: ModuleType, line: Line, parts: int, pen: Floats, ink: Ink, picture: Picture) -> None:
    places = (line.x_first, line.x_step, line.y_zero, line.y_step)
    kernels.ink_trace(line.in_known_type, *map(float, places), parts, pen, np.array(ink, np.float64), picture)


def _compiled_dots(kernels: ModuleType, line: Line, radius: float, ink: Ink, picture: Picture) -> None:
    places = (line.x_first, line.x_step, line.y_zero, line.y_step)
    kernels.ink_dots(line.in_known_type, *map(float, places), float(radius), np.array(ink, np.float64), picture)


# -- the same with NumPy ----------------------------------------------------------------------------------------


def _plain_trace(line: Line, parts: int, pen: Floats, ink: Ink, picture: Picture) -> None:
    height, width = picture.shape
    reach = len(pen) // 2
    slices = width * parts + 2 * reach
    left, right = -reach / parts, (width * parts + reach) / parts
    low, high = line_envelope(line.samples, line.x_first, line.x_step, Raster(slices, 1, left, right, 0.0, 1.0))
    one, other = line.y_zero + line.y_step * low, line.y_zero + line.y_step * high
    upper, lower = np.minimum(one, other), np.maximum(one, other)
    top, bottom = np.full(width * parts, np.inf), np.full(width * parts, -np.inf)
    for away, rise in enumerate(pen):
        there = slice(away, away + width * parts)
        top, bottom = np.fmin(top, upper[there] - rise), np.fmax(bottom, lower[there] + rise)
    top, bottom = np.maximum(top, 0.0), np.minimum(bottom, float(height))
    seen = top < bottom
    if not seen.any():
        return
    first, last = int(top[seen].min()), min(int(bottom[seen].max()), height - 1)
    for start in range(first, last + 1, _ROWS_AT_ONCE):
        rows = np.arange(start, min(start + _ROWS_AT_ONCE, last + 1), dtype=np.float64)[:, None]
        cover = np.clip(np.minimum(bottom, rows + 1) - np.maximum(top, rows), 0.0, 1.0)
        _blend(picture[start : start + len(rows)], cover.reshape(len(rows), width, parts).mean(axis=2), ink)


def _plain_dots(line: Line, radius: float, ink: Ink, picture: Picture) -> None:
    height, width = picture.shape
    i = np.arange(len(line.samples))
    x, y = line.x_first + i * line.x_step, line.y_zero + line.y_step * line.samples.astype(np.float64)
    near = (x > -radius - 1) & (x < width + radius + 1) & (y > -radius - 1) & (y < height + radius + 1)
    for at, up in zip(x[near], y[near], strict=True):
        columns = slice(max(int(at - radius - 1), 0), min(int(at + radius + 2), width))
        rows = slice(max(int(up - radius - 1), 0), min(int(up + radius + 2), height))
        across = np.arange(columns.start, columns.stop) + 0.5 - at
        down = np.arange(rows.start, rows.stop)[:, None] + 0.5 - up
        _blend(picture[rows, columns], np.clip(radius + 0.5 - np.hypot(across, down), 0.0, 1.0), ink)


def _blend(picture: Picture, cover: Floats, ink: Ink) -> None:
    """Lay ink over a part of the picture, as much as the cover says."""
    inked = np.nonzero(cover * ink[3] > LEAST_COVER)
    alpha, under = cover[inked] * ink[3], picture[inked]
    left = 1.0 - alpha

    def laid(share: int, shift: int) -> Picture:
        byte = (under >> np.uint32(shift)) & np.uint32(255)
        return (share * alpha + byte * left + 0.5).astype(np.uint32)

    full = laid(255, 24)
    mixed = full << np.uint32(24)
    for share, shift in zip(ink[:3], (16, 8, 0), strict=True):
        mixed |= np.minimum(laid(share, shift), full) << np.uint32(shift)
    picture[inked] = mixed
