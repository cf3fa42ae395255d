"""What a column or an array of sample times says: the sample rate, where the trigger is, and whether samples lack."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from pulsewright.formats.understanding import Ledger
from pulsewright.session import Floats

_MOST_GAPS = 5
_UNEVEN = 0.1
"""Parts of a sample interval by which two samples' distance may be off before times count as uneven."""
_NEAR = 1e-6


@dataclass
class TimeWatch:
    """Looks over the sample times of one record after another, holding none but each record's first.

    Attributes
    ----------
    resolution : float
        Seconds to which the times are written.
    starts : list of float
        Time of each record's first sample, seconds.
    count : int
        Samples of the record under way.
    interval : float
        Distance of two samples, seconds, from the longest record so far; 0 while there is none.
    gaps : list of (int, int, float)
        Record, sample before, and how many sample intervals lie between it and the next: the first few.
    uneven : float
        The largest part of an interval by which a distance is off, gaps aside.
    """

    resolution: float = 0.0
    starts: list[float] = field(default_factory=list)
    count: int = 0
    interval: float = 0.0
    gaps: list[tuple[int, int, float]] = field(default_factory=list)
    uneven: float = 0.0
    _last: float = math.nan
    _usual: float = 0.0
    _longest: int = 0

    def begin(self, start: float) -> None:
        """Begin a record.

        Parameters
        ----------
        start : float
            Time of its first sample, seconds.
        """
        self.finish()
        self.starts.append(start)
        self.count, self._last = 1, start

    def feed(self, times: Floats) -> None:
        """Take in more sample times of the record under way.

        Parameters
        ----------
        times : array (samples,)
            Seconds, in order.
        """
        if not len(times):
            return
        steps = np.diff(times, prepend=self._last)
        if self._usual == 0.0:
            self._usual = float(np.median(steps))
        if self._usual > 0:
            parts = steps / self._usual
            off = np.abs(parts - 1)
            wide = (off > 0.5) | ~np.isfinite(off)
            for place in np.flatnonzero(wide)[: _MOST_GAPS - len(self.gaps)].tolist():
                self.gaps.append((len(self.starts) - 1, self.count - 1 + place, float(parts[place])))
            written = 2 * self.resolution / self._usual
            even = off[~wide] - written
            if even.size:
                self.uneven = max(self.uneven, float(even.max()))
        self.count += len(times)
        self._last = float(times[-1])

    def finish(self) -> None:
        """End the record under way."""
        if self.count > max(1, self._longest) and not self.gaps:
            self.interval = (self._last - self.starts[-1]) / (self.count - 1)
            self._longest = self.count
        elif self.interval == 0.0:
            self.interval = self._usual

    def judge(self, ledger: Ledger, option: str) -> None:
        """Tell what is odd about the times, and refuse those that no even sample clock can have made.

        Parameters
        ----------
        ledger : Ledger
            Told.
        option : str
            The option by which the times would be left aside.
        """
        for record, sample, parts in self.gaps:
            if parts > 0.5:
                what = f"{parts:.4g} sample intervals lie between samples {sample} and {sample + 1} of record {record}"
                lack = f": {round(parts) - 1} samples are missing" if parts > 1.5 else ""
                ledger.odd.append(what + lack)
            else:
                ledger.odd.append(f"the time goes back after sample {sample} of record {record}")
        if self.uneven > _UNEVEN:
            ledger.odd.append(f"sample times are uneven: distances are off by up to {self.uneven:.2g} of an interval")
        if self.gaps or self.uneven > _UNEVEN or not self.interval > 0:
            why = ledger.odd[-1] if ledger.odd else "its sample times do not increase"
            ledger.refuse(
                f"{ledger.file_name}: {why}; a session's samples are evenly spaced",
                "leave the times aside (none) and give a sample rate, if you know that the times are wrong",
                option,
            )

    @property
    def rate(self) -> float | None:
        """Hertz, the roundest number that the times allow; None where they allow none."""
        if not (self.interval > 0 and math.isfinite(1 / self.interval)):
            return None
        slack = max(2 * self.resolution / max(1, self._longest - 1), 8e-16 * abs(self._last), 1e-12 * self.interval)
        return roundest(self.interval, slack)


def roundest(interval: float, slack: float) -> float:
    """Return the sample rate with the fewest digits, in itself or in its interval, that times of some slack allow.

    Parameters
    ----------
    interval, slack : float
        Distance of two samples and how far off it may be, seconds.

    Returns
    -------
    float
        Hertz.
    """
    low, high = interval - slack, interval + slack
    for digits in range(1, 17):
        rate = float(f"{1 / interval:.{digits - 1}e}")
        if low <= 1 / rate <= high:
            return rate
        rounded = float(f"{interval:.{digits - 1}e}")
        if low <= rounded <= high:
            return 1 / rounded
    return 1 / interval


def triggers_from(starts: list[float], rate: float, length: int) -> dict[str, Any]:
    """Return where the trigger lies, from the times of records' first samples.

    Times that run from one record to the next tell when records were taken; times that start over, or that pass
    through 0, are counted from each record's trigger.

    Parameters
    ----------
    starts : list of float
        Seconds.
    rate : float
        Hertz.
    length : int
        Samples in a record.

    Returns
    -------
    dict
        Of ``pre_trigger``, ``trigger_time`` and ``trigger_offset`` those that are known, as for `Session`.
    """
    first = np.array(starts, dtype=np.float64)
    duration = length / rate
    spread = float(first.max() - first.min())
    if len(first) > 1 and spread > 0.5 * duration:
        return {"trigger_time": first - first[0]} if bool(np.all(np.diff(first) >= 0)) else {}
    if not (first.min() <= 0 <= first.max() + duration):
        return {}
    before = math.ceil(-float(first.min()) * rate - _NEAR)
    offset = first + before / rate
    offset[np.abs(offset) < _NEAR / rate] = 0.0
    if not 0 <= before <= length:
        return {}
    if bool(np.all((offset >= 0) & (offset < 1 / rate))):
        return {"pre_trigger": before, "trigger_offset": offset}
    return {"pre_trigger": before}
