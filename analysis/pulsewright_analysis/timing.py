"""Trigger period, and the dead time and wait that it leaves between records."""

from __future__ import annotations

import math

import numpy as np

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import Ints, Sequence, Timing
from pulsewright_analysis.type_b import clock_term


def measure_timing(session: Session, records: Ints, sequence: Sequence, settings: Settings) -> tuple[Timing, list[str]]:
    """Return period, record duration, dead time, wait and the longest record that fits.

    Parameters
    ----------
    session : Session
    records : int array
        Numbers of the records that take part, rising.
    sequence : Sequence
        Tells how many periods lie between two records.
    settings : Settings
        Re-arm time, asynchronous trigger, accuracy of the sample clock.

    Returns
    -------
    Timing, list of str
    """
    length = session.record_duration
    duration = Quantity.from_terms(length, "s", (clock_term(length, settings),))
    module = int(session.module_of[sequence.channel or 0])
    time = session.trigger_time[records, module]
    if sequence.period is None:
        return Timing(None, duration, None, None, None, None), ["No trigger period: fewer than three trigger times."]
    gaps = np.diff(time)
    periods = np.rint(gaps / sequence.period)
    used = np.isfinite(gaps) & (periods >= 1)
    mean, term = _period(gaps[used], periods[used], session.sample_interval)
    shortest = float(np.min(gaps[used] / periods[used]))
    after = (session.record_length - session.pre_trigger) / session.sample_rate
    # one clock counts both the triggers and the samples, so that it has its share of a difference, not of its parts
    period, dead, wait = (
        Quantity.from_terms(value, "s", (term, clock_term(value, settings)))
        for value in (mean, mean - length, mean - after)
    )
    return Timing(period, duration, dead, wait, shortest, _longest(session, shortest, settings)), []


def _period(gaps: np.ndarray, periods: np.ndarray, interval: float) -> tuple[float, Term]:
    """Return the mean period and its own term.

    Its u comes from the scatter of single periods, and is never below that of two rounded time stamps.
    """
    total = float(np.sum(periods))
    value = float(np.sum(gaps)) / total
    dof = len(gaps) - 1
    scatter = 0.0
    if dof > 0:
        scatter = math.sqrt(float(np.sum((gaps - value * periods) ** 2 / periods)) / dof / total)
    rounded = interval / math.sqrt(6.0) / total
    if scatter > rounded:
        return value, Term("scatter of the periods", scatter, "A", float(dof), f"{len(gaps)} gaps, {total:.0f} periods")
    return value, Term("rounded time stamps", rounded, "B", None, f"first and last, to one sample, {total:.0f} periods")


def _longest(session: Session, shortest: float, settings: Settings) -> int | None:
    from pulsewright_analysis.planning import longest_record

    return longest_record(shortest, settings.re_arm, session.sample_rate, settings.asynchronous)
