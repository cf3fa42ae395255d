"""Where a signal crosses a level, found as its samples come, block by block."""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.results import Floats, Ints


class CrossingFinder:
    """Finds the crossings of one slope; what it finds does not depend on how the samples were cut into blocks.

    A crossing lies between a sample before the level and the next one at or past it. Its instant is where the straight
    line through the two meets the level (common practice, no source).

    Parameters
    ----------
    level : float
        In the samples' unit.
    rising : bool
        Whether the signal rises through the level, or falls.
    hysteresis : float
        A crossing counts if, since the crossing before it, a sample has been further than this before the level.
    """

    def __init__(self, level: float, *, rising: bool, hysteresis: float = 0.0) -> None:
        self._sign = 1.0 if rising else -1.0
        self._level = self._sign * level
        self._back = self._level - hysteresis
        self._before = np.empty(0)
        self._count = 0
        self._armed = False
        self._low, self._high = np.inf, -np.inf
        self._samples: list[Ints] = []
        self._leads: list[Floats] = []

    def look_at(self, values: Floats) -> None:
        """Look at the samples that follow those looked at before.

        Parameters
        ----------
        values : array (samples,)
            In their unit, finite.
        """
        if not len(values):
            return
        # the last sample of the block before comes first, for a crossing may lie between the two blocks
        series = np.concatenate([self._before, self._sign * values])
        begin = self._count - len(self._before)
        self._low, self._high = min(self._low, float(values.min())), max(self._high, float(values.max()))
        past = series >= self._level
        crossing = np.flatnonzero(~past[:-1] & past[1:]) + 1
        crossing = crossing[self._counted(series, crossing)]
        rise = series[crossing] - series[crossing - 1]
        # a sample a hair before the level must not make the lead a whole interval
        lead = np.minimum((series[crossing] - self._level) / rise, np.nextafter(1.0, 0.0))
        self._samples.append(crossing + begin)
        self._leads.append(lead)
        self._count += len(values)
        self._before = series[-1:]

    def _counted(self, series: Floats, crossing: Ints) -> Ints:
        """Return which crossings have had a sample far enough before the level since the crossing before them."""
        if self._back == self._level:  # the sample before a crossing is far enough
            return np.arange(len(crossing))
        far = np.flatnonzero(series < self._back)
        seen = np.searchsorted(far, crossing)
        fresh = np.diff(seen, prepend=0) > 0
        if len(crossing):
            fresh[0] |= self._armed
            self._armed = bool(len(far) > seen[-1])
        else:
            self._armed |= bool(len(far))
        counted: Ints = np.flatnonzero(fresh)
        return counted

    def found(self) -> tuple[Ints, Floats]:
        """Return each crossing's sample at or past the level, and how long before it the instant was.

        Returns
        -------
        int array (crossings,), array (crossings,)
            Number of the sample, from 0 for the first ever looked at; sample intervals, from 0 to below 1.
        """
        nothing: Ints = np.array([], dtype=np.int64)
        return np.concatenate([nothing, *self._samples]), np.concatenate([np.array([]), *self._leads])

    @property
    def seen(self) -> tuple[float, float]:
        """The lowest and the highest value looked at; infinities before the first."""
        return self._low, self._high
