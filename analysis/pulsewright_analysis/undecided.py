"""What would decide a claim that is undecided: how many more records, or what sample rate, or which Type B part."""

from __future__ import annotations

import math

from pulsewright.budget import Term
from pulsewright.quantity import coverage_factor, engineering
from pulsewright_analysis.estimates import Estimate

MOST_RECORDS = 10_000_000
"""More than that is told as out of reach."""


def what_would_decide(
    estimate: Estimate, low: float | None, high: float | None, coverage: float, sample_rate: float
) -> str:
    """Return what would decide a claim, should the value stay where it is.

    Parameters
    ----------
    estimate : Estimate
        What is undecided.
    low, high : float or None
        The limits, in its unit.
    coverage : float
        Of the interval that decides.
    sample_rate : float
        Hertz, of the session.

    Returns
    -------
    str
        A sentence without a final full stop. Type A parts of u shrink as one over the root of the number of records;
        Type B parts do not, and a trigger that was not timed shrinks with the sample interval.
    """
    margin = estimate.margin(low, high)
    unit = estimate.quantity.unit
    if margin <= 1e-6 * estimate.quantity.u:
        return "the value lies on the limit itself, where no measurement decides: settle on another limit"
    if estimate.own is not None:
        return _for_scatter(estimate, low, high, coverage)
    goal = margin / coverage_factor(None, coverage)
    random, lasting, untimed = _parts(estimate)
    away = f"the limit is {engineering(margin, unit, 3)} away"
    if estimate.count > 0 and goal > math.hypot(lasting, untimed):
        total = math.ceil(estimate.count * random**2 / (goal**2 - lasting**2 - untimed**2))
        return _more_records(max(total, estimate.count + 1), estimate.count)
    return _without_records(estimate, goal, away, coverage, sample_rate)


def _without_records(estimate: Estimate, goal: float, away: str, coverage: float, sample_rate: float) -> str:
    """Return what helps where more records do not."""
    unit = estimate.quantity.unit
    random, lasting, untimed = _parts(estimate)
    fixed = lasting if estimate.count > 0 else math.hypot(random, lasting)
    room = goal**2 - fixed**2
    if untimed > 0 and room > 0:
        rate = sample_rate * untimed / math.sqrt(room)
        return (
            f"more records do not help: the trigger was not timed. A sample rate of {engineering(rate, 'S/s', 3)} or "
            f"more, or recorded trigger offsets, would: {away}"
        )
    if estimate.count > 0:
        largest = max((term for term in estimate.quantity.terms if term.kind == "B"), key=lambda term: term.u)
        expanded = coverage_factor(None, coverage) * math.hypot(lasting, untimed)
        return (
            f"more records do not help: what stays the same in all of them comes to ±{engineering(expanded, unit, 3)}, "
            f"and {away}. Know the {largest.name} better ({largest.source})"
        )
    return f"more records do not help, for this is one pulse's own u: less noise on it would, {away}"


def _parts(estimate: Estimate) -> tuple[float, float, float]:
    """Return the Type A part of u, the Type B part, and that of triggers that were not timed."""
    terms = estimate.quantity.terms or (Term("measured", estimate.quantity.u, "A"),)
    untimed = [term for term in terms if term.kind == "B" and "not timed" in term.name]
    random = math.hypot(*(term.u for term in terms if term.kind == "A"))
    lasting = math.hypot(*(term.u for term in terms if term.kind == "B" and term not in untimed))
    return random, lasting, math.hypot(*(term.u for term in untimed))


def _more_records(total: int, count: int) -> str:
    if total > MOST_RECORDS:
        return f"more than {MOST_RECORDS:,} records: the value is too near to the limit"
    more = total - count
    return f"about {more:,} more record{'s' if more > 1 else ''}, {total:,} in all, if the value stays where it is"


def _for_scatter(estimate: Estimate, low: float | None, high: float | None, coverage: float) -> str:
    """Return how many records would decide about a standard deviation, whose interval is that of χ²."""
    from scipy.special import chdtri

    own, seen = estimate.own or 0.0, estimate.observed_variance
    limit = high if high is not None else low
    ratio = ((limit or 0.0) ** 2 + own**2) / seen
    tail = 1 - (1 - coverage) / 2 if ratio > 1 else (1 - coverage) / 2

    def decided(dof: float) -> bool:
        end = dof / float(chdtri(dof, tail))
        return end <= ratio if ratio > 1 else end > ratio

    dof, most = estimate.scatter_dof or 1.0, float(MOST_RECORDS)
    if not decided(most):
        return _more_records(MOST_RECORDS + 1, estimate.count)
    few, many = dof, most
    while many - few > 1:
        middle = (few + many) / 2
        few, many = (few, middle) if decided(middle) else (middle, many)
    if estimate.count <= 0:
        return "more records, of which the noise has enough already: the value is too near to the limit"
    total = math.ceil(estimate.count * many / dof)
    return _more_records(max(total, estimate.count + 1), estimate.count)
