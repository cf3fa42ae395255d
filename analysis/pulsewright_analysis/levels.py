"""Base and noise of each channel, from what is left of its records when the pulses are trimmed away."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Session
from pulsewright_analysis.results import Levels

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

TRIM_LEVEL = 5.0
"""Distance from the base, in noise, beyond which a sample belongs to a pulse."""
TRIM_ROUNDS = 4
MOST_RECORDS = 64
MOST_SAMPLES = 1 << 17
FEWEST_RECORDS = 8
"""Base and noise rest on records spread evenly over the session: at most 64, fewer where that passes 2¹⁷ samples."""
MOST_LAGS = 128
SIGNIFICANT_LAG = 4.0
"""An autocovariance closer to 0 than this many of its own standard errors counts as 0."""


def measure_levels(session: Session, channels: Sequence[int], records: NDArray[np.int64]) -> Levels:
    """Return base, noise and autocovariance of channels.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels.
    records : int array
        Numbers of the records that take part.

    Returns
    -------
    Levels
        In the channels' units; noise is never below one code/√12 (JCGM 100:2008, 4.3.7). The noise of the base is an
        ordinary standard deviation after trimming, because one from differences of neighbours reads a narrow-band
        noise several times too low.
    """
    enough = min(max(MOST_SAMPLES // session.record_length, FEWEST_RECORDS), MOST_RECORDS, len(records))
    chosen = records[np.unique(np.linspace(0, len(records) - 1, enough).astype(int))]
    samples = np.stack([session.values(r, r + 1, channels)[0] for r in chosen], axis=1)
    results = [base_of(samples[i], abs(session.channels[c].scale)) for i, c in enumerate(channels)]
    columns = [np.array([r[k] for r in results]) for k in range(5)]
    lags = max(len(r[5]) for r in results)
    autocovariance = np.stack([np.pad(r[5], (0, lags - len(r[5]))) for r in results])
    return Levels(columns[0], columns[1], columns[2], columns[3], autocovariance, columns[4])


def base_of(samples: Floats, code: float) -> tuple[float, float, float, float, float, Floats]:
    """Return offset, its u, noise, its u, effective sample count and autocovariance of one channel.

    Parameters
    ----------
    samples : array (records, samples)
        In the channel's unit.
    code : float
        One code in that unit.
    """
    kept = trim_pulses(samples, code)
    values = samples[kept]
    offset = float(np.mean(values))
    autocovariance = masked_autocovariance(np.where(kept, samples - offset, 0.0), kept)
    measured = float(autocovariance[0])
    floor = code / np.sqrt(12.0)
    noise = max(np.sqrt(measured), floor)
    if measured < floor**2:
        autocovariance = np.zeros_like(autocovariance)
        autocovariance[0] = floor**2
    share = autocovariance[1:] / autocovariance[0]
    effective = values.size / (1 + 2 * float(np.sum(share**2)))
    variance_of_mean = autocovariance[0] * max(1 + 2 * float(np.sum(share)), 0.05) / values.size
    return (
        offset,
        float(np.sqrt(variance_of_mean)),
        float(noise),
        float(noise / np.sqrt(2 * max(effective - 1, 1))),
        effective,
        autocovariance,
    )


def trim_pulses(samples: Floats, code: float) -> Bools:
    """Return which samples of (records, samples) belong to the base: no pulse within a pulse's length of them."""
    centre = float(np.median(samples))
    spread = max(1.4826 * float(np.median(np.abs(samples - centre))), code / np.sqrt(12.0))
    kept = np.ones(samples.shape, dtype=bool)
    for _ in range(TRIM_ROUNDS):
        kept = ~_widened(np.abs(samples - centre) > TRIM_LEVEL * spread)
        if np.count_nonzero(kept) < 0.05 * kept.size:
            return np.ones(samples.shape, dtype=bool)
        centre = float(np.mean(samples[kept]))
        spread = max(float(np.std(samples[kept])), code / np.sqrt(12.0))
    return kept


def _widened(outside: Bools) -> Bools:
    """Widen each run of True along the last axis by its own length (4 samples at least) on both sides."""
    padded = np.pad(outside, ((0, 0), (1, 1))).astype(np.int8)
    steps = np.diff(padded, axis=1)
    rows, starts = np.nonzero(steps == 1)
    _, stops = np.nonzero(steps == -1)
    length = outside.shape[1]
    margin = np.maximum(stops - starts, 4)
    edges = np.zeros((outside.shape[0], length + 1), dtype=np.int32)
    np.add.at(edges, (rows, np.maximum(starts - margin, 0)), 1)
    np.add.at(edges, (rows, np.minimum(stops + margin, length)), -1)
    wide: Bools = np.cumsum(edges, axis=1)[:, :length] > 0
    return wide


def masked_autocovariance(residual: Floats, kept: Bools) -> Floats:
    """Return the autocovariance of (records, samples) over the kept samples, lag 0 first, insignificant lags set to 0.

    Products of samples that are both kept, averaged over as many such pairs as there are at each lag.
    """
    length = residual.shape[1]
    lags = min(MOST_LAGS, max(length // 4, 1))
    size = 1 << (2 * length - 1).bit_length()
    products = np.fft.irfft(np.sum(np.abs(np.fft.rfft(residual, size)) ** 2, axis=0), size)[:lags]
    counts = np.fft.irfft(np.sum(np.abs(np.fft.rfft(kept.astype(float), size)) ** 2, axis=0), size)[:lags]
    counts = np.maximum(np.round(counts), 1.0)
    autocovariance: Floats = products / counts
    doubtful = np.abs(autocovariance) < SIGNIFICANT_LAG * autocovariance[0] / np.sqrt(counts)
    autocovariance[1:][doubtful[1:]] = 0.0
    return autocovariance
