"""Reduces a trace to what a screen can show: one minimum and one maximum for each pixel column."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.line_envelope import line_envelope
from pulsewright_analysis.overlay import Raster

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Reduced:
    """A trace as it is drawn.

    Attributes
    ----------
    time : array (points,)
        Seconds.
    code : array (points,)
        The codes there, as floats.
    samples : bool
        True if every point is a sample; False if the points are minima and maxima of columns.
    """

    time: Floats
    code: Floats
    samples: bool


def seen(start: float, interval: float, length: int, window: tuple[float, float]) -> tuple[int, int]:
    """Return the first sample that is drawn in a window, and the one after the last: one more at each side.

    Parameters
    ----------
    start, interval : float
        Time of sample 0, and between samples; seconds.
    length : int
        Samples in the record.
    window : (float, float)
        The stretch of time that is shown, seconds.
    """
    first = math.ceil((window[0] - start) / interval) - 1
    stop = math.floor((window[1] - start) / interval) + 2
    return min(max(first, 0), length), min(max(stop, 0), length)


def reduce_trace(
    codes: NDArray[Any], start: float, interval: float, window: tuple[float, float], width: int
) -> Reduced:
    """Return what of a trace is drawn in a window.

    Parameters
    ----------
    codes : array (record length,)
        One record of one channel.
    start, interval : float
        Time of sample 0, and between samples; seconds.
    window : (float, float)
        The stretch of time that is shown, seconds.
    width : int
        Pixel columns.
    """
    first, stop = seen(start, interval, len(codes), window)
    if stop - first <= 2 * width or width < 1:
        at = (start + np.arange(first, stop) * interval).astype(np.float64)
        return Reduced(at, codes[first:stop].astype(np.float64), True)
    low, high = line_envelope(codes, start, interval, Raster(width, 1, *window, 0.0, 1.0))
    held = np.flatnonzero(np.isfinite(low))
    code = np.empty(2 * len(held))
    code[0::2], code[1::2] = low[held], high[held]
    centre: Floats = window[0] + (held + 0.5) * (window[1] - window[0]) / width
    twice: Floats = np.repeat(centre, 2)
    return Reduced(twice, code, False)
