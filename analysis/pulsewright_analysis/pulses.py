"""Pulses: where they are, which way they point, how large and how wide they are, each with its uncertainty."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Session
from pulsewright.settings import Position, Settings
from pulsewright_analysis import pulse_columns as columns
from pulsewright_analysis.growing_pulses import Growing, Tables
from pulsewright_analysis.pulse_results import orders_of
from pulsewright_analysis.results import Levels, Pulses
from pulsewright_analysis.streaming import Check, Piece, for_each, pieces, unchecked
from pulsewright_analysis.type_b import entered
from pulsewright_analysis.validity import PULSE_REGIONS

NOISE_FACTOR = 6.0
"""The threshold is never below this many times the noise."""
_COMPILED_AS = {"int8": "int16", "uint8": "int16", "uint16": "float64", "int32": "float64"}
"""Types whose samples are handed over in another one that holds them all: each one more takes 15 s to compile for."""


def measure_pulses(
    session: Session,
    channels: Sequence[int],
    records: NDArray[np.int64],
    levels: Levels,
    settings: Settings,
    progress: Callable[[float], None] | None = None,
    check: Check = unchecked,
) -> Pulses:
    """Find and measure every pulse of the chosen records and channels.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels.
    records : int array
        Numbers of the records, rising.
    levels : Levels
        Of the same channels in the same order.
    settings : Settings
        Span, threshold, widths and the polarity rule.
    progress : callable, optional
        Called with the share done, 0 … 1, after each piece; may raise to stop.
    check : callable
        As for `streaming.for_each`.

    Returns
    -------
    Pulses
        Levels and crossings after IEEE Std 181; positions are NaN where a pulse is clipped, cut, or outside the
        region in which their u holds.
    """
    chosen = list(channels)
    first, last = int(records[0]), int(records[-1]) + 1
    found = Growing(lambda whole, real: _assembled(session, chosen, whole, real, levels, settings))

    def take(piece: Piece, part: Tables) -> None:
        found.add(*part)
        if progress is not None:
            progress((piece.first + len(piece.codes) - first) / (last - first))

    for_each(
        pieces(session, chosen, records),
        lambda piece: _piece_tables(session, chosen, piece, levels, settings),
        take,
        check,
    )
    return found.pulses()


def counted_from(pulses: Pulses, references: Pulses) -> Pulses:
    """Return the pulses with the reference pulse of their own record and channel, NaN where it has none.

    Parameters
    ----------
    pulses : Pulses
    references : Pulses
        Found where the reference pulse is looked for; the largest of a record and channel counts.
    """
    largest: dict[tuple[int, int], int] = {}
    for index in np.argsort(np.nan_to_num(np.abs(references.amplitude)), kind="stable").tolist():
        largest[int(references.record[index]), int(references.channel[index])] = index
    chosen = [largest.get(key, -1) for key in zip(pulses.record.tolist(), pulses.channel.tolist(), strict=True)]
    found = np.array(chosen, dtype=np.int64)
    time = np.where(found >= 0, np.append(references.time, np.nan)[found], np.nan)
    u = np.where(found >= 0, np.append(references.times_u[references.position], np.nan)[found], np.nan)
    return replace(pulses, reference=time, reference_u=u)


def span_samples(
    session: Session, channels: Sequence[int], records: NDArray[np.int64], span: tuple[float, float] | None
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the first sample inside a span, and the one after the last, each (records, channels).

    A span that misses the record altogether gives an empty stretch.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels.
    records : int array (records,)
        Numbers of the records.
    span : tuple of float, or None
        Begin and end, seconds from the record's trigger; None for the whole record.
    """
    shape = (len(records), len(channels))
    if span is None:
        return np.zeros(shape, dtype=np.int64), np.full(shape, session.record_length, dtype=np.int64)
    starts = np.stack([session.first_sample_time(c, records) for c in channels], axis=1)
    ends = [
        np.clip(np.ceil((edge - starts) * session.sample_rate), 0, session.record_length).astype(np.int64)
        for edge in span
    ]
    return ends[0], ends[1]


