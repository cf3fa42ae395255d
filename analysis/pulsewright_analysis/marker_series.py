"""A marker pair that follows one pulse or two of a channel, measured in every record."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Findings, Floats, Ints
from pulsewright_analysis.standing_pairs import End, FollowedPulse, PulseFinder, standing

NEEDED_FOR_SCATTER = 2


@dataclass(frozen=True)
class PairSeries:
    """A following pair over all records: an entry for each record of the session.

    Attributes
    ----------
    channel : int
    orders : (int or None, int or None)
        Which pulses of the channel it follows in each record, counted from 0 in the order of time; None for an end
        that is fixed in time.
    position : str
        The pulse position that is quoted.
    intervals : int
        N.
    t1, t1_u, t2, t2_u : array (records,)
        Positions, seconds from the record's trigger, and their standard uncertainties; NaN where not measurable.
    delta, delta_u : array (records,)
        t₂ − t₁ and its standard uncertainty, seconds; NaN where not measurable.
    reasons : tuple of str
        For each record why it could not be measured; empty where it could.
    mean : Quantity or None
        Mean Δ, seconds; None where no record could be measured.
    deviation : float or None
        Standard deviation of Δ over the records, seconds; None below two records.
    """

    channel: int
    orders: tuple[int | None, int | None]
    position: str
    intervals: int
    t1: Floats
    t1_u: Floats
    t2: Floats
    t2_u: Floats
    delta: Floats
    delta_u: Floats
    reasons: tuple[str, ...]
    mean: Quantity | None
    deviation: float | None

    @property
    def measured(self) -> Ints:
        """The records in which it could be measured."""
        return np.flatnonzero(np.isfinite(self.delta)).astype(np.int64)

    @property
    def mean_per_interval(self) -> Quantity | None:
        """Mean of Δ/N, seconds."""
        return None if self.mean is None else self.mean.scaled(1 / self.intervals)


def intervals_between(findings: Findings, record: int, channel: int, low: float, high: float) -> int | None:
    """Return how many intervals the pulses of a record and channel that lie in a stretch make: one less than pulses.

    Parameters
    ----------
    findings : Findings
    record, channel : int
        Where the pulses are.
    low, high : float
        The stretch, seconds from the record's trigger.

    Returns
    -------
    int or None
        From 1 up; None below two pulses.
    """
    pulses = findings.pulses
    there = pulses.time[pulses.where(record, channel)]
    count = int(np.count_nonzero((there >= low) & (there <= high)))
    return count - 1 if count > 1 else None


def pair_over_records(findings: Findings, channel: int, ends: tuple[End, End], intervals: int = 1) -> PairSeries:
    """Return a pair that follows one pulse or two of a channel, in every record of a session.

    Parameters
    ----------
    findings : Findings
        From `assess`, or from `measure`.
    channel : int
        Place of the channel.
    ends : (End, End)
        Each follows a pulse, or is fixed in time.
    intervals : int
        N, the number of equal intervals between the two; from 1 up.

    Returns
    -------
    PairSeries
        The mean of Δ is not weighted. Its u is the larger of the scatter's, s/√n with n − 1 degrees of freedom, and of
        theory's, √(Σu²)/n (JCGM 100:2008, 4.2.3 and 5.1.2), joined by what no number of records lessens: the sample
        clock's share, the u of a time that is fixed, and what the pulse against it has in common in all records.

    Raises
    ------
    ValueError
        If neither end follows a pulse, `intervals` is below 1 or a pulse's number below 0.
    """
    if intervals < 1:
        raise ValueError("the number of intervals is a whole number from 1 up")
    orders = (ends[0].pulse, ends[1].pulse)
    followed = [order for order in orders if order is not None]
    if not followed:
        raise ValueError("a pair that is fixed in time is the same in every record")
    if min(followed) < 0:
        raise ValueError("the pulses of a record count from 0")
    ppm, records = findings.settings.clock_ppm, findings.session.records
    columns = np.full((6, records), np.nan)
    varying, steady = np.full(records, np.nan), np.full(records, np.nan)
    reasons: list[str] = []
    finder = PulseFinder(findings, channel)
    for record in range(records):
        there = standing(ends, finder.of(record), 1, ppm)
        reasons.append(there.reason)
        if there.told is None:
            continue
        delta = there.told.delta
        columns[:, record] = there.times[0], there.us[0], there.times[1], there.us[1], delta.value, delta.u
        pulses = [found for order in followed if isinstance(found := finder(record, order), FollowedPulse)]
        both = len(followed) == 2
        varying[record] = math.hypot(*(pulse.own_u if both else pulse.record_u for pulse in pulses))
        steady[record] = 0.0 if both else pulses[0].steady_u
    lasting = _lasting(ends, steady)
    mean, deviation = _over(columns[4], varying, lasting, ppm)
    position = findings.pulses.position
    t1, t1_u, t2, t2_u, apart, apart_u = columns
    return PairSeries(
        channel, orders, position, intervals, t1, t1_u, t2, t2_u, apart, apart_u, tuple(reasons), mean, deviation
    )


def _lasting(ends: tuple[End, End], steady: Floats) -> tuple[Term, ...]:
    """Return what is the same in every record where one end is fixed in time; nothing where both follow."""
    fixed = [end for end in ends if end.pulse is None]
    if not fixed or not np.isfinite(steady).any():
        return ()
    return (
        Term("marker that is fixed", fixed[0].u, "B", None, "as it was put down"),
        Term("pulse, the same in every record", float(np.nanmax(steady)), "B", None, "cable delay, trigger offset"),
    )


def _over(
    delta: Floats, varying: Floats, lasting: tuple[Term, ...], ppm: float
) -> tuple[Quantity | None, float | None]:
    """Return the mean of what was measured, and its standard deviation."""
    there = np.isfinite(delta)
    values, n = delta[there], int(there.sum())
    if n == 0:
        return None, None
    mean = float(values.mean())
    theory = float(np.sqrt(np.sum(varying[there] ** 2))) / n
    deviation = float(values.std(ddof=1)) if n >= NEEDED_FOR_SCATTER else None
    noise = Term("noise of the pulses", theory, "A", None, f"{n} records")
    if deviation is not None and deviation / math.sqrt(n) > theory:
        noise = Term("scatter over the records", deviation / math.sqrt(n), "A", n - 1, f"{n} records")
    clock = Term("sample clock", abs(mean) * ppm * 1e-6, "B", None, "setting clock_ppm")
    return Quantity.from_terms(mean, "s", (noise, *lasting, clock)), deviation
