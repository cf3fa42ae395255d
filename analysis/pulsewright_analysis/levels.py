"""Base and noise of each channel, from what is left of its records when the pulses are trimmed away."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Session
from pulsewright_analysis.record_runs import spread
from pulsewright_analysis.results import Levels
from pulsewright_analysis.streaming import Check, unchecked

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TRIM_LEVEL = 5.0
"""Distance from the base, in noise, beyond which a sample belongs to a pulse."""
TRIM_ROUNDS = 4
ENOUGH_FOR_A_MEDIAN = 4096
"""Samples of a record: their median is off by 0.02 of the noise, which later rounds take off."""
LEAST_BASE = 0.05
"""A smaller share of the samples is no base."""
FEWEST_OF_A_RECORD = 16
LEAST_OF_A_VALUE = 1e-12
"""Samples that are no codes count as rounded to this share of the largest."""
HARDLY_MORE_THAN_ROUNDING = 0.6
"""Noise below this many codes is not seen whole."""
MOST_RECORDS = 64
MOST_SAMPLES = 1 << 17
FEWEST_RECORDS = 4
"""Base and noise rest on records spread evenly over the session: at most 64, fewer where that passes 2¹⁷ samples."""
HELD_BYTES = 16 << 20
"""As stored: records of fewer bytes in all are read with all their channels at once."""
FEWEST_OF_A_PIECE = 64
PIECES = (8, 16, 32, 64, 128, 256)
"""A moving base is followed over pieces of a record: as few as do."""
PLACES = 64
OF_A_PLACE = 33
MOVES = 0.5
"""Where the medians of 33 samples spread by more than this many times the noise a moving base is looked for."""
WORTH_WHILE = 0.7
"""A moving base is taken off where what is left is less than this share of the noise,"""
AS_GOOD = 1.02
"""over the longest pieces that leave no more than this many times the least."""
MOST_LAGS = 128
SIGNIFICANT_LAG = 4.0
"""An autocovariance closer to 0 than this many of its own standard errors counts as 0."""


def measure_levels(
    session: Session, channels: Sequence[int], records: NDArray[np.int64], check: Check = unchecked
) -> Levels:
    """Return base, noise and autocovariance of channels.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels.
    records : int array
        Numbers of the records that take part.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    Levels
        In the channels' units; noise is never below one code/√12 (JCGM 100:2008, 4.3.7). The noise of the base is an
        ordinary standard deviation after trimming, because one from differences of neighbours reads a narrow-band
        noise several times too low. Taken off before: each record's mean, and, where a channel's base moves within a
        record by as much as the noise or more and far more slowly than its pulses (hum, a slope), a smooth curve
        through pieces of at least 64 samples: see `slow_movement`.
    """
    enough = min(max(MOST_SAMPLES // session.record_length, FEWEST_RECORDS), MOST_RECORDS)
    chosen = records[spread(len(records), enough)]
    whole = float(np.issubdtype(session.dtype, np.integer))
    results, slow = [], []
    for channel, samples in _by_channel(session, channels, chosen):
        check()
        code = abs(session.channels[channel].scale) * whole
        movement, piece = slow_movement(samples, code, check)
        samples -= movement
        check()
        results.append(base_of(samples, code, check))
        slow.append((float(np.std(movement)), piece))
    columns = [np.array([r[k] for r in results]) for k in range(5)]
    lags = max(len(r[5]) for r in results)
    autocovariance = np.stack([np.pad(r[5], (0, lags - len(r[5]))) for r in results])
    wander = np.array([movement for movement, _ in slow])
    pieces = np.array([piece for _, piece in slow], dtype=np.int64)
    return Levels(columns[0], columns[1], columns[2], columns[3], autocovariance, columns[4], wander, pieces)


def _by_channel(session: Session, channels: Sequence[int], records: Ints) -> Iterator[tuple[int, Floats]]:
    """Yield each channel with its samples in some records, (records, samples), in its unit.

    Records are read once where they are short; of long ones no more than a channel is held.
    """
    stored = len(records) * len(session.channels) * session.record_length * session.dtype.itemsize
    held = [session.codes(r, r + 1)[0] for r in records.tolist()] if stored <= HELD_BYTES else None
    for channel in channels:
        about, samples = session.channels[channel], np.empty((len(records), session.record_length))
        for i, record in enumerate(records.tolist()):
            samples[i] = session.channel_codes(channel, record, record + 1)[0] if held is None else held[i][channel]
        samples *= about.scale
        samples += about.offset
        yield channel, samples


def base_of(samples: Floats, code: float, check: Check = unchecked) -> tuple[float, float, float, float, float, Floats]:
    """Return offset, its u, noise, its u, effective sample count and autocovariance of one channel.

    Parameters
    ----------
    samples : array (records, samples)
        In the channel's unit.
    code : float
        One code in that unit, 0 where samples are no codes.
    check : callable
        Called at every step; may raise to stop.
    """
    kept = trim_pulses(samples, code, check)
    count = int(np.count_nonzero(kept))
    means = _record_means(samples, kept)
    offset = sum(float(np.sum(samples[some], where=kept[some])) for some in _few_records(samples)) / count
    # each record's own base comes off first: a drift from record to record is no noise within one
    autocovariance = masked_autocovariance(samples, means, kept, check)
    used = int(np.count_nonzero(np.sum(kept, axis=1) >= FEWEST_OF_A_RECORD))
    autocovariance *= count / max(count - used, 1)
    largest = max(float(np.max(samples)), -float(np.min(samples)))
    floor = max(code, LEAST_OF_A_VALUE * largest) / np.sqrt(12.0)
    if np.sqrt(autocovariance[0]) < HARDLY_MORE_THAN_ROUNDING * floor * np.sqrt(12.0):
        # so little noise hides between two codes: what is seen of it may be too little by the rounding
        autocovariance[0] += floor**2
    if autocovariance[0] <= 0.0:
        autocovariance = np.zeros_like(autocovariance)
        autocovariance[0] = max(floor**2, np.finfo(float).tiny)
    noise = float(np.sqrt(autocovariance[0]))
    share = autocovariance[1:] / autocovariance[0]
    effective = count / (1 + 2 * float(np.sum(share**2)))
    within = autocovariance[0] * max(1 + 2 * float(np.sum(share)), 0.05) / count
    between = float(np.var(means[:, 0], ddof=1)) / len(means) if len(means) > 1 else 0.0
    return (
        offset,
        float(np.sqrt(max(within, between))),
        noise,
        float(noise / np.sqrt(2 * max(effective - 1, 1))),
        effective,
        autocovariance,
    )


def slow_movement(samples: Floats, code: float, check: Check = unchecked) -> tuple[Floats, int]:
    """Return the slow movement of one channel's base about each record's mean, and the pieces that it rests on.

    Parameters
    ----------
    samples : array (records, samples)
        In the channel's unit.
    code : float
        One code in that unit, 0 where samples are no codes.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    movement : array (records, samples) or (1, 1)
        0 where the base is flat: where no curve lowers the trimmed standard deviation to less than 0.7 of its value.
        Movement weaker than that stays in the noise and in its autocovariance.
    piece : int
        Samples; 0 where the base is flat.
    """
    flat = np.zeros((1, 1))
    length = samples.shape[1]
    if length < 2 * FEWEST_OF_A_PIECE or not _may_move(samples, code):
        return flat, 0
    from pulsewright_analysis.base_kernels import slow_base

    least = max(code / np.sqrt(12.0), np.finfo(float).tiny)
    pieces = sorted({max(length // number, FEWEST_OF_A_PIECE) for number in PIECES}, reverse=True)
    movement, curve = np.empty(samples.shape), np.empty(length)

    def follow(piece: int) -> None:
        for record, trace in enumerate(samples):
            check()
            slow_base(trace, piece, 0.0, curve)
            limit = 4 * max(1.4826 * float(np.median(np.abs(trace - curve))), least)
            slow_base(trace, piece, limit, movement[record])

    noises = []
    for piece in pieces:
        follow(piece)
        noises.append(_trimmed_spread(samples - movement, code, least))
    if min(noises) >= WORTH_WHILE * _trimmed_spread(samples, code, least):
        return flat, 0
    best = next(i for i, noise in enumerate(noises) if noise <= AS_GOOD * min(noises))
    follow(pieces[best])
    movement -= np.mean(movement, axis=1, keepdims=True)
    return movement, pieces[best]


def _may_move(samples: Floats, code: float) -> bool:
    """Return whether short stretches of the records lie apart by more than their noise explains."""
    places = np.linspace(0, samples.shape[1] - OF_A_PLACE, PLACES).astype(int)
    short = samples[:, places[:, None] + np.arange(OF_A_PLACE)]
    middles = np.median(short, axis=2)
    within = float(np.median(np.abs(short - middles[:, :, None])))
    between = float(np.median(np.abs(middles - np.median(middles, axis=1, keepdims=True))))
    return between > MOVES * max(within, 0.3 * code)


def _trimmed_spread(samples: Floats, code: float, least: float) -> float:
    """Return the standard deviation of the base about each record's mean after trimming."""
    kept = trim_pulses(samples, code)
    return max(_spread(samples, _record_means(samples, kept), kept), least)