def _piece_tables(session: Session, chosen: list[int], piece: Piece, levels: Levels, settings: Settings) -> Tables:
    """Return the whole-number and the real table of one piece's pulses."""
    from pulsewright_analysis import pulse_kernels as kernels

    here, rows = piece.places, piece.rows
    channels = chosen[here]
    infos = [session.channels[c] for c in channels]
    first, stop = span_samples(session, channels, piece.first + rows, settings.span)
    noise, autocovariance = levels.noise[here], np.ascontiguousarray(levels.autocovariance[here])
    noise_threshold = NOISE_FACTOR * noise
    threshold = np.maximum(noise_threshold, settings.threshold or 0.0)
    total = np.sum(autocovariance[:, 1:], axis=1) / autocovariance[:, 0]
    gap = -1 if settings.min_gap is None else round(settings.min_gap * session.sample_rate)
    capacity = 4 * len(rows) * len(channels) + 64
    codes = piece.codes.astype(_COMPILED_AS.get(piece.codes.dtype.name, piece.codes.dtype), copy=False)
    codes.flags.writeable = False  # to the compiler, what may be written to is of another type
    while True:
        whole = np.zeros((capacity, columns.WHOLE_COLUMNS), dtype=np.int64)
        real = np.zeros((capacity, columns.REAL_COLUMNS))
        found = kernels.measure_block(
            codes,
            rows,
            piece.columns,
            np.array([c.scale for c in infos], dtype=np.float64),
            levels.offset[here] - np.array([c.offset for c in infos]),
            np.array([c.lowest_code for c in infos], dtype=np.int64),
            np.array([c.highest_code for c in infos], dtype=np.int64),
            threshold,
            levels.offset_u[here] ** 2,
            np.maximum(1 + 2 * total, 0.05),
            autocovariance,
            np.broadcast_to(levels.wander**2, len(chosen))[here],
            np.broadcast_to(levels.wander_samples, len(chosen))[here],
            first,
            stop,
            gap,
            int(np.ceil(settings.min_width * session.sample_rate)),
            settings.polarity_rule == "largest",
            whole,
            real,
        )
        if found <= capacity:
            whole[:found, columns.RECORD] = piece.first + rows[whole[:found, columns.RECORD]]
            whole[:found, columns.CHANNEL] += here.start
            return whole[:found].copy(), real[:found].copy()
        capacity = found


def _assembled(
    session: Session,
    channels: list[int],
    whole: NDArray[np.int64],
    real: NDArray[np.float64],
    levels: Levels,
    settings: Settings,
) -> Pulses:
    """Turn the tables, which count in samples, into pulses in seconds."""
    local = whole[:, columns.CHANNEL]
    record, channel = whole[:, columns.RECORD], np.array(channels, dtype=np.int64)[local]
    low, stop = (int(record[0]), int(record[-1]) + 1) if len(record) else (0, 0)  # they rise
    starts = np.stack([session.first_sample_time(c, slice(low, stop)) for c in channels])
    trigger_u = np.stack([session.trigger_u(c, slice(low, stop)) for c in channels])
    clipped = whole[:, columns.CLIPPED] == 1
    ratio = np.abs(real[:, columns.AMPLITUDE]) / levels.noise[local]
    ambiguous = whole[:, columns.AMBIGUOUS] == 1
    usable = ~clipped & ~ambiguous
    width = np.where(clipped, np.nan, real[:, columns.WIDTH])
    interval = session.sample_interval
    positions: tuple[tuple[Position, int], ...] = (
        ("midpoint", columns.MIDPOINT),
        ("leading", columns.LEADING),
        ("centroid", columns.CENTROID),
        ("peak", columns.PEAK),
    )
    times: dict[Position, NDArray[np.float64]] = {}
    times_u: dict[Position, NDArray[np.float64]] = {}
    for name, column in positions:
        u = np.sqrt(real[:, column + 1]) * interval
        good = usable & PULSE_REGIONS[name].holds(width, ratio) & np.isfinite(u) & np.isfinite(real[:, column])
        times[name] = np.where(good, starts[local, record - low] + real[:, column] * interval, np.nan)
        times_u[name] = np.where(good, u, np.nan)
    wide = usable & PULSE_REGIONS["width"].holds(width, ratio)
    amplitude, amplitude_u = np.where(clipped, np.nan, real[:, columns.AMPLITUDE : columns.AMPLITUDE_VAR + 1].T)
    pulses = Pulses(
        record=record,
        channel=channel,
        order=orders_of(record, channel),
        polarity=whole[:, columns.POLARITY],
        confidence=real[:, columns.CONFIDENCE],
        amplitude=amplitude,
        amplitude_u=np.sqrt(amplitude_u),
        width=np.where(wide, real[:, columns.WIDTH] * interval, np.nan),
        width_u=np.where(wide, np.sqrt(real[:, columns.WIDTH_VAR]) * interval, np.nan),
        first_sample=whole[:, columns.FIRST],
        last_sample=whole[:, columns.LAST],
        extreme_sample=whole[:, columns.PLACE],
        times=times,
        times_u=times_u,
        trigger_u=trigger_u[local, record - low],
        clipped=clipped,
        ambiguous=ambiguous,
        cut=whole[:, columns.CUT] == 1,
        position=settings.position,
        **_shapes(real, usable, ratio, interval),
    )
    return entered(pulses, settings)


def _shapes(
    real: NDArray[np.float64], usable: NDArray[np.bool_], ratio: NDArray[np.float64], interval: float
) -> dict[str, NDArray[np.float64]]:
    """Return both transition durations and the overshoot with their u, NaN outside their regions of validity."""
    shapes = {}
    for name, column, samples, unit in (
        ("rise", columns.RISE, columns.RISE, interval),
        ("fall", columns.FALL, columns.FALL, interval),
        ("overshoot", columns.OVERSHOOT, columns.RISE, 1.0),
    ):
        region = PULSE_REGIONS["overshoot" if name == "overshoot" else "transition"]
        good = usable & region.holds(real[:, samples], ratio)
        shapes[name] = np.where(good, real[:, column] * unit, np.nan)
        shapes[f"{name}_u"] = np.where(good, np.sqrt(real[:, column + 1]) * unit, np.nan)
    return shapes
