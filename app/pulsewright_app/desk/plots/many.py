"""What is drawn of very much as one item of a figure: where it is in pixels, and what of it a screen can show."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtCore import QRectF
from PySide6.QtGui import QTransform

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Range = tuple[float, float]

_FAR = 1e6
"""Pixels."""


class Many(pg.GraphicsObject):  # type: ignore[misc]
    """An item that paints by pixels, whatever the zoom.

    Parameters
    ----------
    x_range, y_range : (float, float) or None
        Lowest and highest place; None where it goes all the way.
    reach : float
        Pixels that anything is drawn beyond its place.
    """

    def __init__(self, x_range: Range, y_range: Range | None, reach: float) -> None:
        super().__init__()
        self._ranges, self._reach = (x_range, y_range), reach

    def dataBounds(self, axis: int, frac: float = 1.0, orthoRange: object = None) -> Range | None:
        """Return the range along an axis, 0 or 1, for the view that shows everything."""
        return self._ranges[axis]

    def pixelPadding(self) -> float:
        """Return how far anything reaches beyond its place, pixels."""
        return self._reach

    def viewTransformChanged(self) -> None:
        """Take on another zoom: a pixel is another distance now."""
        self.prepareGeometryChange()

    def boundingRect(self) -> QRectF:
        """Return where anything is drawn."""
        (left, right), y = self._ranges
        if y is None:
            view = self.getViewBox()
            y = (0.0, 0.0) if view is None else tuple(view.viewRange()[1])
        wide, tall = (self._reach * (length or 0.0) for length in (self.pixelWidth(), self.pixelHeight()))
        return QRectF(left - wide, y[0] - tall, right - left + 2 * wide, y[1] - y[0] + 2 * tall)


def across(x: Floats, transform: QTransform) -> Floats:
    """Return pixels across by a transform that scales, turns over and moves."""
    return x * transform.m11() + transform.dx()


def down(y: Floats, transform: QTransform) -> Floats:
    """Return pixels down by such a transform."""
    return y * transform.m22() + transform.dy()


def range_of(values: Floats) -> Range:
    """Return the lowest and the highest of the finite values; twice 0 where there are none."""
    known = values[np.isfinite(values)]
    return (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)


def pixels(places: Floats) -> Ints:
    """Return whole pixels; what is far out of sight stays out of sight."""
    return np.round(np.clip(places, -_FAR, _FAR)).astype(np.int64)


def distinct(column: Ints, row: Ints, width: int, height: int) -> tuple[Ints, Ints]:
    """Return each pixel of a screen that is in some list, once, column by column."""
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    inked = np.zeros(width * height, dtype=bool)
    inked[column[inside] * height + row[inside]] = True
    return np.divmod(np.flatnonzero(inked), height)


def strokes(column: Ints, one: Ints, other: Ints, width: int, height: int) -> tuple[Ints, Ints, Ints]:
    """Return upright strokes that ink the same pixels of a screen as some others, the fewest of them.

    Parameters
    ----------
    column, one, other : int array (strokes,)
        Where each is, and its first and last row, or the other way round.
    width, height : int
        Of the screen, pixels.

    Returns
    -------
    (column, first row, last row) : int arrays (fewer strokes,)
    """
    first, last = np.minimum(one, other), np.maximum(one, other)
    inside = (column >= 0) & (column < width) & (last >= 0) & (first < height)
    tall = height + 1  # a row that is never inked parts the columns
    foot = column[inside] * tall
    begun = np.bincount(foot + np.maximum(first[inside], 0), minlength=width * tall)
    ended = np.bincount(foot + np.minimum(last[inside], height - 1) + 1, minlength=width * tall)
    inked = np.cumsum(begun - ended) > 0
    edges = np.flatnonzero(np.diff(inked, prepend=False, append=False))
    return edges[::2] // tall, edges[::2] % tall, edges[1::2] % tall - 1


def paired(first: Any, second: Any) -> Floats:
    """Return two arrays in turn, as floats: the ends of one stroke after another."""
    both = np.empty(2 * len(first))
    both[0::2], both[1::2] = first, second
    return both