def trim_pulses(samples: Floats, code: float, check: Check = unchecked) -> Bools:
    """Return which samples of (records, samples) belong to the base: no pulse within a pulse's length of them.

    Parameters
    ----------
    samples : array (records, samples)
        In the channel's unit.
    code : float
        One code in that unit, 0 where samples are no codes.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    bool array (records, samples)
        All True where less than 5 % of the samples would be left.
    """
    few = samples[:, _spread_places(samples.shape[1])]
    centre = np.median(few, axis=1, keepdims=True)
    spread = max(1.4826 * float(np.median(np.abs(few - centre))), code / np.sqrt(12.0))
    kept: Bools = np.ones(samples.shape, dtype=bool)
    outside: Bools = np.zeros(0, dtype=bool)
    for _ in range(TRIM_ROUNDS):
        check()
        before, outside = outside, _outside(samples, centre, TRIM_LEVEL * spread)
        if np.array_equal(before, outside):
            break
        kept = ~_widened(outside)
        if np.count_nonzero(kept) < LEAST_BASE * kept.size:
            kept = ~outside
        if np.count_nonzero(kept) < LEAST_BASE * kept.size:
            return np.ones(samples.shape, dtype=bool)
        centre = _record_means(samples, kept)
        spread = max(_spread(samples, centre, kept), code / np.sqrt(12.0))
    return kept


