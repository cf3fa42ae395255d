"""A marker pair that follows two pulses of a channel, measured in every record."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.markers import MarkerDifference, difference
from pulsewright_analysis.results import Findings, Floats, Ints

NEEDED_FOR_SCATTER = 2


@dataclass(frozen=True)
class FollowedPulse:
    """One end of a following pair in one record.

    Attributes
    ----------
    time, u : float
        Quoted position, seconds from the trigger, and its standard uncertainty with every part.
    own_u : float
        The part of `u` that two pulses of one record and channel do not share, seconds.
    """

    time: float
    u: float
    own_u: float


@dataclass(frozen=True)
class PairSeries:
    """A following pair over all records: an entry for each record of the session.

    Attributes
    ----------
    channel : int
    orders : (int, int)
        Which pulses of the channel it follows in each record, counted from 0 in the order of time.
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
    orders: tuple[int, int]
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


def followed_pulse(findings: Findings, record: int, channel: int, order: int) -> FollowedPulse | str:
    """Return a channel's pulse of one record by its number, or the reason why there is none to quote.

    Parameters
    ----------
    findings : Findings
    record, channel : int
        Where it is.
    order : int
        Which pulse of that record and channel, counted from 0 in the order of time.

    Returns
    -------
    FollowedPulse or str
    """
    return _Finder(findings, channel, record)(record, order)


def _why_none(findings: Findings, record: int, channel: int, order: int, there: int) -> str:
    if record in findings.settings.left_out:
        return f"record {record} is left out"
    if record not in findings.records or channel not in findings.channels:
        return f"{findings.session.channels[channel][0]} was not measured in record {record}"
    found = "no pulse" if there == 0 else f"only {there} pulse{'s' if there > 1 else ''}"
    return f"{found} in record {record} on {findings.session.channels[channel][0]}, so no pulse {order}"


def following_difference(
    first: FollowedPulse, second: FollowedPulse, intervals: int = 1, clock_ppm: float = 0.0
) -> MarkerDifference:
    """Return Δ = t₂ − t₁ with 1/Δ and Δ/N between two pulses of one record and channel.

    Parameters
    ----------
    first, second : FollowedPulse
        Of one record and channel: what their positions share (trigger, cable delay) cancels.
    intervals : int
        N, from 1 up.
    clock_ppm : float
        Standard uncertainty of the sample clock's rate, parts per million.

    Returns
    -------
    MarkerDifference
        See `difference`; u₁ and u₂ are those of each pulse's own noise.
    """
    return difference(first.time, first.own_u, second.time, second.own_u, intervals, clock_ppm)


def pair_over_records(findings: Findings, channel: int, orders: tuple[int, int], intervals: int = 1) -> PairSeries:
    """Return a pair that follows two pulses of a channel, in every record of a session.

    Parameters
    ----------
    findings : Findings
        From `assess`, or from `measure`.
    channel : int
        Place of the channel.
    orders : (int, int)
        The two pulses, counted from 0 in the order of time within a record and channel.
    intervals : int
        N, the number of equal intervals between the two; from 1 up.

    Returns
    -------
    PairSeries
        The mean of Δ is not weighted. Its u is the larger of the scatter's, s/√n with n − 1 degrees of freedom, and of
        theory's, √(Σu²)/n (JCGM 100:2008, 4.2.3 and 5.1.2), joined by the sample clock's share, which no number of
        records lessens.

    Raises
    ------
    ValueError
        If `intervals` is below 1 or a pulse's number below 0.
    """
    if intervals < 1:
        raise ValueError("the number of intervals is a whole number from 1 up")
    if min(orders) < 0:
        raise ValueError("the pulses of a record count from 0")
    ppm, records = findings.settings.clock_ppm, findings.session.records
    columns = np.full((6, records), np.nan)
    own = np.full(records, np.nan)
    reasons: list[str] = []
    find = _Finder(findings, channel)
    for record in range(records):
        first, second = find(record, orders[0]), find(record, orders[1])
        if isinstance(first, str) or isinstance(second, str):
            reasons.append(first if isinstance(first, str) else str(second))
            continue
        delta = following_difference(first, second, 1, ppm).delta
        columns[:, record] = first.time, first.u, second.time, second.u, delta.value, delta.u
        own[record] = math.hypot(first.own_u, second.own_u)
        reasons.append("")
    mean, deviation = _over(columns[4], own, ppm)
    position = findings.pulses.position
    t1, t1_u, t2, t2_u, apart, apart_u = columns
    return PairSeries(
        channel, orders, position, intervals, t1, t1_u, t2, t2_u, apart, apart_u, tuple(reasons), mean, deviation
    )


class _Finder:
    """Finds the pulses of one channel by record and number: what is asked of all pulses is asked once."""

    def __init__(self, findings: Findings, channel: int, record: int | None = None) -> None:
        self._findings, self._channel = findings, channel
        pulses = findings.pulses
        self._times, self._u, self._own = pulses.time, pulses.time_u, pulses.times_u[pulses.position]
        self._places: dict[int, list[int]] = {}
        for place in pulses.where(record, channel):
            self._places.setdefault(int(pulses.record[place]), []).append(int(place))

    def __call__(self, record: int, order: int) -> FollowedPulse | str:
        there = self._places.get(record, [])
        if order >= len(there):
            return _why_none(self._findings, record, self._channel, order, len(there))
        time, u, own = (float(column[there[order]]) for column in (self._times, self._u, self._own))
        if not (math.isfinite(time) and math.isfinite(u)):
            return f"the {self._findings.pulses.position} of pulse {order} cannot be measured in record {record}"
        return FollowedPulse(time, u, own)


def _over(delta: Floats, own: Floats, ppm: float) -> tuple[Quantity | None, float | None]:
    """Return the mean of what was measured, and its standard deviation."""
    there = np.isfinite(delta)
    values, n = delta[there], int(there.sum())
    if n == 0:
        return None, None
    mean = float(values.mean())
    theory = float(np.sqrt(np.sum(own[there] ** 2))) / n
    deviation = float(values.std(ddof=1)) if n >= NEEDED_FOR_SCATTER else None
    noise = Term("noise of the pulses", theory, "A", None, f"{n} records")
    if deviation is not None and deviation / math.sqrt(n) > theory:
        noise = Term("scatter over the records", deviation / math.sqrt(n), "A", n - 1, f"{n} records")
    clock = Term("sample clock", abs(mean) * ppm * 1e-6, "B", None, "setting clock_ppm")
    return Quantity.from_terms(mean, "s", (noise, clock)), deviation
