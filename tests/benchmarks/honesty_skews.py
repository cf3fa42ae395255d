"""Cells of the honesty table for skews: by correlation of gated pulses, and by sines of one shared frequency."""

from __future__ import annotations

import numpy as np
from honesty_table import Cell, Floats, Outcome, outcome
from simulated import SIGMAS_AT_HALF, autocovariance_of, density_of, gaussian, noise_of

from pulsewright.quantity import Quantity
from pulsewright.settings import Settings
from pulsewright_analysis.alignment import sine_delays
from pulsewright_analysis.correlation import correlate
from pulsewright_analysis.gates import Gate
from pulsewright_analysis.sine import fit_shared_frequency
from pulsewright_analysis.skew_contrasts import ComparedDelays, contrast
from pulsewright_analysis.type_b import ComparisonErrors
from pulsewright_analysis.validity import CORRELATION_REGION, SINE_REGION

SKEW = 0.3
"""The truth, samples."""
SECOND_AGAINST_FIRST = np.array([-1.0, 1.0])


def cells() -> list[Cell]:
    """Return the cells of both methods, mostly in sessions of 8 records, and a few of more."""
    noises = ("white", "band")
    pulses = [
        Cell("correlation", w, d, n, 8, g)
        for n in noises
        for g in (1.0, 0.2)
        for w in (3, 10, 30, 100, 300)
        for d in (20, 30, 60)
    ]
    pulses += [Cell("correlation", 10, 30, n, r, g) for n in noises for g in (1.0, 0.2) for r in (30, 200)]
    periods = {"white": (3, 10, 30, 100, 300), "band": (5, 10, 30, 100, 300)}
    sines = [Cell("sine", p, d, n, 8) for n in noises for p in periods[n] for d in (20, 30, 60)]
    return pulses + sines + [Cell("sine", 10, 20, n, r) for n in noises for r in (30, 200)]


def run(cell: Cell, runs: int) -> list[Outcome]:
    """Measure the skew of `runs` sessions."""
    rng = np.random.default_rng(cell.seed)
    measure = _by_sine if cell.kind == "sine" else _by_correlation
    error, u, low, high = (np.full(runs, np.nan) for _ in range(4))
    for k in range(runs):
        skew = measure(cell, rng)
        if skew is not None:
            error[k], u[k] = skew.value - SKEW, skew.u
            low[k], high[k] = (end - SKEW for end in skew.interval95)
    bound = _sine_bound(cell) if cell.kind == "sine" else _correlation_bound(cell)
    return [outcome(cell, cell.kind, _inside(cell), runs, (error, u, low, high), bound, bounded=True)]


def _inside(cell: Cell) -> bool:
    if cell.kind == "sine":
        return SINE_REGION.includes(cell.samples, cell.ratio)
    length = _gate_length(cell.samples)
    spectrum = np.fft.fft(gaussian(np.arange(length) - length / 2, cell.samples))
    density = np.maximum(density_of(cell.noise, np.fft.fftfreq(length)), 0.05)
    energy = float(np.sum(np.abs(spectrum) ** 2 / density)) / length * (cell.ratio * min(cell.gain, 1.0)) ** 2
    return CORRELATION_REGION.includes(cell.samples, energy)


def _gate_length(width: float) -> int:
    """Return a gate of about ±4 standard widths."""
    return max(16, int(8 * width / SIGMAS_AT_HALF) + 8)


def _by_correlation(cell: Cell, rng: np.random.Generator) -> Quantity | None:
    length = _gate_length(cell.samples)
    place = np.arange(length) - length / 2 - rng.uniform(-0.5, 0.5, (cell.records, 1, 1))
    clean = gaussian(place - np.array([0.0, SKEW])[:, None], cell.samples) * np.array([1.0, cell.gain])[:, None]
    samples = clean + noise_of(rng, clean.shape, cell.noise) / cell.ratio
    autocovariance = np.tile(autocovariance_of(cell.noise) / cell.ratio**2, (2, 1))
    found = correlate(samples, np.ones((cell.records, 2), dtype=bool), 0, autocovariance, 1.0)
    return None if found.unlike else _combined(found.delay, found.variance)


def _by_sine(cell: Cell, rng: np.random.Generator) -> Quantity | None:
    length = _sine_length(cell)
    phase = rng.uniform(0, 2 * np.pi, (cell.records, 1, 1))
    place = np.arange(length) - np.array([0.0, SKEW])[:, None]
    clean = np.cos(2 * np.pi / cell.samples * place + phase)
    samples = clean + noise_of(rng, clean.shape, cell.noise) / cell.ratio
    fit = fit_shared_frequency(samples, 1.0)
    flags = np.zeros(samples.shape[:2], dtype=bool)
    gate = Gate(np.arange(cell.records), samples, np.zeros(flags.shape), flags, (0.0, float(length)))
    delay, variance, unlike = sine_delays(fit, gate, ~flags, 0)
    return None if unlike else _combined(delay, variance)


def _combined(delay: Floats, variance: Floats) -> Quantity | None:
    one_module = np.zeros(2, dtype=np.int64)
    lasting = ComparisonErrors(one_module, np.zeros(1), np.zeros(1), Settings())
    comparison = ComparedDelays((0, 1), one_module, 0, np.arange(len(delay)), delay, variance, lasting)
    return contrast(comparison, SECOND_AGAINST_FIRST)


def _sine_length(cell: Cell) -> int:
    return 1024 if cell.samples > 100 else 400


def _correlation_bound(cell: Cell) -> float:
    """Return √((σₐ²/Σsₐ′² + σ_b²/Σs_b′²)/records), the density of band-limited noise in its band put in."""
    length = _gate_length(cell.samples)
    place = np.arange(length) - length / 2
    slope = place * (SIGMAS_AT_HALF / cell.samples) ** 2 * gaussian(place, cell.samples)
    density = 2.0 if cell.noise == "band" else 1.0
    one = np.sqrt(density) / cell.ratio / np.sqrt(np.sum(slope**2))
    return float(one * np.hypot(1.0, 1.0 / cell.gain) / np.sqrt(cell.records))


def _sine_bound(cell: Cell) -> float:
    """Return the bound of the difference of two phases, averaged over the phase, over 2πf.

    Offset and both quadratures of each trace are unknown; the shared frequency does not matter at the record's middle.
    """
    length = _sine_length(cell)
    turn = 2 * np.pi / cell.samples * (np.arange(length) - (length - 1) / 2)
    columns = np.stack([np.cos(turn), np.sin(turn), np.ones(length)])
    inverse = np.linalg.inv(columns @ columns.T)
    density = float(density_of(cell.noise, np.array([1 / cell.samples]))[0])
    phase_variance = density * (inverse[0, 0] + inverse[1, 1]) / 2 / cell.ratio**2
    return float(np.sqrt(2 * phase_variance / cell.records) * cell.samples / (2 * np.pi))
