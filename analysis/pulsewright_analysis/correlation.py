"""Delays between channels by band-limited cross-correlation inside a gate."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from pulsewright.long_columns import LongColumn, in_blocks
from pulsewright_analysis.gate_samples import GateSamples, as_gate_samples
from pulsewright_analysis.streaming import Check, unchecked
from pulsewright_analysis.validity import CORRELATION_REGION

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SHOWS_SIGNAL = 5.0
"""A channel carries the event where its energy in the gate exceeds the noise's by this many standard errors."""
LEAST_LIKENESS = 0.5
"""Below this correlation coefficient with the reference a channel carries another signal."""
LAG_STEPS = 4
"""Delays are looked for at this many places a sample."""
MOST_OF_GATE = 0.4
"""A delay of more than this share of the gate may belong to a signal that the gate has cut."""
RIVAL_SHARE = 0.6
AGREEMENT = 5.0
FEWEST_TO_AGREE = 3
"""Two maxima are told apart where records agree to this many standard errors, or, from few, by far."""
NEWTON_STEPS = 8
SPECTRA_BYTES = 8 << 20
"""Samples, as float64, of the records whose spectra are held together."""


@dataclass(frozen=True)
class Delays:
    """Delays of channels against the reference.

    Attributes
    ----------
    delay : array (records, channels)
        Seconds between the gates' first samples; NaN for channels that were not measured.
    variance : array (channels,)
        Each channel's own share of the variance of one record's delay, seconds squared.
    gain : array (records, channels)
        Size against the reference's, without sign; NaN where there is no delay.
    unlike : dict of int to str
        Channels (places within the gate) that were not measured, with the clause that says why.
    """

    delay: Floats
    variance: Floats
    gain: Floats
    unlike: dict[int, str]


