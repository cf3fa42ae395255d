"""Where each estimator's uncertainty holds: declared here, used to answer "not measured", checked by simulation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.long_columns import LongColumn, blocks_of
from pulsewright_analysis.pulse_results import Pulses


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
        """Return for which pulses, by width in samples and amplitude over noise, the estimator's u holds.

        Parameters
        ----------
        width : array (pulses,)
            What `fewest_samples` limits, samples; NaN is outside.
        ratio : array (pulses,)
            Amplitude over noise; NaN is outside.

        Returns
        -------
        bool array (pulses,)
        """
        with np.errstate(invalid="ignore"):
            inside: NDArray[np.bool_] = (width >= self.fewest_samples) & (ratio >= self.smallest_ratio)
        return inside

    def includes(self, width: float, ratio: float) -> bool:
        """Return whether pulses of that width and ratio are inside by a margin that noise does not cross.

        Parameters
        ----------
        width : float
            What `fewest_samples` limits, samples.
        ratio : float
            Amplitude over noise.
        """
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
"""Found by simulation of Gaussian pulses in white and in band-limited noise: see tests/benchmarks/honesty.py.

They hold for edges that a recorder's own filter keeps within half the sample rate. A corner or a jump that no filter
rounded holds more: no interpolation knows where it lay, and no sample tells. See `fast_edges`.
"""

FAST_EDGE = 10.0
UNROUNDED = 0.2
"""An unfiltered edge of so many samples from 10 % to 90 % may be off by this share of one over them, samples: by
simulation of one-pole edges (rms 0.1 sample at 2.2 samples, 0.04 at 4.4, 0.02 at 8.8) and of straight ones (0.03 at
1.6, 0.01 at 5)."""
STANDS_OUT = 2.0


def fast_edges(pulses: Pulses, interval: float) -> list[str]:
    """Return a sentence where edges are so fast that their u holds only if a filter rounded them.

    Parameters
    ----------
    pulses : Pulses
    interval : float
        Sample interval, seconds.

    Returns
    -------
    list of str
        Empty where what an unrounded edge may be off by lies within twice the positions' u, or pulses are told by
        their centroid or peak, which hang on no edge.
    """
    if pulses.position not in ("midpoint", "leading"):
        return []
    fast, known = LongColumn(), 0
    for some in blocks_of(len(pulses.rise)):
        samples, u = pulses.rise[some] / interval, pulses.times_u[pulses.position][some]
        with np.errstate(invalid="ignore", divide="ignore"):
            doubtful = (samples < FAST_EDGE) & (UNROUNDED / samples > STANDS_OUT * u / interval)
        fast.add(samples[doubtful])
        known += int(np.count_nonzero(np.isfinite(samples)))
    durations = fast.whole()
    if 2 * len(durations) <= known:
        return []
    duration, off = float(np.median(durations)), float(np.median(UNROUNDED / durations))
    return [
        f"The pulses rise within {duration:.1f} samples. Unless the recorder's filter limits them to half the sample "
        f"rate, their positions may be off by {off:.2g} of a sample interval, which u does not hold: sample faster, "
        "or tell them by their centroid."
    ]


@dataclass(frozen=True)
class SkewRegion:
    """The region of validity of a skew.

    Attributes
    ----------
    fewest_samples : float
        A pulse's width at 50 %, or a period of the sine, samples.
    smallest : float
        Of a sine, amplitude over noise; of a pulse, its energy in one record over the noise's density, Σs²/σ² where the
        noise is white, in the weaker of the two channels.
    margin : float
        Noise moves what is read of that strength across the edge up to this many times it.
    """

    fewest_samples: float
    smallest: float
    margin: float

    def includes(self, samples: float, strength: float) -> bool:
        """Return whether a signal is inside by a margin that noise does not cross.

        Parameters
        ----------
        samples : float
            What `fewest_samples` limits, samples.
        strength : float
            What `smallest` limits, a pure number.
        """
        return samples >= 1.1 * self.fewest_samples and strength >= self.margin * self.smallest


CORRELATION_REGION = SkewRegion(2.5, 20.0, 2.5)
"""30 dB at the peak of three samples, and a fifth of that amplitude in the other channel, are an energy of 90, and of
half that in noise that fills half the band."""
SINE_REGION = SkewRegion(2.2, 7.0, 1.25)


@dataclass(frozen=True)
class RunRegion:
    """The region of validity of a quantity that a run of records tells.

    Attributes
    ----------
    fewest_records : int
        Errors independent from record to record.
    fewest_correlated : int
        Where one record's error goes on in the next.
    smallest_ratio : float
        Of an increment, step over scatter.
    """

    fewest_records: int
    fewest_correlated: int
    smallest_ratio: float = 0.0

    def includes(self, records: int, ratio: float = np.inf, correlated: bool = False) -> bool:
        """Return whether a run of that many records, of that ratio, is inside.

        Parameters
        ----------
        records : int
            Length of the run.
        ratio : float
            What `smallest_ratio` limits.
        correlated : bool
            Whether one record's error goes on in the next.
        """
        fewest = self.fewest_correlated if correlated else self.fewest_records
        return records >= fewest and ratio >= self.smallest_ratio


INCREMENT_REGION = RunRegion(6, 200, 6.0)
PERIOD_REGION = RunRegion(3, 3)
"""For a source whose single periods scatter. Of one that keeps even time the interval is wider than it need be: few
records cannot tell the two apart, and the wide one is safe for both."""


@dataclass(frozen=True)
class JitterRegion:
    """The region of validity of a jitter's value; its interval, from χ², holds beyond.

    Attributes
    ----------
    fewest_records : int
    most_of_root : float
        Largest share of observed variance in the jitter's own, over the root of the degrees of freedom: a root
        of a variance from which another was taken reads low where little is left of it.
    """

    fewest_records: int
    most_of_root: float

    def includes(self, records: int, ratio: float) -> bool:
        """Return whether jitter of `ratio` times the measurement's own, in that many records, is inside.

        Parameters
        ----------
        records : int
            How many tell the jitter.
        ratio : float
            The jitter over the standard deviation that the measurement itself adds; above 0.
        """
        return records >= self.fewest_records and 1 + ratio**-2 <= self.most_of_root * float(np.sqrt(records - 2))


JITTER_REGION = JitterRegion(8, 0.45)


def too_few_in_place(records: int, needed: int) -> str:
    """Say, as a clause, that a quantity which a walking pulse tells has too few records for it.

    Parameters
    ----------
    records : int
        Records with a pulse in the place that its walk leads to.
    needed : int
        How many the quantity takes at least.
    """
    have = "no record has" if records == 0 else "only 1 record has" if records == 1 else f"only {records} records have"
    return f"{have} a pulse in its expected place; at least {needed} are needed"
