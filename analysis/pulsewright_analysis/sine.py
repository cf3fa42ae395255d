"""Sine fits with one frequency common to all channels and records."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.gate_samples import (
    GateSamples,
    HeldSamples,
    affordable,
    as_gate_samples,
    before_middle,
    traces_of,
)
from pulsewright_analysis.record_runs import spread
from pulsewright_analysis.streaming import Check, for_each, unchecked

Floats = NDArray[np.float64]

MOST_SEARCHED = 64
"""The frequency search looks at this many traces at the most."""
FEWEST_SEARCHED = 6
"""And at this many at the least, however long they are."""
CARRIES_SINE = 0.9
"""Share of a trace's variance that a sine must explain to be one."""
HINTS_AT_SINE = 0.5
"""Where a sine explains less than this of each of a few long traces, no more is read to say that there is none."""
LONG = 1 << 16
"""Samples of a trace that is worth a look at a few beforehand."""
FEWEST_PERIODS = 1.5
LONGEST_SEARCHED = 1 << 18
"""Samples in the middle of a trace: what is looked at of a longer one for the frequency search, harmonics and noise."""
SAMPLES_AT_ONCE = 1 << 16
"""Samples whose columns are held together where only their products are wanted."""
ITERATIONS = 12
SMALL_TURN = 1e-3
"""Sums are moved to another frequency without reading the traces while that turns their ends by less, radians."""
HARMONICS = (2, 3, 4, 5, 6)
MOST_FOR_HARMONICS = 16
ROUNDING = 1e-15
"""A trace's residual is known no better than this share of its mean square."""
WORTH_THREADS = 1 << 17
"""Samples that one thread sums up at a time; fewer are summed up before two threads have started."""
NOISE_BINS = 16
NOISE_GUARD = 2
"""The noise beside the line is read from this many bins to each side, the nearest left out."""
RECORDS_FOR_NOISE = 32


@dataclass(frozen=True)
class SineFit:
    """y = offset + amplitude·cos(2πf·(t − middle) − phase) for every record and channel, one f.

    Attributes
    ----------
    frequency, frequency_u : float
        Hertz.
    amplitude, phase, offset : array (records, channels)
        In the samples' unit; radians at the middle of the record.
    phase_variance : array (channels,)
        Of one record's phase, radians squared, mean over the records, from the fit's covariance and the noise's density
        beside the line: band-limited noise has more of it there than its size tells.
    residual_rms : array (channels,)
        Standard deviation about the fit with three parameters a record taken off.
    explained : array (channels,)
        Share of the variance that the sine explains.
    distortion : array (channels,)
        Root of the power of harmonics two to six over the sine's (THD, IEEE Std 1057), from a few records; the power
        that noise alone puts there is taken off.
    """

    frequency: float
    frequency_u: float
    amplitude: Floats
    phase: Floats
    offset: Floats
    phase_variance: Floats
    residual_rms: Floats
    explained: Floats
    distortion: Floats