# a few records at a time, so that what is worked out on the way takes little memory


def _few_records(samples: Floats) -> Iterator[slice]:
    """Yield the places of as many neighbouring records of (records, samples) as may be worked on together."""
    step = max(1, MOST_SAMPLES // samples.shape[1])
    for first in range(0, len(samples), step):
        yield slice(first, min(first + step, len(samples)))


def _outside(samples: Floats, centre: Floats, reach: float) -> Bools:
    """Return which samples lie further than `reach` from their record's centre."""
    beyond = np.empty(samples.shape, dtype=bool)
    for some in _few_records(samples):
        apart = samples[some] - centre[some]
        np.greater(np.abs(apart, out=apart), reach, out=beyond[some])
    return beyond


def _spread(samples: Floats, centre: Floats, kept: Bools) -> float:
    """Return the standard deviation of the kept samples about their records' centres."""
    total = square = 0.0
    for some in _few_records(samples):
        rest = samples[some] - centre[some]
        rest *= kept[some]
        total += float(np.sum(rest))
        # no dot product: it would wake as many threads as there are cores
        square += float(np.sum(np.square(rest, out=rest)))
    count = np.count_nonzero(kept)
    return float(np.sqrt(max(square / count - (total / count) ** 2, 0.0)))


def _spread_places(length: int) -> NDArray[np.int64]:
    """Return places all over a record, at most `ENOUGH_FOR_A_MEDIAN`, each drawn from its own stretch.

    At even distances a tone may look like a constant.
    """
    number = min(length, ENOUGH_FOR_A_MEDIAN)
    edges = np.linspace(0, length, number + 1)
    drawn = np.random.default_rng(0).random(number)
    return np.minimum(edges[:-1] + drawn * np.diff(edges), length - 1).astype(np.int64)


def _record_means(samples: Floats, kept: Bools) -> Floats:
    """Return each record's mean of its kept samples, (records, 1); that of all kept samples where a record has few."""
    counts = np.sum(kept, axis=1, keepdims=True)
    parts = [np.sum(samples[some], axis=1, keepdims=True, where=kept[some]) for some in _few_records(samples)]
    sums = np.concatenate(parts)
    overall = float(np.sum(sums)) / max(int(np.sum(counts)), 1)
    return np.where(counts >= FEWEST_OF_A_RECORD, sums / np.maximum(counts, 1), overall)


def _widened(outside: Bools) -> Bools:
    """Widen each run of True by its own length on both sides, by 4 samples at least and 1/16 of the record at most."""
    wide = np.zeros(outside.shape, dtype=bool)
    length = outside.shape[1]
    rows = np.flatnonzero(np.any(outside, axis=1))
    for few in np.array_split(rows, max(1, len(rows) * length // MOST_SAMPLES)):
        padded = np.zeros((len(few), length + 1), dtype=np.int8)
        padded[:, :length] = outside[few]
        # a run's first sample, and the first after it: no run goes on into the next record, for each ends with a False
        turns = np.flatnonzero(np.diff(padded.ravel(), prepend=0))
        row, starts = np.divmod(turns[::2], length + 1)
        stops = turns[1::2] - row * (length + 1)
        margin = np.clip(stops - starts, 4, max(length // 16, 4))
        edges = np.zeros((len(few), length + 1), dtype=np.int32)
        np.add.at(edges, (row, np.maximum(starts - margin, 0)), 1)
        np.add.at(edges, (row, np.minimum(stops + margin, length)), -1)
        wide[few] = np.cumsum(edges, axis=1, dtype=np.int32)[:, :length] > 0
    return wide


def masked_autocovariance(samples: Floats, means: Floats, kept: Bools, check: Check = unchecked) -> Floats:
    """Return the autocovariance of (records, samples) over the kept samples, lag 0 first, insignificant lags set to 0.

    Products of samples that are both kept, averaged over as many such pairs as there are at each lag.

    Parameters
    ----------
    samples : array (records, samples)
    means : array (records, 1)
        What is taken off each record.
    kept : bool array (records, samples)
        Which samples belong to the base.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    array (lags,)
        In the unit of `samples` squared; at most 128 lags, and at most a quarter of the record's samples.
    """
    from scipy.fft import irfft, next_fast_len, rfft

    length = samples.shape[1]
    lags = min(MOST_LAGS, max(length // 4, 1))
    size = next_fast_len(length + lags, real=True)
    power, places = np.zeros(size // 2 + 1), np.zeros(size // 2 + 1)
    for some in _few_records(samples):
        check()
        rest = samples[some] - means[some]
        rest *= kept[some]
        power += _power(rfft(rest, size))
        places += _power(rfft(kept[some].astype(float), size))
    products, counts = irfft(power, size)[:lags], irfft(places, size)[:lags]
    counts = np.maximum(np.round(counts), 1.0)
    autocovariance: Floats = products / counts
    doubtful = np.abs(autocovariance) < SIGNIFICANT_LAG * autocovariance[0] / np.sqrt(counts)
    autocovariance[1:][doubtful[1:]] = 0.0
    return autocovariance


def _power(spectra: NDArray[np.complex128]) -> Floats:
    """Return the squared sizes of (records, frequencies), summed over the records."""
    power = np.square(spectra.real)
    power += np.square(spectra.imag)
    summed: Floats = np.sum(power, axis=0)
    return summed
