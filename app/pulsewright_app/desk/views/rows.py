"""Rows of a view: where a trace's values lie when each channel, or each record, has a row of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Channel
from pulsewright_app.desk.trims import Trim

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Row:
    """How values become heights: ``height = base + (value − middle)·gain``.

    Attributes
    ----------
    base : float
        Height of the row's middle.
    middle : float
        The value that lies there.
    gain : float
        Heights per unit.
    """

    base: float = 0.0
    middle: float = 0.0
    gain: float = 1.0

    @classmethod
    def spread(cls, base: float, values: tuple[float, float], share: float) -> Row:
        """Return the row around `base` in which these values take up `share` of a height of 1."""
        low, high = values
        return cls(base, (low + high) / 2, share / max(high - low, 1e-300))

    def trimmed(self, trim: Trim) -> Row:
        """Return the row on which values are drawn larger about its middle, and higher."""
        return Row(self.base + trim.place * self.gain, self.middle, self.gain * trim.scale)

    def places(self, channel: Channel) -> tuple[float, float]:
        """Return the height of a channel's code 0, and heights for each code."""
        return self.base + (channel.offset - self.middle) * self.gain, channel.scale * self.gain

    def heights(self, codes: NDArray[Any], channel: Channel) -> Floats:
        """Return the heights of a channel's codes."""
        result: Floats = self.base + (codes * channel.scale + (channel.offset - self.middle)) * self.gain
        return result

    def height(self, value: float) -> float:
        """Return the height of one value."""
        return self.base + (value - self.middle) * self.gain

    def value(self, height: float) -> float:
        """Return the value at a height."""
        return self.middle + (height - self.base) / self.gain


_MOST_BESIDE = 0.1
"""The share of a plot that may stay free beside its lanes."""


def lane_window(lanes: int, room: float, above: float, below: float) -> tuple[float, float]:
    """Return the heights to show of lanes around 0, 1, …, with pixels kept free above and below them.

    Parameters
    ----------
    lanes : int
    room : float
        Height of the plot in pixels; in a low one less is kept free.
    above, below : float
        Pixels.
    """
    share = min(1.0, _MOST_BESIDE * max(room, 0.0) / (above + below))
    a_pixel = lanes / max(room - share * (above + below), 1.0)
    return -0.5 - share * below * a_pixel, lanes - 0.5 + share * above * a_pixel
