"""What is found of levels, pulses and polarity: structures of arrays. A leaf, like `results`, which hands them on.

Records, channels and samples count from 0. Times are seconds from the record's trigger.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pulsewright.settings import Position

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Levels:
    """Base and noise of each channel, in its unit.

    Attributes
    ----------
    offset, offset_u : array (channels,)
        Base level and its standard uncertainty.
    noise, noise_u : array (channels,)
        Standard deviation of the base, never below one code/√12, and its standard uncertainty.
    autocovariance : array (channels, lags)
        Of the base, lag 0 first; unit squared.
    base_samples : array (channels,)
        Effective number of samples that the noise rests on.
    wander : array (channels,)
        Standard deviation of the base's slow movement within a record, which is no noise; 0 where the base is flat.
    wander_samples : int array (channels,)
        Samples over which that movement was followed and taken off; 0 where the base is flat.
    """

    offset: Floats
    offset_u: Floats
    noise: Floats
    noise_u: Floats
    autocovariance: Floats
    base_samples: Floats
    wander: Floats = field(default_factory=lambda: np.zeros(1))
    wander_samples: Ints = field(default_factory=lambda: np.zeros(1, dtype=np.int64))


@dataclass(frozen=True)
class Pulses:
    """Every pulse found, one entry each, sorted by record, channel and time.

    Attributes
    ----------
    record, channel, order : int array (pulses,)
        Where it is; `order` counts the pulses of one record and channel.
    polarity : int array (pulses,)
        1 or −1.
    confidence : array (pulses,)
        Excess of the larger excursion over the opposite one, in √2·noise.
    amplitude, amplitude_u : array (pulses,)
        Signed distance from base to top, in the channel's unit.
    width, width_u : array (pulses,)
        Between the 50 % crossings, seconds; NaN where not measurable.
    rise, rise_u, fall, fall_u : array (pulses,)
        Duration of the first and of the second transition in time, 10 % to 90 % of the amplitude (IEEE Std 181),
        seconds; NaN outside the region of validity.
    overshoot, overshoot_u : array (pulses,)
        Share of the amplitude by which the waveform goes beyond its top state after the first transition (IEEE Std
        181); NaN where the pulse has no flat top.
    first_sample, last_sample : int array (pulses,)
        The stretch beyond the return level.
    extreme_sample : int array (pulses,)
        The sample furthest from the base on the polarity's side: where the pulse is when nothing better is known.
    times, times_u : dict of position to array (pulses,)
        The four positions, seconds, NaN where outside the estimator's region of validity; the u is that
        within the record.
    trigger_u : array (pulses,)
        The part of u that all channels of a module share in a record: 0 where the trigger was timed.
    lasting_u : array (pulses,) or None
        The part of the quoted position's u that is the same in every record: cable delay, recorded trigger offset,
        sample clock. None counts as 0.
    clipped, cut, ambiguous : bool array (pulses,)
        Whether a sample of the pulse is clipped; whether the record's end cuts it; whether another of its lobes is as
        large as the largest, so that noise may turn its polarity and move its position, or a neighbour overlaps it so
        far that its own edges cannot be seen.
    position : str
        The position that is quoted.
    reference, reference_u : array (pulses,) or None
        Time, against the trigger, of the reference pulse of the same record and channel, and its u within the record;
        None where positions are counted from the trigger.
    """

    record: Ints
    channel: Ints
    order: Ints
    polarity: Ints
    confidence: Floats
    amplitude: Floats
    amplitude_u: Floats
    width: Floats
    width_u: Floats
    first_sample: Ints
    last_sample: Ints
    extreme_sample: Ints
    times: dict[Position, Floats]
    times_u: dict[Position, Floats]
    trigger_u: Floats
    clipped: Bools
    cut: Bools
    ambiguous: Bools
    position: Position
    reference: Floats | None = None
    reference_u: Floats | None = None
    lasting_u: Floats | None = None
    rise: Floats = field(default_factory=lambda: np.zeros(0))
    rise_u: Floats = field(default_factory=lambda: np.zeros(0))
    fall: Floats = field(default_factory=lambda: np.zeros(0))
    fall_u: Floats = field(default_factory=lambda: np.zeros(0))
    overshoot: Floats = field(default_factory=lambda: np.zeros(0))
    overshoot_u: Floats = field(default_factory=lambda: np.zeros(0))

    @property
    def time(self) -> Floats:
        """The quoted position of each pulse, seconds."""
        return self.times[self.position]

    @property
    def time_u(self) -> Floats:
        """Standard uncertainty of `time`, the shared and the lasting parts included, seconds."""
        return self.time_u_of(slice(None))

    def time_u_of(self, places: Ints | slice) -> Floats:
        """Return `time_u` of some pulses, seconds; of all, it would be a long array.

        Parameters
        ----------
        places : int array or slice
            Indices of the pulses.
        """
        own = np.hypot(self.times_u[self.position][places], self.trigger_u[places])
        combined: Floats = own if self.lasting_u is None else np.hypot(own, self.lasting_u[places])
        return combined

    def walk_time_of(self, places: Ints | slice) -> Floats:
        """Return the quoted position of some pulses from the reference pulse, from the trigger without one, seconds.

        Parameters
        ----------
        places : int array or slice
            Indices of the pulses.
        """
        time: Floats = self.time[places]
        return time if self.reference is None else time - self.reference[places]

    def walk_u_of(self, places: Ints | slice) -> Floats:
        """Return what may differ from record to record in the u of `walk_time_of`, seconds.

        The trigger's part cancels against a reference pulse of the same record.

        Parameters
        ----------
        places : int array or slice
            Indices of the pulses.
        """
        against = self.trigger_u if self.reference_u is None else self.reference_u
        combined: Floats = np.hypot(self.times_u[self.position][places], against[places])
        return combined

    def __len__(self) -> int:
        return len(self.record)

    def where(self, record: int | None = None, channel: int | None = None) -> Ints:
        """Return the indices of the pulses of a record, of a channel, or of both.

        Parameters
        ----------
        record : int, optional
            Number of the record; all if left out.
        channel : int, optional
            Place of the channel; all if left out.

        Returns
        -------
        int array (chosen,)
            Rising.
        """
        # they are sorted by record: a long session must not be looked through for each of its records
        first, stop = (0, len(self)) if record is None else np.searchsorted(self.record, (record, record + 1)).tolist()
        own: Ints = np.arange(first, stop) if channel is None else np.flatnonzero(self.channel[first:stop] == channel)
        if channel is not None:
            own += first
        return own


@dataclass(frozen=True)
class Polarity:
    """The polarity of each record on each channel.

    Attributes
    ----------
    sign : int array (records, channels)
        1, −1, or 0 where no pulse was found.
    confidence : array (records, channels)
        See `Pulses.confidence`.
    opposite : tuple of int
        Channels whose sign is the opposite of the others' in most records.
    """

    sign: Ints
    confidence: Floats
    opposite: tuple[int, ...]


def orders_of(record: Ints, channel: Ints) -> Ints:
    """Return each pulse's number within its record and channel, from 0.

    Parameters
    ----------
    record, channel : int array (pulses,)
        Of each pulse; those of one record and channel stand together.
    """
    fresh = np.ones(len(record), dtype=bool)
    fresh[1:] = (np.diff(record) != 0) | (np.diff(channel) != 0)
    starts = np.maximum.accumulate(np.where(fresh, np.arange(len(record)), 0))
    orders: Ints = np.arange(len(record)) - starts
    return orders