def noise_spectrum(autocovariance: Floats, length: int) -> Floats:
    """Return the expected |X_k|² of noise in a gate of `length` samples, (channels, bins), unit squared.

    Parameters
    ----------
    autocovariance : array (channels, lags)
        Unit squared.
    length : int
        Samples of the gate.
    """
    lags = np.arange(min(autocovariance.shape[1], length))
    bins = np.arange(length // 2 + 1)
    cosines = np.cos(2 * np.pi * bins[:, None] * lags[None, :] / length)
    share = (1 - lags / length) * np.where(lags == 0, 1.0, 2.0)
    spectrum = length * (autocovariance[:, : len(lags)] * share) @ cosines.T
    floored: Floats = np.maximum(spectrum, 0.05 * length * autocovariance[:, :1])
    return floored


def correlate(
    samples: Floats | GateSamples,
    usable: NDArray[np.bool_],
    reference: int,
    autocovariance: Floats,
    sample_rate: float,
    check: Check = unchecked,
) -> Delays:
    """Return the delay of every channel against the reference, record by record.

    Parameters
    ----------
    samples : array (records, channels, samples), or GateSamples
        The gate, in the channels' units.
    usable : bool array (records, channels)
        False where a record of a channel must not take part.
    reference : int
        Place of the reference within `samples`.
    autocovariance : array (channels, lags)
        Of the noise, unit squared.
    sample_rate : float
        Hertz.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    Delays
        From the maximum of Σ W·conj(A)·B·exp(iωτ), with W the share of signal in each bin's power, refined by Newton
        steps. Variance ½·Σω²W²·P·S/(Σω²W·P)² for signal power P and noise power S, which for white noise inside the
        band is σ²/Σs′², the Cramér–Rao bound of a known waveform's delay (algebra; Kay, Fundamentals of Statistical
        Signal Processing: Estimation Theory, 3.11, from memory).
    """
    gate = as_gate_samples(samples)
    records, channels, length = gate.shape
    omega: Floats = 2 * np.pi * np.fft.rfftfreq(length, 1 / sample_rate).astype(np.float64)
    noise = noise_spectrum(autocovariance, length)
    signal, unlike = _signal_power(gate, noise, usable, check)
    if reference in unlike:
        return _nothing(gate.shape, "the reference carries no signal in the gate")
    weight = _band(signal, noise, unlike)
    energy = 2 * np.sum(np.where(weight > 0, signal / noise, 0.0), axis=1)
    for channel in np.flatnonzero(energy < CORRELATION_REGION.smallest).tolist():
        unlike.setdefault(channel, "its signal is too weak for a delay")
    if reference in unlike:
        return _nothing(gate.shape, "the reference's signal is too weak for a delay")
    together = usable & usable[:, [reference]]
    for channel in np.flatnonzero(~np.any(together, axis=0)).tolist():
        unlike.setdefault(channel, "no record of it can be compared with the reference")
    others = [c for c in range(channels) if c != reference and c not in unlike]
    band = _Weights(np.flatnonzero(weight), weight[weight > 0], sample_rate, length)
    # the reference's own noise is in its power, and would make every gain too small
    own = float(np.sum(weight * noise[reference]))
    maxima = _maxima(gate, band, together, reference, others, check)
    of_all = [LongColumn() for _ in range(4)]
    for first, spectra in _spectra(gate, check):
        here = slice(first, first + len(spectra))
        some = _of_some(spectra, band, own, maxima, together[here], reference, usable[here, reference], check)
        for column, part in zip(of_all, some, strict=True):
            column.add(part.reshape(-1))
    delay, gain, rough, ahead = (column.whole().reshape(records, channels) for column in of_all)
    doubted = np.zeros(channels, dtype=bool)
    for channel in others:
        rows = np.flatnonzero(together[:, channel])
        reason = _doubt(maxima[channel], rough[rows, channel], ahead[rows, channel], length / sample_rate)
        if reason is not None:
            unlike[channel] = reason
            doubted[channel] = True
    if np.any(doubted):
        delay, gain = (in_blocks(records, partial(_without, values, doubted)) for values in (delay, gain))
    return Delays(delay, _variances(signal, noise, weight, omega), gain, unlike)


def _without(values: Floats, doubted: NDArray[np.bool_], some: slice) -> Floats:
    return np.where(doubted, np.nan, values[some])


def _of_some(
    spectra: Complexes,
    band: _Weights,
    own: float,
    maxima: dict[int, _Maximum],
    together: NDArray[np.bool_],
    reference: int,
    usable: NDArray[np.bool_],
    check: Check,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return delay, gain, likeness and how far one maximum is ahead of some records, each (records, channels)."""
    delay, gain, rough, ahead = (np.full(together.shape, np.nan) for _ in range(4))
    delay[usable, reference] = 0.0
    gain[usable, reference] = 1.0
    for channel, found in maxima.items():
        rows = np.flatnonzero(together[:, channel])
        if len(rows) == 0:
            continue
        check()
        pair = band.pair(spectra[rows, reference], spectra[rows, channel])
        rough[rows, channel] = pair.likeness(found.sign, found.delay)
        if found.other_delay is not None:
            ahead[rows, channel] = _ahead(pair, found.sign, found.delay, found.other_sign, found.other_delay)
        delay[rows, channel] = _refined(pair, found.sign, found.delay)
        power = np.sum(band.inside * np.abs(spectra[rows, reference][:, band.bins]) ** 2, axis=1) - own
        turned = pair.cross * np.exp(1j * band.omega[None, :] * delay[rows, channel][:, None])
        gain[rows, channel] = np.abs(np.sum(np.real(turned), axis=1)) / np.where(power > 0, power, np.nan)
    return delay, gain, rough, ahead


def _spectra(gate: GateSamples, check: Check) -> Iterator[tuple[int, Complexes]]:
    """Yield first record and spectra (records, channels, bins) of as many records as may be held together.

    How many depends on the gate alone: sums over the records are then the same wherever the samples come from.
    """
    records, channels, length = gate.shape
    step = max(1, SPECTRA_BYTES // max(1, channels * length * 8))
    for first in range(0, records, step):
        check()
        yield first, np.fft.rfft(gate.take(np.arange(first, min(first + step, records))), axis=-1)


@dataclass(frozen=True)
class _Maximum:
    """Where the mean correlation of a channel is largest, and the rival maximum apart from it, if there is one."""

    sign: float
    delay: float
    other_sign: float = 1.0
    other_delay: float | None = None


def _maxima(
    gate: GateSamples,
    band: _Weights,
    together: NDArray[np.bool_],
    reference: int,
    others: list[int],
    check: Check,
) -> dict[int, _Maximum]:
    """Return the maximum of the mean correlation with the reference of each channel."""
    sums = {channel: np.zeros(len(band.bins), dtype=np.complex128) for channel in others}
    for first, spectra in _spectra(gate, check):
        for channel in others:
            rows = np.flatnonzero(together[first : first + len(spectra), channel])
            sums[channel] += np.sum(band.pair(spectra[rows, reference], spectra[rows, channel]).cross, axis=0)
    return {channel: _maximum(band, sums[channel] / np.count_nonzero(together[:, channel])) for channel in others}


def _maximum(band: _Weights, mean_cross: Complexes) -> _Maximum:
    mean = band.by_lag(mean_cross)
    lags: Floats = np.fft.fftfreq(len(mean), 1 / len(mean)).astype(np.float64) / (LAG_STEPS * band.sample_rate)
    best = int(np.argmax(np.abs(mean)))
    sign = 1.0 if mean[best] >= 0 else -1.0
    rival = _rival(np.abs(mean), best)
    if rival is None:
        return _Maximum(sign, float(lags[best]))
    return _Maximum(sign, float(lags[best]), float(np.sign(mean[rival])), float(lags[rival]))


def _doubt(found: _Maximum, rough: Floats, ahead: Floats, gate: float) -> str | None:
    """Return the clause that says why a channel has no delay, None where it has one; `gate` is its length, seconds."""
    if np.mean(rough) < LEAST_LIKENESS:
        return "its signal is unlike the reference's"
    if abs(found.delay) > MOST_OF_GATE * gate:
        return "its delay reaches the edge of the gate, which must be longer"
    if found.other_delay is not None and not _stands_above(ahead):
        return "several delays fit its signal equally well, whole or half periods apart"
    return None


def _nothing(shape: tuple[int, ...], why: str) -> Delays:
    """Return no delays at all, every channel with the same reason."""
    nothing = np.full(shape[:2], np.nan)
    return Delays(nothing, np.full(shape[1], np.nan), nothing, dict.fromkeys(range(shape[1]), why))


def _signal_power(
    gate: GateSamples, noise: Floats, usable: NDArray[np.bool_], check: Check
) -> tuple[Floats, dict[int, str]]:
    """Return each channel's mean signal power by bin (noise taken off), and the channels that show none."""
    signal, excess, power = np.zeros(noise.shape), np.zeros(noise.shape), np.zeros(noise.shape)
    counts = np.count_nonzero(usable, axis=0)
    unlike: dict[int, str] = {}
    for first, spectra in _spectra(gate, check):
        for channel in range(len(noise)):
            rows = usable[first : first + len(spectra), channel]
            power[channel] += np.sum(np.abs(spectra[rows, channel]) ** 2, axis=0)
    for channel in range(len(noise)):
        if counts[channel] == 0:
            unlike[channel] = "all its records are clipped in the gate or belong to other triggers"
            continue
        excess[channel] = power[channel] / counts[channel] - noise[channel]
        signal[channel] = np.maximum(excess[channel], 0.0)
    every = np.arange(noise.shape[1]) > 0
    shows = [c for c in range(len(noise)) if c not in unlike and _shows(excess[c], noise[c], counts[c], every)]
    # a weak channel is looked for where the strong have their energy: in a long gate the noise beside it would hide it
    band = every & (np.median(signal[shows] / noise[shows], axis=0) >= 1.0) if shows else every
    for channel in range(len(noise)):
        if channel in unlike or channel in shows:
            continue
        if not _shows(excess[channel], noise[channel], counts[channel], band):
            unlike[channel] = "it carries no signal in the gate"
    return signal, unlike


def _shows(excess: Floats, noise: Floats, records: int, bins: NDArray[np.bool_]) -> bool:
    """Return whether the power beyond the noise's in those bins stands out of its own scatter over the records."""
    return bool(np.sum(excess[bins]) >= SHOWS_SIGNAL * np.sqrt(np.sum(noise[bins] ** 2) / records) > 0)


def _band(signal: Floats, noise: Floats, unlike: dict[int, str]) -> Floats:
    """Return the weight of each bin: the signal's share in the power, 0 from the first bin on that is mostly noise."""
    used = [c for c in range(len(signal)) if c not in unlike]
    ratio = np.median(signal[used] / noise[used], axis=0)
    ratio[0] = 0.0
    ratio[-1] = 0.0
    peak = int(np.argmax(ratio))
    weak = np.flatnonzero(ratio[peak:] < 0.25)
    if len(weak):
        ratio[peak + weak[0] :] = 0.0
    weight: Floats = ratio / (1 + ratio)
    return weight


@dataclass(frozen=True)
class _Weights:
    """The bins that carry signal, and the weight of each."""

    bins: NDArray[np.intp]
    inside: Floats
    sample_rate: float
    length: int

    @property
    def omega(self) -> Floats:
        """Angular frequency of each bin, radians a second."""
        result: Floats = 2 * np.pi * self.bins * self.sample_rate / self.length
        return result

    def pair(self, first: Complexes, second: Complexes) -> _Pair:
        """Return the correlation of some records of one channel with the reference's, from spectra (records, bins)."""
        first, second = first[:, self.bins], second[:, self.bins]
        energies = [np.sum(self.inside * np.abs(spectrum) ** 2, axis=1) for spectrum in (first, second)]
        cross = self.inside * np.conj(first) * second
        return _Pair(cross, np.sqrt(energies[0] * energies[1]), self.omega, self.sample_rate)

    def by_lag(self, mean_cross: Complexes) -> Floats:
        """Return the mean over the records at every 1/`LAG_STEPS` of a sample, in the order of an FFT."""
        spectrum = np.zeros(self.length // 2 + 1, dtype=np.complex128)
        spectrum[self.bins] = mean_cross
        lags: Floats = np.fft.irfft(spectrum, LAG_STEPS * self.length)
        return lags


@dataclass(frozen=True)
class _Pair:
    """The correlation of one channel with the reference, by record, in the bins that carry signal."""

    cross: Complexes
    energy: Floats
    omega: Floats
    sample_rate: float

    def heights(self, delays: Floats) -> Floats:
        """Return the correlation of each record at each of (delays,) seconds, (records, delays)."""
        return np.real(self.cross @ np.exp(1j * self.omega[:, None] * delays[None, :]))

    def likeness(self, sign: float, delay: float) -> Floats:
        """Return each record's correlation coefficient at a delay, (records,)."""
        heights = self.heights(np.array([delay]))[:, 0]
        return sign * heights / np.where(self.energy > 0, self.energy, np.inf)


def _refined(pair: _Pair, sign: float, near: float) -> Floats:
    """Return the delay of each record, seconds, from Newton steps that begin close to the mean's."""
    cross, omega = sign * pair.cross, pair.omega
    tries = near + np.arange(-1.5, 1.51, 0.125) / pair.sample_rate
    delay: Floats = tries[np.argmax(sign * pair.heights(tries), axis=1)]
    for _ in range(NEWTON_STEPS):
        turned = cross * np.exp(1j * omega[None, :] * delay[:, None])
        slope = -np.sum(omega * np.imag(turned), axis=1)
        bend = -np.sum(omega**2 * np.real(turned), axis=1)
        step = np.where(bend < 0, slope / np.where(bend < 0, bend, -1.0), 0.0)
        delay = delay - np.clip(step, -0.5 / pair.sample_rate, 0.5 / pair.sample_rate)
    return delay


def _rival(heights: Floats, best: int) -> int | None:
    """Return the highest maximum apart from the one at `best`, None where all else is far lower."""
    around = (heights >= np.roll(heights, 1)) & (heights >= np.roll(heights, -1))
    around[best] = False
    places = np.flatnonzero(around & (heights > RIVAL_SHARE * heights[best]))
    return int(places[np.argmax(heights[places])]) if len(places) else None


def _ahead(pair: _Pair, sign: float, delay: float, other_sign: float, other: float) -> Floats:
    """Return how far one maximum is above another in each record, as a share of its height, whatever their sign."""
    near = np.arange(-1.0, 1.01, 0.125) / pair.sample_rate
    high = np.max(sign * pair.heights(delay + near), axis=1)
    low = np.max(other_sign * pair.heights(other + near), axis=1)
    ahead: Floats = (high - low) / np.where(high > 0, high, np.inf)
    return ahead


def _stands_above(ahead: Floats) -> bool:
    """Return whether the records agree that one maximum is above another."""
    if len(ahead) < FEWEST_TO_AGREE:
        return bool(np.mean(ahead) > 1 - RIVAL_SHARE / 2)
    return bool(np.mean(ahead) > AGREEMENT * np.std(ahead, ddof=1) / np.sqrt(len(ahead)))


def _variances(signal: Floats, noise: Floats, weight: Floats, omega: Floats) -> Floats:
    """Return each channel's share of one record's delay variance, seconds squared."""
    steep = np.sum(omega**2 * weight * signal, axis=1)
    shaken = 0.5 * np.sum((omega * weight) ** 2 * (signal * noise + 0.5 * noise**2), axis=1)
    return np.where(steep > 0, shaken / np.where(steep > 0, steep, 1.0) ** 2, np.nan)
