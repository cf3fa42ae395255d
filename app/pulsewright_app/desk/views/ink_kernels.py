"""Compiled drawing of traces and dots into a picture; the same picture as `ink` draws without compiled code.

Coordinates are pixels of the picture from its left and upper edges. Sample i of a trace lies at x = x_first + i·x_step,
y = y_zero + y_step·sample. Pixels are premultiplied ARGB, 8 bits each. Imported only inside functions.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pulsewright_analysis.compiled import kernel
from pulsewright_analysis.overlay_kernels import first_sample_from, line_at
from pulsewright_app.desk.views.ink import LEAST_COVER

Array = np.ndarray[Any, Any]


@kernel
def crossing(edge: float, x_first: float, x_step: float, samples: Array, after: int) -> float:
    """Return where the straight line from sample `after` − 1 to `after` crosses an edge; NaN beside the trace."""
    if after <= 0 or after >= len(samples):
        return math.nan
    return line_at(edge, x_first, x_step, samples, after)


@kernel
def stretches(
    samples: Array, x_first: float, x_step: float, left: float, width: float, low: Array, high: Array
) -> None:
    """Fill in the least and the greatest that a trace reaches in each of many columns; inf and −inf where it is not.

    Column k reaches from `left` + k·`width` to `left` + (k + 1)·`width`. What it holds is what `line_envelope`
    says: with at least one sample a column its samples and the next one, else what straight lines between them cover.
    """
    length = len(samples)
    start = first_sample_from(left, x_first, x_step, length)
    for column in range(len(low)):
        edge = left + (column + 1) * width
        stop = first_sample_from(edge, x_first, x_step, length)
        lowest, highest = math.inf, -math.inf
        dense = start < stop and x_step <= width
        if start < stop:
            # unsigned places and comparisons of the samples' own type: only so are several looked at together
            least, greatest = samples[start], samples[start]
            for i in range(np.uint64(start), np.uint64(min(stop + 1, length) if dense else stop)):
                value = samples[i]
                if value < least or least != least:  # what is no number gives way
                    least = value
                if value > greatest or greatest != greatest:
                    greatest = value
            if least == least:
                lowest, highest = float(least), float(greatest)
        if not dense:
            entered = crossing(left + column * width, x_first, x_step, samples, start)
            for value in (entered, crossing(edge, x_first, x_step, samples, stop)):
                if value < lowest:
                    lowest = value
                if value > highest:
                    highest = value
        low[column], high[column] = lowest, highest
        start = stop


@kernel
def blended(under: int, alpha: float, red: float, green: float, blue: float) -> int:
    """Return a premultiplied pixel with a colour (0 … 255 each) laid over it, `alpha` (0 … 1) of it."""
    left = 1.0 - alpha
    a = int(255.0 * alpha + ((under >> 24) & 255) * left + 0.5)
    r = int(red * alpha + ((under >> 16) & 255) * left + 0.5)
    g = int(green * alpha + ((under >> 8) & 255) * left + 0.5)
    b = int(blue * alpha + (under & 255) * left + 0.5)
    # rounding must not let a colour pass its alpha
    return (a << 24) | (min(r, a) << 16) | (min(g, a) << 8) | min(b, a)


@kernel
def ink_trace(
    samples: Array,
    x_first: float,
    x_step: float,
    y_zero: float,
    y_step: float,
    parts: int,
    rises: Array,
    colour: Array,
    picture: Array,
) -> None:
    """Draw a trace with a round pen.

    Parameters
    ----------
    parts : int
        Into how many slices a column is cut.
    rises : array (2·reach + 1,)
        How far above its middle the pen reaches, by slices from −reach to +reach from its middle; pixels.
    colour : array (4,)
        Red, green, blue, 0 … 255, and alpha, 0 … 1.
    picture : uint32 array (height, width)
        Drawn on.
    """
    height, width = picture.shape
    reach = len(rises) // 2
    slices = width * parts + 2 * reach
    low, high = np.empty(slices), np.empty(slices)
    stretches(samples, x_first, x_step, -reach / parts, 1.0 / parts, low, high)
    cover, change = np.zeros(height + 2), np.zeros(height + 2)
    a_slice = 1.0 / parts
    red, green, blue, alpha = colour[0], colour[1], colour[2], colour[3]
    for column in range(width):
        first_row, last_row = height, -1
        for part in range(parts):
            top, bottom = math.inf, -math.inf
            for away in range(2 * reach + 1):
                k = column * parts + part + away
                if low[k] <= high[k]:
                    one, other = y_zero + y_step * low[k], y_zero + y_step * high[k]
                    top = min(top, min(one, other) - rises[away])
                    bottom = max(bottom, max(one, other) + rises[away])
            top, bottom = max(top, 0.0), min(bottom, float(height))
            if not top < bottom:
                continue
            upper, lower = int(top), int(bottom)
            first_row, last_row = min(first_row, upper), max(last_row, lower)
            if upper == lower:
                cover[upper] += (bottom - top) * a_slice
            else:
                cover[upper] += (upper + 1 - top) * a_slice
                cover[lower] += (bottom - lower) * a_slice
                change[upper + 1] += a_slice
                change[lower] -= a_slice
        whole = 0.0
        for row in range(first_row, last_row + 1):
            whole += change[row]
            covered = min(cover[row] + whole, 1.0) * alpha
            cover[row] = change[row] = 0.0
            if row < height and covered > LEAST_COVER:
                picture[row, column] = blended(picture[row, column], covered, red, green, blue)


@kernel
def ink_dots(
    samples: Array,
    x_first: float,
    x_step: float,
    y_zero: float,
    y_step: float,
    radius: float,
    colour: Array,
    picture: Array,
) -> None:
    """Draw a round dot at each sample; the parameters are those of `ink_trace`, and the dots' radius in pixels."""
    height, width = picture.shape
    red, green, blue, alpha = colour[0], colour[1], colour[2], colour[3]
    first = first_sample_from(-radius - 1.0, x_first, x_step, len(samples))
    stop = first_sample_from(width + radius + 1.0, x_first, x_step, len(samples))
    for i in range(first, stop):
        x, y = x_first + i * x_step, y_zero + y_step * float(samples[i])
        if not -radius - 1.0 < y < height + radius + 1.0:
            continue
        for row in range(max(int(y - radius - 1.0), 0), min(int(y + radius + 2.0), height)):
            for column in range(max(int(x - radius - 1.0), 0), min(int(x + radius + 2.0), width)):
                distance = math.hypot(column + 0.5 - x, row + 0.5 - y)
                covered = min(max(radius + 0.5 - distance, 0.0), 1.0) * alpha
                if covered > LEAST_COVER:
                    picture[row, column] = blended(picture[row, column], covered, red, green, blue)
