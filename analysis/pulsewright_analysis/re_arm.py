"""The re-arm time, from sessions at several rates: it lies between the fastest clean one and the slowest lossy one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Findings
from pulsewright_analysis.trigger_account import account
from pulsewright_analysis.type_b import clock_term

Kept = Literal["clean", "lossy", "not known"]
SAME_PERIOD = 0.02
"""A period that was given and one that was measured are the same, or one a multiple of the other, to this share."""


@dataclass(frozen=True)
class Rate:
    """One session at one trigger rate.

    Attributes
    ----------
    name : str
        Of its file.
    period, dead_time : Quantity or None
        Trigger period, and what a record leaves of it, seconds. Of a clean session the shortest of all gaps: no
        trigger came sooner.
    missed : int
        Triggers lost.
    kept : str
        ``clean``: every trigger was kept; ``lossy``: some were not; ``not known``.
    reason : str
        Why it is not known, or how the loss was seen.
    """

    name: str
    period: Quantity | None
    dead_time: Quantity | None
    missed: int
    kept: Kept
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """Return the form that ``rearm --json`` prints."""
        return {
            "file": self.name,
            "trigger_period": None if self.period is None else dict(self.period.as_json()),
            "dead_time": None if self.dead_time is None else dict(self.dead_time.as_json()),
            "missed": self.missed,
            "kept": self.kept,
            "reason": self.reason,
        }


@dataclass(frozen=True)
class ReArm:
    """What sessions at several rates tell of the re-arm time.

    Attributes
    ----------
    rates : tuple of Rate
        From the longest dead time to the shortest.
    above : Quantity or None
        The longest dead time at which triggers were lost: the re-arm time is longer. None: no session was lossy.
    at_most : Quantity or None
        The shortest dead time at which none was: the re-arm time is no longer. None: no session was clean.
    reasons : tuple of str
        Sentences about what stands in the way of an answer.
    """

    rates: tuple[Rate, ...]
    above: Quantity | None
    at_most: Quantity | None
    reasons: tuple[str, ...]

    @property
    def interval95(self) -> tuple[float | None, float | None]:
        """Between these the re-arm time lies, the 95 % intervals of both ends included; seconds."""
        low = None if self.above is None else self.above.interval95[0]
        high = None if self.at_most is None else self.at_most.interval95[1]
        return low, high

    def as_json(self) -> dict[str, Any]:
        """Return the form that ``rearm --json`` prints."""
        return {
            "schema": "pulsewright-rearm/1",
            "sessions": [rate.as_json() for rate in self.rates],
            "re_arm": {
                "above": None if self.above is None else dict(self.above.as_json()),
                "at_most": None if self.at_most is None else dict(self.at_most.as_json()),
                "interval95": list(self.interval95),
            },
            "reasons": list(self.reasons),
        }


def rate_of(findings: Findings, withheld: tuple[int, ...] = (), period: float | None = None) -> Rate:
    """Return whether a session at one trigger rate lost triggers.

    Parameters
    ----------
    findings : Findings
    withheld : tuple of int
        Triggers withheld on purpose: their absence is no loss.
    period : float, optional
        The trigger period that was set, seconds. A recorder that keeps every second trigger shows twice that period and
        no gap: without it, that is not seen.
    """
    name = findings.session.file.name if findings.session.file is not None else "session"
    timing = findings.timing
    if timing.trigger_period is None or timing.dead_time is None or timing.shortest_period is None:
        return Rate(name, None, None, 0, "not known", "its trigger period is not known")
    told = account(findings)
    missed = len(told.missed_but(withheld))
    divided = 1 if period is None else round(timing.trigger_period.value / period)
    if period is not None and not _fits(timing.trigger_period.value, divided * period):
        reason = f"its triggers are {timing.trigger_period.in_words} apart, no multiple of the period that was given"
        return Rate(name, timing.trigger_period, timing.dead_time, missed, "not known", reason)
    if divided > 1:
        shared = timing.trigger_period.scaled(1.0 / divided)
        dead = _dead(shared, findings)
        lost = (divided - 1) * max(told.kept - 1, 0) + divided * missed
        return Rate(name, shared, dead, lost, "lossy", f"only one trigger in {divided} was kept")
    if missed:
        return Rate(name, timing.trigger_period, timing.dead_time, missed, "lossy", f"{missed} missed")
    if told.outside is not None and told.outside > 0:
        reason = f"{told.outside} of {told.sent} lost before the first or after the last record"
        return Rate(name, timing.trigger_period, timing.dead_time, told.outside, "lossy", reason)
    if told.blind and told.outside is None:
        return Rate(name, timing.trigger_period, timing.dead_time, 0, "not known", told.blind[0][1])
    # no trigger came sooner than the shortest gap, whose two time stamps are whole samples
    rounded = Term(
        "rounded time stamps", 1 / findings.session.sample_rate / math.sqrt(6.0), "B", None, "two, to one sample"
    )
    shortest = timing.shortest_period
    quantity = Quantity.from_terms(shortest, "s", (rounded, clock_term(shortest, findings.settings)))
    return Rate(name, timing.trigger_period, _dead(quantity, findings), 0, "clean")


def _fits(measured: float, given: float) -> bool:
    return given > 0 and abs(measured / given - 1) < SAME_PERIOD


def _dead(period: Quantity, findings: Findings) -> Quantity:
    """Return what a record leaves of a period; one clock counts both, so that it has its share of the difference."""
    duration = findings.session.record_length / findings.session.sample_rate
    value = period.value - duration
    own = tuple(term for term in period.terms if term.name != "sample clock")
    return Quantity.from_terms(value, "s", (*own, clock_term(value, findings.settings)))


def bracket(rates: Sequence[Rate], periods_given: bool = False) -> ReArm:
    """Return between which dead times the re-arm time lies.

    Parameters
    ----------
    rates : sequence of Rate
    periods_given : bool
        Whether the trigger periods were given, so that a recorder that divides the rate was seen.

    Returns
    -------
    ReArm
        A trigger is kept where it comes at least the re-arm time after the end of the record before.
    """
    known = sorted(
        (rate for rate in rates if rate.dead_time is not None),
        key=lambda rate: -rate.dead_time.value if rate.dead_time is not None else 0.0,
    )
    unknown = [rate for rate in rates if rate.dead_time is None]
    reasons = [f"{rate.name} says nothing: {rate.reason}." for rate in rates if rate.kept == "not known"]
    clean = [rate for rate in known if rate.kept == "clean"]
    lossy = [rate for rate in known if rate.kept == "lossy"]
    if not clean:
        reasons.append("No session kept every trigger: the re-arm time has no upper end; record one at a slower rate.")
    if not lossy:
        reasons.append("No session lost a trigger: the re-arm time has no lower end; record one at a faster rate.")
    if clean and not periods_given:
        reasons.append(
            "A recorder that keeps every second trigger shows no gap, at twice the period: give the periods that were "
            "set, to exclude it."
        )
    at_most = clean[-1].dead_time if clean else None
    above = lossy[0].dead_time if lossy else None
    if clean and lossy and at_most is not None and above is not None and above.value > at_most.value:
        reasons.append(
            f"{lossy[0].name} lost triggers at a dead time of {above.in_words}, and {clean[-1].name} kept all at "
            f"{at_most.in_words}: something else than the re-arm time loses triggers."
        )
        at_most = above = None
    return ReArm((*known, *unknown), above, at_most, tuple(reasons))