def coarse_frequency(samples: Floats | GateSamples, sample_rate: float, check: Check = unchecked) -> float:
    """Return the frequency of the strongest line, hertz, from windowed spectra summed over traces.

    Parameters
    ----------
    samples : array (records, channels, samples)
    sample_rate : float
        Hertz.
    check : callable
        Called at every step; may raise to stop.
    """
    traces = _spread_traces(as_gate_samples(samples).middle(LONGEST_SEARCHED), check)
    length = traces.shape[1]
    size = 4 * (1 << (length - 1).bit_length())
    window, largest, power = np.hanning(length), np.max(np.abs(traces), initial=0.0), np.zeros(size // 2 + 1)
    for trace in traces:
        check()
        centred = trace - np.mean(trace)
        scale = np.std(centred)
        centred /= scale if scale > 1e-9 * largest else np.inf
        power += np.abs(np.fft.rfft(centred * window, size)) ** 2
    lowest = max(1, int(size / length))
    peak = lowest + int(np.argmax(power[lowest:-1]))
    around = np.log(np.maximum(power[peak - 1 : peak + 2], np.finfo(float).tiny))
    bend = around[0] - 2 * around[1] + around[2]
    shift = 0.5 * (around[0] - around[2]) / bend if bend < 0 else 0.0
    return float((peak + shift) * sample_rate / size)


def fit_shared_frequency(
    samples: Floats | GateSamples, sample_rate: float, start: float | None = None, check: Check = unchecked
) -> SineFit:
    """Fit sines of one common frequency by least squares (IEEE Std 1057's four-parameter fit, frequency shared).

    Parameters
    ----------
    samples : array (records, channels, samples)
        In the channels' units; at least eight samples.
    sample_rate : float
        Hertz.
    start : float, optional
        First guess, hertz; from `coarse_frequency` if left out.
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    SineFit
        Frequency by Gauss–Newton steps; for each step offset and both quadratures of every trace are eliminated. A few
        traces settle it to within their own noise, so that all traces are read once, for one step more.
    """
    gate = as_gate_samples(samples)
    return _finished(_settled_on_all(gate, sample_rate, start, check), gate, sample_rate, check)


def _settled_on_all(gate: GateSamples, sample_rate: float, start: float | None, check: Check) -> _Settled:
    frequency = coarse_frequency(gate, sample_rate, check) if start is None else start
    few = HeldSamples(_spread_traces(gate.middle(LONGEST_SEARCHED), check)[:, None, :])
    frequency = _settled(few, sample_rate, frequency, check).frequency
    return _settled(gate, sample_rate, frequency, check)


@dataclass(frozen=True)
class _Settled:
    """A frequency at which no step is left to take, with the sums over all traces that belong to it."""

    frequency: float
    coefficients: Floats
    inverse: Floats
    variance: Floats
    information: float


def _spread_traces(samples: GateSamples, check: Check) -> Floats:
    """Return at most `MOST_SEARCHED` traces, spread evenly over records and channels, (traces, samples)."""
    records, channels, length = samples.shape
    chosen = spread(records * channels, affordable(MOST_SEARCHED, FEWEST_SEARCHED, 8 * length))
    few = np.empty((len(chosen), length))
    for record in np.unique(chosen // channels).tolist():
        check()
        here = np.flatnonzero(chosen // channels == record)
        few[here] = samples.of_channels(chosen[here] % channels).take(np.array([record]))[0]
    return few


def _settled(samples: GateSamples, sample_rate: float, frequency: float, check: Check) -> _Settled:
    """Take Gauss–Newton steps until the frequency stands still."""
    length = samples.shape[-1]
    time = np.asarray((np.arange(length) - (length - 1) / 2) / sample_rate, dtype=np.float64)
    omega, reach = 2 * np.pi * frequency, float(time[-1])
    products = _products(samples, time, omega, check)
    read_at = omega
    for _ in range(ITERATIONS):
        if abs(omega - read_at) * reach > SMALL_TURN:
            products, read_at = _products(samples, time, omega, check), omega
        fit = _linear_fit(_moved(products, omega - read_at), samples, time, omega)
        change, information = _frequency_step(fit)
        if abs(change) * reach < 1e-10:
            break
        # a step of more than half a period over the record leads to another line of the spectrum
        omega += float(np.clip(change, -np.pi / (2 * reach), np.pi / (2 * reach)))
    return _Settled(omega / (2 * np.pi), fit.coefficients, fit.inverse, fit.variance, information)


def _products(samples: GateSamples, time: Floats, omega: float, check: Check) -> Floats:
    """Return each trace's sums with (cos, sin, 1, t·cos, t·sin, t²·cos, t²·sin) and itself, (records, channels, 8)."""
    cosine, sine = np.cos(omega * time), np.sin(omega * time)
    records, channels, length = samples.shape
    products = np.empty((records, channels, 8))
    for first, low, block in samples.blocks():
        mine = products[first : first + len(block), low : low + block.shape[1]]
        _fill(block.reshape(-1, length), (time, cosine, sine), mine.reshape(-1, 8), check)
    return products


def _fill(traces: Floats, columns: tuple[Floats, Floats, Floats], products: Floats, check: Check) -> None:
    """Fill in the sums of some traces, on several threads where that is worth it."""
    from pulsewright_analysis.sine_kernels import fill_products

    if traces.size < WORTH_THREADS:
        check()
        fill_products(traces, *columns, products)
        return
    step = max(1, WORTH_THREADS // traces.shape[1])

    def fill(first: int) -> None:
        fill_products(traces[first : first + step], *columns, products[first : first + step])

    for_each(iter(range(0, len(traces), step)), fill, lambda first, nothing: None, check)


def _moved(products: Floats, change: float) -> Floats:
    """Return the sums for an angular frequency `change` higher, to second order, (records, channels, 6).

    The columns that are left are (cos, sin, 1, t·cos, t·sin) and the square.
    """
    cosine, sine, one, t_cosine, t_sine, tt_cosine, tt_sine, square = np.moveaxis(products, -1, 0)
    half = change**2 / 2
    return np.stack(
        [
            cosine - change * t_sine - half * tt_cosine,
            sine + change * t_cosine - half * tt_sine,
            one,
            t_cosine - change * tt_sine,
            t_sine + change * tt_cosine,
            square,
        ],
        axis=-1,
    )


@dataclass(frozen=True)
class _LinearFit:
    """Coefficients of (cos, sin, 1) for each trace, and what a frequency step needs."""

    coefficients: Floats
    gram: Floats
    inverse: Floats
    products: Floats
    variance: Floats


def _linear_fit(products: Floats, samples: GateSamples, time: Floats, omega: float) -> _LinearFit:
    gram = np.zeros((5, 5))
    for first in range(0, len(time), SAMPLES_AT_ONCE):
        some = time[first : first + SAMPLES_AT_ONCE]
        cosine, sine = np.cos(omega * some), np.sin(omega * some)
        basis = np.stack([cosine, sine, np.ones_like(some), some * cosine, some * sine], axis=1)
        gram += basis.T @ basis
    inverse = np.asarray(np.linalg.inv(gram[:3, :3]), dtype=np.float64)
    coefficients = products[..., :3] @ inverse
    residual = products[..., 5] - np.einsum("rck,rck->rc", coefficients, products[..., :3])
    dof = samples.shape[0] * (samples.shape[-1] - 3)
    # the residual is a difference of large sums: a channel that stands still must not count as free of noise
    rounding = ROUNDING * np.mean(products[..., 5], axis=0) / samples.shape[-1]
    variance = np.maximum(np.sum(residual, axis=0) / max(dof, 1), rounding)
    return _LinearFit(coefficients, gram, inverse, products[..., :5], variance)


def _frequency_step(fit: _LinearFit) -> tuple[float, float]:
    """Return the change of angular frequency, radians a second, and its information Σ d²/σ²."""
    a, b = fit.coefficients[..., 0], fit.coefficients[..., 1]
    weight = 1.0 / np.maximum(fit.variance, np.finfo(float).tiny)
    # derivative by ω: t·(b·cos − a·sin), as coefficients of the columns (t·cos, t·sin)
    direction = np.stack([b, -a], axis=-1)
    cross = fit.gram[:3, 3:]
    beyond = fit.gram[3:, 3:] - cross.T @ fit.inverse @ cross
    left = fit.products[..., 3:] - fit.coefficients @ cross
    slope = np.einsum("rck,rck->rc", direction, left)
    curvature = np.einsum("rck,kl,rcl->rc", direction, beyond, direction)
    information = float(np.sum(curvature * weight))
    return float(np.sum(slope * weight)) / max(information, np.finfo(float).tiny), information


def harmonic_distortion(
    samples: Floats | GateSamples, sample_rate: float, frequency: float, check: Check = unchecked
) -> Floats:
    """Return the total harmonic distortion of each channel as a ratio, (channels,) (IEEE Std 1057).

    Parameters
    ----------
    samples : array (records, channels, samples)
        A few records are used, spread evenly.
    sample_rate, frequency : float
        Hertz. Harmonics above half the sample rate are looked for where they are folded to.
    check : callable
        Called at every step; may raise to stop.
    """
    gate = as_gate_samples(samples).middle(LONGEST_SEARCHED)
    records, channels, length = gate.shape
    time = (np.arange(length) - (length - 1) / 2) / sample_rate
    folded = [abs((h * frequency + sample_rate / 2) % sample_rate - sample_rate / 2) for h in HARMONICS]
    lines = [frequency]
    for line in folded:
        # a harmonic folded onto the sine, onto another, or onto 0 cannot be told from it
        if line > sample_rate / length and all(abs(line - other) > 1.5 * sample_rate / length for other in lines):
            lines.append(line)
    columns = [np.ones(length)]
    for line in lines:
        columns += [np.cos(2 * np.pi * line * time), np.sin(2 * np.pi * line * time)]
    basis = np.stack(columns, axis=1)
    if length < 2 * basis.shape[1]:
        return np.full(channels, np.nan)
    inverse = np.linalg.inv(basis.T @ basis)
    chosen = spread(records, MOST_FOR_HARMONICS)
    power = np.zeros((channels, basis.shape[1]))
    for _, channel, trace in traces_of(gate, chosen):
        check()
        coefficients = inverse @ (basis.T @ trace)
        residual = trace - basis @ coefficients
        noise = np.sum(residual**2) / (length - basis.shape[1])
        power[channel] += (coefficients**2 - noise * np.diag(inverse)) / len(chosen)
    sine = power[:, 1] + power[:, 2]
    harmonics = np.maximum(np.sum(power[:, 3:], axis=1), 0.0)
    ratio: Floats = np.sqrt(harmonics / np.where(sine > 0, sine, np.inf))
    return ratio


def _noise_beside(settled: _Settled, samples: GateSamples, sample_rate: float, check: Check) -> Floats:
    """Return the residual's power density around the line over that of white noise of its size, by channel."""
    skipped = before_middle(samples.shape[-1], LONGEST_SEARCHED)
    records, channels, length = samples.middle(LONGEST_SEARCHED).shape
    time = (skipped + np.arange(length) - (samples.shape[-1] - 1) / 2) / sample_rate
    turn = 2 * np.pi * settled.frequency * time
    basis = np.stack([np.cos(turn), np.sin(turn), np.ones(length)])
    window, power = np.hanning(length), np.zeros((channels, length // 2 + 1))
    chosen = spread(records, RECORDS_FOR_NOISE)
    for record, channel, trace in traces_of(samples.middle(LONGEST_SEARCHED), chosen):
        check()
        residual = trace - settled.coefficients[record, channel] @ basis
        power[channel] += np.abs(np.fft.rfft(residual * window)) ** 2
    apart = np.abs(np.arange(power.shape[1]) - settled.frequency * length / sample_rate)
    beside = (apart > NOISE_GUARD) & (apart <= NOISE_BINS)
    beside[[0, -1]] = False
    whole = np.mean(power[:, 1:-1], axis=1)
    if not np.any(beside):
        return np.ones(len(power))
    density = np.mean(power[:, beside], axis=1)
    return np.where(whole > 0, density / np.where(whole > 0, whole, 1.0), 1.0)


def _finished(settled: _Settled, samples: GateSamples, sample_rate: float, check: Check) -> SineFit:
    a, b = settled.coefficients[..., 0], settled.coefficients[..., 1]
    amplitude, inverse = np.hypot(a, b), settled.inverse
    spread = b**2 * inverse[0, 0] + a**2 * inverse[1, 1] - 2 * a * b * inverse[0, 1]
    silent = amplitude <= 0
    phase_variance = np.mean(np.where(silent, 0.0, spread / np.where(silent, 1.0, amplitude) ** 4), axis=0)
    beside = _noise_beside(settled, samples, sample_rate, check)
    phase_variance *= settled.variance * beside
    frequency_u = 0.0
    if settled.information > 0:
        frequency_u = float(np.sqrt(np.mean(beside) / settled.information)) / (2 * np.pi)
    return SineFit(
        frequency=settled.frequency,
        frequency_u=frequency_u,
        amplitude=amplitude,
        phase=np.arctan2(b, a),
        offset=settled.coefficients[..., 2],
        phase_variance=phase_variance,
        residual_rms=np.sqrt(settled.variance),
        explained=_explained(settled),
        distortion=harmonic_distortion(samples, sample_rate, settled.frequency, check),
    )


def _explained(settled: _Settled) -> Floats:
    """Return the share of each channel's variance that the sine explains: one of amplitude A makes up A²/2."""
    power = np.mean(np.hypot(settled.coefficients[..., 0], settled.coefficients[..., 1]) ** 2, axis=0) / 2
    total = power + settled.variance
    return np.where(total > 0, power / np.where(total > 0, total, 1.0), 0.0)


def carries_sine(samples: Floats | GateSamples, sample_rate: float, check: Check = unchecked) -> bool:
    """Return whether most channels carry one common sine, judged on a few records (records, channels, samples).

    Parameters
    ----------
    samples : array (records, channels, samples)
        In the channels' units; at most eight records are used, spread evenly.
    sample_rate : float
        Hertz.
    check : callable
        Called at every step; may raise to stop.
    """
    gate = as_gate_samples(samples)
    records, channels, length = gate.shape
    if length < 16:
        return False
    few = gate.of_records(spread(records, affordable(8, 1, 8 * channels * length)))
    frequency = coarse_frequency(few, sample_rate, check)
    if length > LONG:
        each = HeldSamples(_spread_traces(few.middle(LONGEST_SEARCHED), check)[None])
        if np.max(_explained(_settled(each, sample_rate, frequency, check))) < HINTS_AT_SINE:
            return False
    settled = _settled_on_all(few, sample_rate, frequency, check)  # noise and distortion are not asked for
    if not 0 < settled.frequency < sample_rate / 2 or settled.frequency * length / sample_rate < FEWEST_PERIODS:
        return False
    return bool(np.median(_explained(settled)) > CARRIES_SINE)
