"""Offset, noise and clipping of each channel, and its effective bits where it carries a sine."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright.session import Channel, Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import ChannelHealth, Ints, Levels
from pulsewright_analysis.sine import CARRIES_SINE, SineFit
from pulsewright_analysis.streaming import Check, Piece, for_each, pieces, unchecked
from pulsewright_analysis.type_b import scale_term

NOISY = 3.0
"""A channel is noisy where its noise is more than this many times the median of the session's channels."""


def measure_health(
    session: Session,
    channels: Sequence[int],
    records: Ints,
    levels: Levels,
    fit: SineFit | None,
    settings: Settings | None = None,
    check: Check = unchecked,
) -> tuple[ChannelHealth, ...]:
    """Return the health of each channel.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels that take part.
    records : int array
        Numbers of the records that take part.
    levels : Levels
        Of the same channels in the same order.
    fit : SineFit or None
        Where the channels carry a sine: offset and noise are then those of the fit, and ENOB is worked out.
    settings : Settings, optional
        Accuracy of the channels' scale; exact if left out.
    check : callable
        As for `streaming.for_each`.

    Returns
    -------
    tuple of ChannelHealth
        ENOB = log₂(full scale/(noise and distortion·√12)) and SINAD after IEEE Std 1057.
    """
    settings = settings or Settings()
    clipped, struck = _clipped(session, channels, records, check)
    sines = [fit is not None and bool(fit.explained[i] > CARRIES_SINE) for i in range(len(channels))]
    noise = [
        float(fit.residual_rms[i]) if fit is not None and sines[i] else float(levels.noise[i])
        for i in range(len(channels))
    ]
    usual = float(np.median(noise))
    return tuple(
        ChannelHealth(
            channel=c,
            offset=_scaled_offset(
                _sine_offset(session, c, fit, i) if fit is not None and sines[i] else _offset(session, c, levels, i),
                session.channels[c],
                settings,
            ),
            noise_rms=_noise(session, c, levels, i, noise[i], sines[i], len(records)).widened(
                scale_term(noise[i], settings)
            ),
            clipped_samples=clipped[i],
            clipped_records=tuple(struck[i]),
            enob=effective_bits(session.channels[c], noise[i]) if sines[i] else None,
            sinad_db=_sinad(fit, i) if fit is not None and sines[i] else None,
            noisy=noise[i] > NOISY * usual,
            thd_db=_thd(fit, i) if fit is not None and sines[i] else None,
        )
        for i, c in enumerate(channels)
    )


def effective_bits(channel: Channel, noise_and_distortion: float) -> float | None:
    """Return ENOB = log₂(full scale/(noise and distortion·√12)) (IEEE Std 1057), None for a residual of 0.

    Parameters
    ----------
    channel : Channel
        Its scale and end codes give the full scale.
    noise_and_distortion : float
        Root mean square, in the channel's unit.
    """
    full_scale = abs(channel.scale) * (channel.highest_code - channel.lowest_code + 1)
    if noise_and_distortion <= 0 or full_scale <= 0:
        return None
    return math.log2(full_scale / (noise_and_distortion * math.sqrt(12.0)))


def _sinad(fit: SineFit, place: int) -> float | None:
    """Return the sine's rms over noise and distortion, decibel (IEEE Std 1057)."""
    rms = float(np.sqrt(np.mean(fit.amplitude[:, place] ** 2) / 2))
    residual = float(fit.residual_rms[place])
    return 20 * math.log10(rms / residual) if residual > 0 and rms > 0 else None


def _thd(fit: SineFit, place: int) -> float | None:
    """Return the harmonics against the sine, decibel."""
    ratio = float(fit.distortion[place])
    return 20 * math.log10(ratio) if ratio > 0 else None


def _clipped(
    session: Session, channels: Sequence[int], records: Ints, check: Check
) -> tuple[list[int], list[list[int]]]:
    """Return how many samples are at an end code, and the records that have such, channel by channel."""
    counts: list[int] = [0 for _ in channels]
    struck: list[list[int]] = [[] for _ in channels]
    infos = [session.channels[c] for c in channels]

    def count(piece: Piece) -> Ints:
        at_end = np.empty((len(piece.rows), len(piece.columns)), dtype=np.int64)
        for i, (column, info) in enumerate(zip(piece.columns.tolist(), infos[piece.places], strict=True)):
            for k, row in enumerate(piece.rows.tolist()):
                trace = piece.codes[row, column]
                beyond = (trace <= info.lowest_code) | (trace >= info.highest_code)
                at_end[k, i] = np.count_nonzero(beyond)
        return at_end

    def take(piece: Piece, at_end: Ints) -> None:
        for place, one in enumerate(at_end.T, start=piece.places.start):
            counts[place] += int(np.sum(one))
            struck[place] += (piece.first + piece.rows[one > 0]).tolist()

    for_each(pieces(session, channels, records), count, take, check)
    return counts, struck


def _offset(session: Session, channel: int, levels: Levels, place: int) -> Quantity:
    noise = Term("noise of the base", float(levels.offset_u[place]), "A", None, "samples of the base, pulses trimmed")
    return Quantity.from_terms(float(levels.offset[place]), session.channels[channel].unit, (noise,))


def _scaled_offset(offset: Quantity, channel: Channel, settings: Settings) -> Quantity:
    """Return an offset with the scale's share, which is that of its distance from the level of code 0."""
    return offset.widened(scale_term(offset.value - channel.offset, settings))


def _sine_offset(session: Session, channel: int, fit: SineFit, place: int) -> Quantity:
    values = fit.offset[:, place]
    count = len(values)
    spread = float(np.std(values, ddof=1)) if count > 1 else float(fit.residual_rms[place])
    dof = float(count - 1) if count > 1 else None
    scatter = Term("scatter over records", spread / math.sqrt(count), "A", dof, f"sine fits of {count} records")
    return Quantity.from_terms(float(np.mean(values)), session.channels[channel].unit, (scatter,))


def _noise(
    session: Session, channel: int, levels: Levels, place: int, value: float, sine: bool, records: int
) -> Quantity:
    """Return the noise with its χ² interval."""
    from scipy.special import chdtri

    dof = records * (session.record_length - 3) if sine else float(levels.base_samples[place])
    dof = max(float(dof) - 1, 1.0)
    low, high = (value * math.sqrt(dof / float(chdtri(dof, tail))) for tail in (0.025, 0.975))
    u = value / math.sqrt(2 * dof)
    told = "residuals of the sine fit" if sine else "samples of the base, pulses trimmed"
    term = Term("finite number of samples", u, "A", dof, told)
    return Quantity(value, u, session.channels[channel].unit, dof, (low, high), (term,))
