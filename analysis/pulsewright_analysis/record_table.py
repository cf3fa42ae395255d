"""A row for each record: what was measured of it, and what a person said about it; arrays side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from pulsewright.quantity import coverage_factor
from pulsewright.session import Session
from pulsewright_analysis.intervals import half_width_95
from pulsewright_analysis.results import Bools, Findings, Floats, Ints


class Said(Protocol):
    """What a person said about records: a review, or the additions on the desk."""

    @property
    def flags(self) -> Set[int]:
        """The flagged records."""
        ...

    @property
    def notes(self) -> Mapping[int, str]:
        """The notes, by record."""
        ...

    @property
    def left_out(self) -> Mapping[int, str]:
        """The reasons why records are left out of the measuring, by record."""
        ...


@dataclass(frozen=True)
class RecordTable:
    """One row for each record, seen from one channel.

    What is not known is NaN in a float, and 0, −1 or False elsewhere; `measured` says which records have been measured.

    Attributes
    ----------
    channel : int
        The channel that polarity, first pulse, amplitude, width, clipping and pulses are told of.
    unit : str
        Unit of the amplitudes.
    record : int array (records,)
        Its number.
    trigger_time, gap : array (records,)
        Seconds since the first trigger, and since the trigger of the record before, on the channel's module.
    measured : bool array (records,)
        Whether the record took part in the measuring.
    polarity : int array (records,)
        1, −1, or 0 where there is no pulse.
    confidence : array (records,)
        Of the polarity; see `Pulses.confidence`.
    first_pulse, first_pulse_u, first_pulse_expanded : array (records,)
        Quoted position of the first pulse, its u, and its U (95 %), seconds.
    residual, residual_u, residual_expanded : array (records,)
        Distance of the walking pulse from its fitted position, with its sign, its u and its U, seconds; on the
        channel that tells the sequence, whatever `channel` is.
    amplitude, amplitude_u, width, width_u : array (records,)
        Of the first pulse, with the amplitude's sign.
    pulses : int array (records,)
        How many pulses were found.
    clipped, clipped_anywhere : bool array (records,)
        Whether a sample is clipped, on `channel` and on any measured channel.
    missed_before : int array (records,)
        Triggers missing between the record before and this one.
    slip : int array (records,)
        By how many triggers a module slips from this record on; the largest in size.
    repeats : int array (records,)
        The earlier record that has the same samples; −1 where there is none.
    out_of_place, out_of_step : bool array (records,)
        Whether its pulse leaves the walk while the next ones go on with it; whether a module's record belongs to
        another trigger than most modules' do.
    flagged, noted, left_out : bool array (records,)
        What a person said.
    notes, reasons : mapping of int to str
        The notes, and the reasons for leaving a record out.
    """

    channel: int
    unit: str
    record: Ints
    trigger_time: Floats
    gap: Floats
    measured: Bools
    polarity: Ints
    confidence: Floats
    first_pulse: Floats
    first_pulse_u: Floats
    first_pulse_expanded: Floats
    residual: Floats
    residual_u: Floats
    residual_expanded: Floats
    amplitude: Floats
    amplitude_u: Floats
    width: Floats
    width_u: Floats
    pulses: Ints
    clipped: Bools
    clipped_anywhere: Bools
    missed_before: Ints
    slip: Ints
    repeats: Ints
    out_of_place: Bools
    out_of_step: Bools
    flagged: Bools
    noted: Bools
    left_out: Bools
    notes: Mapping[int, str] = field(default_factory=dict)
    reasons: Mapping[int, str] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.record)

    def saying(self, said: Said | None) -> RecordTable:
        """Return this table with what a person says now; what was measured is shared, not copied.

        Parameters
        ----------
        said : Said or None
            The flags, notes and reasons of a person; None: there are none.
        """
        count = len(self)
        notes = {} if said is None else said.notes
        reasons = {} if said is None else said.left_out
        return replace(
            self,
            flagged=_marked(() if said is None else said.flags, count),
            noted=_marked(notes, count),
            left_out=_marked(reasons, count),
            notes=notes,
            reasons=reasons,
        )


def record_table(
    session: Session, findings: Findings | None, channel: int | None = None, said: Said | None = None
) -> RecordTable:
    """Return a row for each record of a session.

    Parameters
    ----------
    session : Session
        Its samples are not read.
    findings : Findings or None
        What was measured in it; where there is none, or it is another session's, only the triggers are known.
    channel : int, optional
        The channel to see the records from; the one that tells the sequence, or the first, if left out.
    said : Review or Additions, optional
        What a person said about records.

    Returns
    -------
    RecordTable
    """
    if findings is not None and findings.session.records != session.records:
        findings = None
    if channel is None:
        tells = None if findings is None else findings.sequence.channel
        channel = 0 if tells is None else tells
    bare = _bare(session, channel)
    table = bare if findings is None else _measured(bare, findings, channel)
    return table.saying(said)


def _bare(session: Session, channel: int) -> RecordTable:
    """Return the rows as they are before anything is measured."""
    count = session.records
    trigger_time = session.trigger_time[:, session.module_of[channel]]
    gap = np.full(count, np.nan)
    gap[1:] = np.diff(trigger_time)
    unknown = np.full(count, np.nan)
    no, none = np.zeros(count, dtype=bool), np.zeros(count, dtype=np.int64)
    return RecordTable(
        channel=channel,
        unit=session.channels[channel].unit,
        record=np.arange(count),
        trigger_time=trigger_time,
        gap=gap,
        measured=no,
        polarity=none,
        confidence=unknown,
        first_pulse=unknown,
        first_pulse_u=unknown,
        first_pulse_expanded=unknown,
        residual=unknown,
        residual_u=unknown,
        residual_expanded=unknown,
        amplitude=unknown,
        amplitude_u=unknown,
        width=unknown,
        width_u=unknown,
        pulses=none,
        clipped=no,
        clipped_anywhere=no,
        missed_before=none,
        slip=none,
        repeats=none - 1,
        out_of_place=no,
        out_of_step=no,
        flagged=no,
        noted=no,
        left_out=no,
    )


def _measured(bare: RecordTable, findings: Findings, channel: int) -> RecordTable:
    """Return the rows with what was measured filled in."""
    count, sequence = len(bare), findings.sequence
    measured = _marked(findings.records, count)
    sign = np.where(measured, findings.polarity.sign[:, channel], 0)
    return replace(
        bare,
        measured=measured,
        polarity=sign,
        confidence=np.where(sign != 0, findings.polarity.confidence[:, channel], np.nan),
        residual=sequence.residual,
        residual_u=sequence.residual_u,
        residual_expanded=sequence.residual_u * coverage_factor(None),
        out_of_place=_marked(sequence.out_of_place, count),
        out_of_step=measured & ~sequence.in_step.all(axis=1),
        missed_before=_missed_before(findings, count),
        slip=_slips(findings, count),
        repeats=_repeats(findings, count),
        **_first_pulses(findings, channel, count),
        **_clipping(findings, channel, count),
    )


def _marked(records: Iterable[int], count: int) -> Bools:
    """Return True at the records named, of those that there are."""
    named = records if isinstance(records, np.ndarray) else np.array(list(records), dtype=np.int64)
    marked = np.zeros(count, dtype=bool)
    marked[named[(named >= 0) & (named < count)]] = True
    return marked


def _first_pulses(findings: Findings, channel: int, count: int) -> dict[str, Any]:
    pulses = findings.pulses
    found = pulses.where(channel=channel)
    first = found[pulses.order[found] == 0]
    place = pulses.record[first]

    def spread(values: Floats) -> Floats:
        column = np.full(count, np.nan)
        column[place] = values
        return column

    time_u = pulses.time_u_of(first)
    return {
        "first_pulse": spread(pulses.time[first]),
        "first_pulse_u": spread(time_u),
        "first_pulse_expanded": spread(half_width_95(time_u, pulses.trigger_u[first])),
        "amplitude": spread(pulses.amplitude[first]),
        "amplitude_u": spread(pulses.amplitude_u[first]),
        "width": spread(pulses.width[first]),
        "width_u": spread(pulses.width_u[first]),
        "pulses": np.bincount(pulses.record[found], minlength=count)[:count],
    }


def _clipping(findings: Findings, channel: int, count: int) -> dict[str, Any]:
    here, anywhere = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    for health in findings.health:
        clips = _marked(health.clipped_records, count)
        anywhere |= clips
        if health.channel == channel:
            here = clips
    return {"clipped": here, "clipped_anywhere": anywhere}


def _missed_before(findings: Findings, count: int) -> Ints:
    missed = np.zeros(count, dtype=np.int64)
    for gap in findings.sequence.missed:
        if 0 <= gap.after_record + 1 < count:
            missed[gap.after_record + 1] += gap.count
    return missed


def _slips(findings: Findings, count: int) -> Ints:
    slips = np.zeros(count, dtype=np.int64)
    for slip in findings.sequence.slips:
        if 0 <= slip.from_record < count and abs(slip.by) > abs(slips[slip.from_record]):
            slips[slip.from_record] = slip.by
    return slips


def _repeats(findings: Findings, count: int) -> Ints:
    repeats = np.full(count, -1, dtype=np.int64)
    for first, again in findings.sequence.repeated:
        repeats[again] = first
    return repeats
