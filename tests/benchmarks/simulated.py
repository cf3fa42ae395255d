"""Signals of known truth for the benchmarks: Gaussian pulses and sines in white and in band-limited noise."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SIGMAS_AT_HALF = 2 * np.sqrt(2 * np.log(2))
"""Width of a Gaussian at 50 %, in standard widths."""
TAPS = 33


def band_filter() -> Floats:
    """Return a low-pass of half the band (cut-off a quarter of the sample rate), of unit noise gain."""
    taps = np.sinc(0.5 * (np.arange(TAPS) - TAPS // 2)) * np.hamming(TAPS)
    filtered: Floats = taps / np.sqrt(np.sum(taps**2))
    return filtered


def noise_of(rng: np.random.Generator, shape: tuple[int, ...], kind: str) -> Floats:
    """Return noise of standard deviation 1 along the last axis, ``white`` or ``band``."""
    if kind == "white":
        return rng.standard_normal(shape)
    size = shape[-1] + TAPS - 1
    white = rng.standard_normal((*shape[:-1], size))
    period = 1 << (size + TAPS - 1).bit_length()
    filtered = np.fft.irfft(np.fft.rfft(white, period) * np.fft.rfft(band_filter(), period), period)
    cut: Floats = filtered[..., TAPS - 1 : size]
    return cut


def autocovariance_of(kind: str) -> Floats:
    """Return the autocovariance of that noise, lag 0 first."""
    taps = band_filter()
    return np.array([1.0]) if kind == "white" else np.correlate(taps, taps, "full")[TAPS - 1 :]


def density_of(kind: str, frequency: Floats) -> Floats:
    """Return the noise's power density over that of white noise, at frequencies in cycles a sample."""
    if kind == "white":
        return np.ones_like(frequency)
    lags = np.arange(TAPS)
    response: Floats = np.abs(np.exp(-2j * np.pi * frequency[..., None] * lags) @ band_filter()) ** 2
    return response


def gaussian(place: Floats, width: float) -> Floats:
    """Return a Gaussian pulse of unit amplitude and that width at 50 %, at places from its centre."""
    result: Floats = np.exp(-((place * SIGMAS_AT_HALF / width) ** 2) / 2)
    return result


def pulse_bounds(width: float, ratio: float, kind: str) -> dict[str, float]:
    """Return the Cramér–Rao bounds of a Gaussian pulse of unknown amplitude, centre and width, samples.

    From the Fisher matrix Σ over frequencies of the derivatives' products over the noise's density (Kay, Fundamentals
    of Statistical Signal Processing: Estimation Theory, 3.11, from memory). Where band-limited noise leaves nearly
    nothing outside its band, the density there counts as a twentieth of white noise's: no recorder is quieter.
    """
    sigma = width / SIGMAS_AT_HALF
    length = int(max(256, 16 * sigma))
    place = np.arange(length) - length / 2
    shape = gaussian(place, width)
    slopes = np.stack([shape, place / sigma**2 * shape, place**2 / sigma**3 * shape])
    spectra = np.fft.fft(slopes, axis=1)
    density = np.maximum(density_of(kind, np.fft.fftfreq(length)), 0.05)
    information = ratio**2 * np.real((spectra / density) @ np.conj(spectra).T) / length
    covariance = np.linalg.inv(information)
    half = SIGMAS_AT_HALF / 2
    leading = np.array([0.0, 1.0, -half])
    position = float(np.sqrt(covariance[1, 1]))
    return {
        "midpoint": position,
        "centroid": position,
        "peak": position,
        "leading": float(np.sqrt(leading @ covariance @ leading)),
        "width": float(2 * half * np.sqrt(covariance[2, 2])),
    }
