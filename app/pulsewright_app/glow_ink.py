"""The ink of an Afterglow picture: how dense each pixel is by its count, and how inks mix. Knows no toolkit."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.results import Floats
from pulsewright_app.glow import Counts, GlowPicture, Weights
from pulsewright_app.theme import components

FAINTEST = 0.16
"""Share of the full ink where a single record passes, so that none is overlooked."""


def inked(picture: GlowPicture, colours: tuple[str, ...], logarithmic: bool) -> NDArray[np.uint8]:
    """Return the picture in ink: red, green, blue and opacity, (height, width, 4), top row first.

    Parameters
    ----------
    picture : GlowPicture
    colours : tuple of str
        One for each of its inks. Inks over each other mix by their densities.
    logarithmic : bool
        Whether density follows the logarithm of the count; the densest spot has full ink either way.
    """
    amounts = picture.counts if picture.weights is None else picture.weights
    most = max(float(amount.max(initial=0)) for amount in amounts)
    if picture.weights is None and len(picture.counts) == 1:
        return _one_ink(picture.counts[0], int(most), colours[0], logarithmic)
    densities = [_density(amount, most, logarithmic) for amount in amounts]
    total: NDArray[np.float32] = np.sum(densities, axis=0)
    image = np.empty((*total.shape, 4), dtype=np.uint8)
    if len(densities) == 1:
        image[..., :3] = components(colours[0])
        image[..., 3] = np.rint(255 * densities[0])
        return image
    share = np.where(total > 0, total, np.float32(1.0))
    for part in range(3):
        mixed = sum(d * np.float32(components(c)[part]) for d, c in zip(densities, colours, strict=True))
        image[..., part] = np.rint(mixed / share)
    bare = np.ones_like(total)
    for density in densities:
        bare *= 1 - density
    image[..., 3] = np.rint(255 * (1 - bare))
    return image


def _one_ink(counts: Counts, most: int, colour: str, logarithmic: bool) -> NDArray[np.uint8]:
    """Return the picture of one ink, whose pixels are looked up by their counts: a coarse one has no time for more."""
    pixels = np.empty((most + 1, 4), dtype=np.uint8)
    pixels[:, :3] = components(colour)
    pixels[:, 3] = np.rint(255 * _density_by_count(most, logarithmic))
    image: NDArray[np.uint8] = pixels.view(np.uint32)[:, 0][counts].view(np.uint8).reshape(*counts.shape, 4)
    return image


def _density_by_count(most: int, logarithmic: bool) -> NDArray[np.float32]:
    """Return the density of each count from 0 to `most`."""
    if not most:
        return np.zeros(1, dtype=np.float32)
    density = _curve(np.arange(most + 1, dtype=np.float64), most, logarithmic)
    density[0] = 0.0
    return density.astype(np.float32)


def _density(amount: Counts | Weights, most: float, logarithmic: bool) -> NDArray[np.float32]:
    if most <= 0:
        return np.zeros(amount.shape, dtype=np.float32)
    if np.issubdtype(amount.dtype, np.integer):
        looked_up: NDArray[np.float32] = _density_by_count(int(most), logarithmic)[amount]
        return looked_up
    faded: NDArray[np.float32] = _curve(amount, most, logarithmic).astype(np.float32)
    # ink that fades goes on to nothing, and does not end at the faintest tint
    return faded * np.minimum(amount.astype(np.float32), np.float32(1.0))


def _curve(amount: NDArray[Any], most: float, logarithmic: bool) -> Floats:
    share = np.log1p(amount) / math.log1p(most) if logarithmic else amount / most
    curve: Floats = FAINTEST + (1 - FAINTEST) * share
    return curve
