"""A marker pair that follows one pulse or two, each of its own channel, measured in every record."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.followed_pulses import pulses_of
from pulsewright_analysis.results import Findings, Floats, Ints
from pulsewright_analysis.standing_pairs import End, standing

NEEDED_FOR_SCATTER = 2


@dataclass(frozen=True)
class PairSeries:
    """A following pair over all records: an entry for each record of the session.

    Attributes
    ----------
    channels : (int, int)
        Place of the channel of each end.
    orders : (int or None, int or None)
        Which pulse of its channel each end follows, counted from 0 in the order of time; None for one that is fixed.
    position : str
        The pulse position that is quoted.
    intervals : int
        N.
    t1, t1_u, t2, t2_u : array (records,)
        Positions, seconds from the record's trigger, and their standard uncertainties; NaN where not measurable.
    polarity : int array (records, 2)
        1 or −1 for the pulse that each end follows; 0 for an end that is fixed in time, and where not measurable.
    delta, delta_u : array (records,)
        t₂ − t₁ and its standard uncertainty, seconds; NaN where not measurable.
    reasons : tuple of str
        For each record why it could not be measured; empty where it could.
    mean : Quantity or None
        Mean Δ, seconds; None where no record could be measured.
    deviation : float or None
        Standard deviation of Δ over the records, seconds; None below two records.
    """

    channels: tuple[int, int]
    orders: tuple[int | None, int | None]
    position: str
    intervals: int
    t1: Floats
    t1_u: Floats
    t2: Floats
    t2_u: Floats
    polarity: Ints
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


def pair_over_records(findings: Findings, ends: tuple[End, End], intervals: int = 1) -> PairSeries:
    """Return a pair that follows one pulse or two, in every record of a session.

    Parameters
    ----------
    findings : Findings
        From `assess`, or from `measure`.
    ends : (End, End)
        Each follows a pulse of its own channel, or is fixed in time.
    intervals : int
        N, the number of equal intervals between the two; from 1 up.

    Returns
    -------
    PairSeries
        The mean of Δ is not weighted. Its u is the larger of the scatter's, s/√n with n − 1 degrees of freedom, and of
        theory's, √(Σu²)/n (JCGM 100:2008, 4.2.3 and 5.1.2), joined by what no number of records lessens: the sample
        clock's share, the u of a time that is fixed, and what does not cancel between the ends and is the same in all
        records (see `FollowedPulse.against`).

    Raises
    ------
    ValueError
        If neither end follows a pulse, `intervals` is below 1 or a pulse's number below 0.
    """
    _check(ends, intervals)
    ppm, records = findings.settings.clock_ppm, findings.session.records
    columns = np.full((6, records), np.nan)
    varying, steady = np.full(records, np.nan), np.full(records, np.nan)
    polarity = np.zeros((records, 2), dtype=np.int64)
    reasons: list[str] = []
    for record in range(records):
        there = standing(ends, pulses_of(findings, record), 1, ppm)
        reasons.append(there.reason)
        if there.told is None:
            continue
        delta = there.told.delta
        columns[:, record] = there.times[0], there.us[0], there.times[1], there.us[1], delta.value, delta.u
        polarity[record] = [0 if pulse is None else pulse.polarity for pulse in there.pulses]
        first, second = there.pulses
        parts = [one.against(other) for one, other in ((first, second), (second, first)) if one is not None]
        varying[record], steady[record] = (math.hypot(*part) for part in zip(*parts, strict=True))
    mean, deviation = _over(columns[4], varying, _lasting(ends, steady), ppm)
    t1, t1_u, t2, t2_u, apart, apart_u = columns
    return PairSeries(
        channels=(ends[0].channel, ends[1].channel),
        orders=(ends[0].pulse, ends[1].pulse),
        position=findings.pulses.position,
        intervals=intervals,
        t1=t1,
        t1_u=t1_u,
        t2=t2,
        t2_u=t2_u,
        polarity=polarity,
        delta=apart,
        delta_u=apart_u,
        reasons=tuple(reasons),
        mean=mean,
        deviation=deviation,
    )


def _check(ends: tuple[End, End], intervals: int) -> None:
    followed = [end.pulse for end in ends if end.pulse is not None]
    if intervals < 1:
        raise ValueError("the number of intervals is a whole number from 1 up")
    if not followed:
        raise ValueError("a pair that is fixed in time is the same in every record")
    if min(followed) < 0:
        raise ValueError("the pulses of a record count from 0")


def _lasting(ends: tuple[End, End], steady: Floats) -> tuple[Term, ...]:
    """Return what is the same in every record: the u of an end that is fixed, and what does not cancel of pulses."""
    if not np.isfinite(steady).any():
        return ()
    share, told = float(np.nanmax(steady)), "cable delay, trigger offset"
    fixed = [end for end in ends if end.pulse is None]
    if fixed:
        held = Term("marker that is fixed", fixed[0].u, "B", None, "as it was put down")
        return (held, Term("pulse, the same in every record", share, "B", None, told))
    return (Term("pulses, the same in every record", share, "B", None, told),) if share else ()


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
