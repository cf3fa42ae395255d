"""What is known of every record on one channel, as arrays side by side; knows no widget."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import coverage_factor
from pulsewright.session import Session
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.results import Findings, Pulses


@dataclass(frozen=True)
class RecordRows:
    """One row for each record, seen from one channel.

    Attributes
    ----------
    trigger_time, gap : array (records,)
        Seconds since the first trigger, and since the trigger of the record before; NaN where not known.
    missed : int array (records,)
        Triggers missing between the record before and this one.
    measured : bool array (records,)
        Whether the record took part in the measuring.
    sign : int array (records,)
        Polarity, 0 where there is none.
    first_pulse, first_pulse_expanded : array (records,)
        The first pulse's quoted position and its U, seconds; NaN where there is none.
    residual, residual_expanded : array (records,)
        Distance from the fitted positions and its U, seconds; NaN where there is none, and on channels that do not
        tell the sequence.
    clipped : tuple of str
        The channels that are clipped in each record.
    """

    trigger_time: NDArray[np.float64]
    gap: NDArray[np.float64]
    missed: NDArray[np.int64]
    measured: NDArray[np.bool_]
    sign: NDArray[np.int64]
    first_pulse: NDArray[np.float64]
    first_pulse_expanded: NDArray[np.float64]
    residual: NDArray[np.float64]
    residual_expanded: NDArray[np.float64]
    clipped: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.trigger_time)


def record_rows(session: Session, findings: Findings | None, channel: int) -> RecordRows:
    """Return the rows of a session; without findings, or where they are another session's, only the trigger times.

    Parameters
    ----------
    session : Session
    findings : Findings or None
    channel : int
        The channel that polarity and pulses are told of.
    """
    count = session.records
    trigger_time = session.trigger_time[:, session.module_of[channel]]
    gap = np.full(count, np.nan)
    gap[1:] = np.diff(trigger_time)
    empty = np.full(count, np.nan)
    nothing = np.zeros(count, dtype=np.int64)
    if findings is None or findings.session.records != count:
        no = np.zeros(count, dtype=bool)
        return RecordRows(trigger_time, gap, nothing, no, nothing, empty, empty, empty, empty, ("",) * count)
    measured = np.isin(np.arange(count), findings.records)
    first, first_expanded = _first_pulses(findings.pulses, channel, count)
    sequence = findings.sequence
    tells = sequence.channel == channel
    return RecordRows(
        trigger_time,
        gap,
        _missed_before(findings, count),
        measured,
        np.where(measured, findings.polarity.sign[:, channel], 0),
        first,
        first_expanded,
        sequence.residual if tells else empty,
        sequence.residual_u * coverage_factor(None) if tells else empty,
        _clipped(findings, count),
    )


def _first_pulses(pulses: Pulses, channel: int, count: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    chosen = pulses.where(channel=channel)
    chosen = chosen[pulses.order[chosen] == 0]
    time, expanded = np.full(count, np.nan), np.full(count, np.nan)
    time[pulses.record[chosen]] = pulses.time[chosen]
    expanded[pulses.record[chosen]] = half_width_95(pulses.time_u[chosen], pulses.trigger_u[chosen])
    return time, expanded


def _missed_before(findings: Findings, count: int) -> NDArray[np.int64]:
    missed = np.zeros(count, dtype=np.int64)
    for gap in findings.sequence.missed:
        if 0 <= gap.after_record + 1 < count:
            missed[gap.after_record + 1] += gap.count
    return missed


def _clipped(findings: Findings, count: int) -> tuple[str, ...]:
    names = [""] * count
    for health in findings.health:
        name = findings.channel_name(health.channel)
        for record in health.clipped_records:
            names[record] = f"{names[record]}, {name}" if names[record] else name
    return tuple(names)
