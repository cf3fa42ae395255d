"""The stretch of each record in which alignment is measured, cut out on the same instant for every channel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Session
from pulsewright_analysis.results import Pulses

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FEWEST_SAMPLES = 8
HALF_WIDTHS = 4.0
"""An event's gate reaches this many of its standard widths to each side."""
STANDARD_WIDTHS_AT_HALF = 2.3548
"""Width at 50 % of a Gaussian pulse over its standard deviation (algebra)."""


@dataclass(frozen=True)
class Gate:
    """Samples cut out around an event.

    Attributes
    ----------
    records : int array (records,)
        The records that have a gate.
    samples : array (records, channels, samples)
        In the channels' units.
    start : array (records, channels)
        Time of the first sample, seconds from the record's trigger, delays taken off.
    clipped : bool array (records, channels)
        Whether a sample is at an end code.
    span : (float, float)
        The stretch, seconds; of the first record where it moves with an event.
    """

    records: Ints
    samples: Floats
    start: Floats
    clipped: Bools
    span: tuple[float, float]


def cut_gate(session: Session, channels: Sequence[int], records: Ints, span: tuple[float, float] | None) -> Gate | str:
    """Cut one stretch out of every record and channel, the whole record for None.

    Parameters
    ----------
    session : Session
    channels : sequence of int
    records : int array
    span : (float, float) or None
        Seconds from the trigger.

    Returns
    -------
    Gate or str
        The string is a clause that says why there is none.
    """
    starts = np.stack([session.first_sample_time(c)[records] for c in channels], axis=1)
    if span is None:
        first = np.zeros(starts.shape, dtype=np.int64)
        count = session.record_length
        span = (float(starts[0, 0]), float(starts[0, 0]) + session.record_duration)
    else:
        first = np.ceil((span[0] - starts) * session.sample_rate - 1e-9).astype(np.int64)
        count = int((span[1] - span[0]) * session.sample_rate + 1e-9)
    if count < FEWEST_SAMPLES:
        return f"the stretch holds {count} samples, and {FEWEST_SAMPLES} are the fewest"
    inside = np.all((first >= 0) & (first + count <= session.record_length), axis=1)
    if not np.any(inside):
        return "the stretch does not lie inside the records"
    return _cut(session, list(channels), records[inside], first[inside], count, starts[inside], span)


def gate_around_pulses(
    session: Session, channels: Sequence[int], records: Ints, pulses: Pulses, reference: int
) -> Gate | str:
    """Cut a stretch around the reference channel's strongest pulse of every record, ±4 of its standard widths."""
    mine = pulses.where(channel=reference)
    mine = mine[np.isfinite(pulses.time[mine]) & np.isfinite(pulses.width[mine])]
    if len(mine) == 0:
        return f"{session.channels[reference].name} shows no pulse to line up on"
    rising = mine[np.argsort(np.abs(pulses.amplitude[mine]), kind="stable")]
    strongest = {int(pulses.record[p]): p for p in rising}
    used = np.array([r for r in records.tolist() if r in strongest], dtype=np.int64)
    centre = np.array([pulses.time[strongest[r]] for r in used.tolist()])
    width = float(np.median(pulses.width[list(strongest.values())]))
    half = max(HALF_WIDTHS * width / STANDARD_WIDTHS_AT_HALF, FEWEST_SAMPLES / session.sample_rate)
    starts = np.stack([session.first_sample_time(c)[used] for c in channels], axis=1)
    count = int(2 * half * session.sample_rate)
    first = np.ceil((centre[:, None] - half - starts) * session.sample_rate).astype(np.int64)
    inside = np.all((first >= 0) & (first + count <= session.record_length), axis=1)
    if not np.any(inside):
        return "the pulses lie too close to the ends of the records"
    span = (float(centre[inside][0] - half), float(centre[inside][0] + half))
    return _cut(session, list(channels), used[inside], first[inside], count, starts[inside], span)


def _cut(
    session: Session,
    channels: list[int],
    records: Ints,
    first: Ints,
    count: int,
    starts: Floats,
    span: tuple[float, float],
) -> Gate:
    samples = np.empty((len(records), len(channels), count))
    clipped = np.zeros((len(records), len(channels)), dtype=bool)
    infos = [session.channels[c] for c in channels]
    row = {int(r): i for i, r in enumerate(records)}
    for start, codes in session.blocks(int(records[0]), int(records[-1]) + 1):
        for offset in range(len(codes)):
            i = row.get(start + offset)
            if i is None:
                continue
            for k, (c, info) in enumerate(zip(channels, infos, strict=True)):
                piece = codes[offset, c, first[i, k] : first[i, k] + count]
                samples[i, k] = piece * info.scale + info.offset
                clipped[i, k] = bool(np.any((piece <= info.lowest_code) | (piece >= info.highest_code)))
    return Gate(records, samples, starts + first / session.sample_rate, clipped, span)
