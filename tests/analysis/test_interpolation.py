"""The interpolation between samples is the windowed sinc that it is said to be."""

import numpy as np

from pulsewright_analysis.interpolation_kernels import TAPS, add_taps, interpolated

SAMPLES = 60


def plain_weights(position: float) -> np.ndarray:
    """Return the share of each sample, by NumPy's sinc and the raised cosine as their definitions say."""
    first = int(np.floor(position)) - TAPS + 1
    places = np.arange(first, first + 2 * TAPS)
    apart = position - places
    taps = np.where(np.abs(apart) < TAPS, np.sinc(apart) * np.cos(0.5 * np.pi * apart / TAPS) ** 2, 0.0)
    weights = np.zeros(SAMPLES)
    np.add.at(weights, np.clip(places, 0, SAMPLES - 1), taps)
    return weights


def test_value_and_weights_are_those_of_the_definition():
    random = np.random.default_rng(4)
    values = random.normal(size=SAMPLES)
    whole = np.arange(float(SAMPLES))
    for position in np.concatenate([random.uniform(-3, SAMPLES + 3, 3000), whole, whole + 0.5, whole + 1e-9]):
        expected = plain_weights(position)
        found = np.zeros(SAMPLES)
        add_taps(position, 2.0, found)
        assert np.allclose(found, 2.0 * expected, atol=1e-12)
        assert np.isclose(interpolated(values, position), expected @ values / np.sum(expected), atol=1e-12)
