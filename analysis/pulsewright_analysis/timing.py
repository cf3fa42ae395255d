"""Trigger period, and the dead time and wait that it leaves between records."""

from __future__ import annotations

import math

import numpy as np

from pulsewright.quantity import Quantity
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import Ints, Sequence, Timing


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
    duration = _duration(session, settings)
    module = int(session.module_of[sequence.channel or 0])
    time = session.trigger_time[records, module]
    if sequence.period is None:
        return Timing(None, duration, None, None, None, None), ["No trigger period: fewer than three trigger times."]
    gaps = np.diff(time)
    periods = np.rint(gaps / sequence.period)
    used = np.isfinite(gaps) & (periods >= 1)
    period = _period(gaps[used], periods[used], session.sample_interval, settings)
    shortest = float(np.min(gaps[used] / periods[used]))
    after = (session.record_length - session.pre_trigger) / session.sample_rate
    dead = _less(period, duration)
    wait = _less(period, Quantity(after, after * settings.clock_ppm * 1e-6, "s"))
    return Timing(period, duration, dead, wait, shortest, _longest(session, shortest, settings)), []


def _duration(session: Session, settings: Settings) -> Quantity:
    duration = session.record_duration
    return Quantity(duration, duration * settings.clock_ppm * 1e-6, "s")


def _period(gaps: np.ndarray, periods: np.ndarray, interval: float, settings: Settings) -> Quantity:
    """Return the mean period; its u from the scatter of single periods, never below that of two rounded time stamps."""
    total = float(np.sum(periods))
    value = float(np.sum(gaps)) / total
    dof = len(gaps) - 1
    scatter = 0.0
    if dof > 0:
        scatter = math.sqrt(float(np.sum((gaps - value * periods) ** 2 / periods)) / dof / total)
    rounded = interval / math.sqrt(6.0) / total
    clock = value * settings.clock_ppm * 1e-6
    u = math.sqrt(max(scatter, rounded) ** 2 + clock**2)
    return Quantity(value, u, "s", float(dof) if scatter > rounded and clock == 0 else None)


def _less(period: Quantity, part: Quantity) -> Quantity:
    """Return period − part: both scale with one clock, whose share of the part is already in the period's."""
    return Quantity(period.value - part.value, max(period.u, part.u), "s", period.dof)


def _longest(session: Session, shortest: float, settings: Settings) -> int | None:
    from pulsewright_analysis.planning import longest_record

    return longest_record(shortest, settings.re_arm, session.sample_rate, settings.asynchronous)
