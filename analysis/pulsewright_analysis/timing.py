"""Trigger period, and the dead time and wait that it leaves between records."""

from __future__ import annotations

import math

import numpy as np

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.lines import fit_line
from pulsewright_analysis.results import Floats, Ints, Sequence, Timing
from pulsewright_analysis.type_b import clock_term
from pulsewright_analysis.witnesses import WHOLE_PERIODS

EVEN_BEAT = -0.25
"""Neighbouring gaps make up for each other where their correlation is below this by 3/4 of a standard error."""
FEWEST_FOR_A_BEAT = 8


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
    gaps, gap_after = np.diff(time), records[:-1]
    none = Timing(None, duration, None, None, None, None, gaps, gap_after)
    if sequence.period is None:
        return none, ["No trigger period: fewer than three trigger times."]
    periods = np.rint(gaps / sequence.period)
    # a pause that is no whole number of periods is no gap in an even beat
    even = np.abs(gaps / sequence.period - periods) <= WHOLE_PERIODS
    used = np.isfinite(gaps) & (periods >= 1) & even
    if np.count_nonzero(used) < 2:
        return none, ["No trigger period: the triggers keep no beat."]
    stamps = time if np.all(used) else _joined(gaps[used])
    mean, term = _period(stamps, gaps[used], periods[used], session.sample_interval)
    shortest = float(np.min(gaps[used] / periods[used]))
    after = (session.record_length - session.pre_trigger) / session.sample_rate
    # one clock counts both the triggers and the samples, so that it has its share of a difference, not of its parts
    period, dead, wait = (
        Quantity.from_terms(value, "s", (term, clock_term(value, settings)))
        for value in (mean, mean - length, mean - after)
    )
    longest = _longest(session, shortest, settings)
    return Timing(period, duration, dead, wait, shortest, longest, gaps, gap_after), []


def _period(time: Floats, gaps: Floats, periods: Floats, interval: float) -> tuple[float, Term]:
    """Return the mean period and its own term.

    Where the periods themselves scatter, errors add up from trigger to trigger, and the mean of the gaps is the best
    there is. Where the time stamps scatter about an even beat, a long gap makes up for the short one before it (their
    correlation is −1/2), and the slope of the times is far better. Never below the rounding of two time stamps.
    """
    total = float(np.sum(periods))
    value = float(np.sum(gaps)) / total
    residual = (gaps - value * periods) / np.sqrt(periods)
    dof = float(len(gaps) - 1)
    scatter = math.sqrt(float(np.sum(residual**2)) / dof / total) if dof > 0 else 0.0
    if len(gaps) >= FEWEST_FOR_A_BEAT and _neighbours(residual) < EVEN_BEAT - 0.75 / math.sqrt(len(gaps)):
        line = fit_line(np.concatenate([[0.0], np.cumsum(periods)]), time)
        value, scatter, dof = line.slope, line.slope_u, float(line.dof)
    rounded = interval / math.sqrt(6.0) / total
    if scatter <= rounded:
        told = f"first and last, to one sample, {total:.0f} periods"
        return value, Term("rounded time stamps", rounded, "B", None, told)
    return value, Term("scatter of the triggers", scatter, "A", dof, f"{len(gaps)} gaps, {total:.0f} periods")


def _joined(gaps: Floats) -> Floats:
    """Return times that have these gaps."""
    times: Floats = np.concatenate([[0.0], np.cumsum(gaps)])
    return times


def _neighbours(residual: Floats) -> float:
    """Return the correlation of neighbouring residuals."""
    power = float(np.sum(residual**2))
    return float(np.sum(residual[1:] * residual[:-1])) / power if power > 0 else 0.0


def _longest(session: Session, shortest: float, settings: Settings) -> int | None:
    from pulsewright_analysis.planning import longest_record

    return longest_record(shortest, settings.re_arm, session.sample_rate, settings.asynchronous)
