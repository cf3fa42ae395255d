"""Where each estimator's uncertainty holds: declared here, used to answer "not measured", checked by simulation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Region:
    """The region of validity of one estimator on a pulse.

    Attributes
    ----------
    fewest_samples : float
        Width at 50 %, samples; of transition durations and overshoot, the transition's own duration.
    smallest_ratio : float
        Amplitude over noise.
    """

    fewest_samples: float
    smallest_ratio: float

    def holds(self, width: NDArray[np.float64], ratio: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Return for which pulses, by width in samples and amplitude over noise, the estimator's u holds."""
        with np.errstate(invalid="ignore"):
            inside: NDArray[np.bool_] = (width >= self.fewest_samples) & (ratio >= self.smallest_ratio)
        return inside

    def includes(self, width: float, ratio: float) -> bool:
        """Return whether pulses of that width and ratio are inside by a margin that noise does not cross."""
        return width >= 1.1 * self.fewest_samples and ratio >= 1.1 * self.smallest_ratio


PULSE_REGIONS: dict[str, Region] = {
    "midpoint": Region(2.5, 23.0),
    "leading": Region(2.5, 23.0),
    "centroid": Region(2.5, 15.0),
    "peak": Region(8.0, 48.0),
    "width": Region(2.5, 23.0),
    "transition": Region(2.0, 60.0),
    "overshoot": Region(3.0, 45.0),
}
"""Found by simulation of Gaussian pulses in white and in band-limited noise: see tests/benchmarks/honesty.py."""
