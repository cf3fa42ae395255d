"""What the measurements return: frozen dataclasses, and structures of arrays where there are many of a kind.

Records, channels and samples count from 0. Times are seconds from the record's trigger. A `None` quantity could not be
measured, and a sentence in `Findings.reasons` says why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np

from pulsewright.quantity import Quantity
from pulsewright.settings import Settings
from pulsewright_analysis.pulse_results import Bools as Bools
from pulsewright_analysis.pulse_results import Floats as Floats
from pulsewright_analysis.pulse_results import Ints as Ints
from pulsewright_analysis.pulse_results import Levels as Levels
from pulsewright_analysis.pulse_results import Polarity as Polarity
from pulsewright_analysis.pulse_results import Pulses as Pulses

Witness = Literal["position", "polarity", "time"]


@dataclass(frozen=True)
class SessionSummary:
    """The session that was measured, without its samples.

    Attributes
    ----------
    file : Path or None
        Where it was read from.
    sha256 : str
        Digest of the file; empty for a session in memory.
    records, record_length, pre_trigger : int
        As in the session.
    sample_rate : float
        Hertz.
    channels, modules : tuple of (str, str), tuple of str
        (name, module) of each channel; names of the modules.
    own_times : bool
        Whether each module recorded trigger times of its own.
    delays : tuple of float
        Seconds of cable delay that were taken off the times of each channel; empty where it was not kept.
    one_trigger : bool
        Whether one trigger offset serves all modules.
    """

    file: Path | None
    sha256: str
    records: int
    record_length: int
    pre_trigger: int
    sample_rate: float
    channels: tuple[tuple[str, str], ...]
    modules: tuple[str, ...]
    own_times: bool = False
    delays: tuple[float, ...] = ()
    one_trigger: bool = False


@dataclass(frozen=True)
class MissedTrigger:
    """Triggers that no module kept: the last record before the gap, how many, and which witnesses saw them.

    Attributes
    ----------
    after_record : int
    count : int
    seen_in : tuple of str
        ``position``, ``polarity``, ``time``.
    """

    after_record: int
    count: int
    seen_in: tuple[Witness, ...]


@dataclass(frozen=True)
class Slip:
    """A module whose records from `from_record` on belong to triggers `by` later than the others' records.

    Attributes
    ----------
    module : str
        Its name.
    from_record : int
    by : int
        Triggers.
    """

    module: str
    from_record: int
    by: int


@dataclass(frozen=True)
class Sequence:
    """Whether every trigger was kept, on every module.

    Attributes
    ----------
    channel : int or None
        The channel whose pulses told the sequence.
    increment, start, extent : Quantity or None
        Step from record to record, place of stop 0, and distance from the first stop seen to the last; seconds.
    cycle : int or None
        Records after which the pulse starts over; None where it never does.
    alternates : bool or None
        Whether the polarity changes at each trigger; None where there is no polarity.
    pattern : tuple of int or None
        The polarities that return: ``(1, -1)`` where they alternate, ``(1,)`` where they stay; None where they do
        neither and no pattern is seen.
    period : float or None
        Trigger period that the time witness used, seconds.
    missed : tuple of MissedTrigger
    slips : tuple of Slip
    repeated : tuple of (int, int)
        Records with the same samples: the first, and the one that repeats it.
    sent : int or None
        Triggers sent, as given.
    pulse : int array (records,)
        Index into `Pulses` of the walking pulse on `channel`, −1 where there is none.
    stop : int array (records,)
        Its place on the lattice, −1 where there is none.
    residual, residual_u : array (records,)
        Its distance from the fitted lattice, seconds; NaN where there is none.
    out_of_place : tuple of int
        Records whose pulse leaves the walk while the next ones go on with it.
    said : dict of witness to int array (gaps, modules)
        What each witness alone says is missing between two measured records that follow each other, modulo what it
        can count to; −1 where it does not know.
    in_step : bool array (records, modules)
        Whether the module's record belongs to the same trigger as most modules' records.
    """

    channel: int | None
    increment: Quantity | None
    start: Quantity | None
    extent: Quantity | None
    cycle: int | None
    alternates: bool | None
    pattern: tuple[int, ...] | None
    period: float | None
    missed: tuple[MissedTrigger, ...]
    slips: tuple[Slip, ...]
    repeated: tuple[tuple[int, int], ...]
    sent: int | None
    out_of_place: tuple[int, ...]
    pulse: Ints
    stop: Ints
    residual: Floats
    residual_u: Floats
    in_step: Bools
    said: dict[Witness, Ints] = field(default_factory=dict)

    @property
    def missed_total(self) -> int:
        """How many triggers no module kept."""
        return sum(gap.count for gap in self.missed)


@dataclass(frozen=True)
class ChannelSkew:
    """One channel's time minus the reference's for the same event; positive is later. None: not measured.

    Attributes
    ----------
    channel : int
    skew : Quantity or None
        Seconds.
    records : int
        How many it rests on.
    gain : Quantity or None
        The channel's size over the reference's, without sign.
    """

    channel: int
    skew: Quantity | None
    records: int
    gain: Quantity | None = None


@dataclass(frozen=True)
class ModuleSkew:
    """The second module's time minus the first's, each the mean of its channels; None: not measured.

    Attributes
    ----------
    modules : (str, str)
    skew : Quantity or None
        Seconds.
    rate : Quantity or None
        How much faster the second module's clock runs than the first's, as a ratio less 1: the slope of the skew within
        a record. Known where all channels carry one sine, or where records hold three events or more common to all.
    drift_per_record : Quantity or None
        How the difference changes from record to record, seconds; modules on one clock show none.
    """

    modules: tuple[str, str]
    skew: Quantity | None
    drift_per_record: Quantity | None = None
    rate: Quantity | None = None


@dataclass(frozen=True)
class PairSkew:
    """The second channel's time minus the first's, seconds.

    Attributes
    ----------
    channels : (int, int)
        Places of the first and the second in the session.
    skew : Quantity
        Seconds; positive where the second is later.
    """

    channels: tuple[int, int]
    skew: Quantity


@dataclass(frozen=True)
class GroupComparison:
    """Whether values of several groups differ more between the groups than within them (one-way analysis of variance).

    Attributes
    ----------
    f : float
        Mean square between the groups over that within.
    between_dof, within_dof : int
    probability : float
        Of an F as large or larger where the groups do not differ.
    """

    f: float
    between_dof: int
    within_dof: int
    probability: float


@dataclass(frozen=True)
class Alignment:
    """How the channels line up.

    Attributes
    ----------
    reference : int or None
        The channel that skews are against.
    method : str or None
        ``sine`` or ``correlation``.
    channels : tuple of ChannelSkew
        One for each measured channel, the reference (exactly 0) included.
    within_modules : Quantity or None
        The largest difference between two channels of one module, not negative.
    between_modules : tuple of ModuleSkew
    largest_between : Quantity or None
        The largest of `between_modules` in size, not negative.
    frequency : Quantity or None
        Of the sine, hertz; skews are known modulo its reciprocal.
    span : (float, float) or None
        The stretch that was used, seconds.
    covariance : array (channels, channels) or None
        Of the skews of `channels`, from the noise, seconds squared: all share the reference's.
    modules_against_channels : GroupComparison or None
        Whether skews differ more between modules than within them.
    within_pairs : tuple of PairSkew
        Every two channels of one module; the largest is `within_modules`.
    pairs : tuple of PairSkew
        Every two channels that were measured, whatever their modules.
    """

    reference: int | None
    method: Literal["sine", "correlation"] | None
    channels: tuple[ChannelSkew, ...]
    within_modules: Quantity | None
    between_modules: tuple[ModuleSkew, ...]
    largest_between: Quantity | None
    frequency: Quantity | None
    span: tuple[float, float] | None
    covariance: Floats | None = None
    modules_against_channels: GroupComparison | None = None
    within_pairs: tuple[PairSkew, ...] = ()
    pairs: tuple[PairSkew, ...] = ()


@dataclass(frozen=True)
class Jitter:
    """Scatter of the pulse's time after its progression is taken off.

    Attributes
    ----------
    std, peak_to_peak, drift_per_record : Quantity or None
        Seconds; the measurement's own variance is already subtracted from `std`.
    measurement_std : float or None
        The root mean square of the measurement's own u, seconds.
    expected_peak_to_peak : float or None
        What that many normal draws would show (d₂), seconds.
    shape : str or None
        ``uniform`` over one sample interval, as of a trigger that was not timed, or ``normal``; None where that many
        records do not tell.
    """

    std: Quantity | None
    peak_to_peak: Quantity | None
    drift_per_record: Quantity | None
    measurement_std: float | None
    expected_peak_to_peak: float | None
    shape: Literal["uniform", "normal"] | None = None


@dataclass(frozen=True)
class Timing:
    """Trigger period, and what it leaves between records.

    Attributes
    ----------
    trigger_period, record_duration, dead_time, wait : Quantity or None
        Seconds.
    shortest_period : float or None
        Of all gaps seen, seconds.
    longest_record_samples : int or None
        The longest record that the shortest period and the re-arm time allow.
    gap : array (measured records − 1,)
        Time from each measured record's trigger to that of the next one measured, on the telling channel's module,
        seconds; NaN where a trigger time is not known.
    gap_after : int array (measured records − 1,)
        The record that each of `gap` begins at.
    """

    trigger_period: Quantity | None
    record_duration: Quantity | None
    dead_time: Quantity | None
    wait: Quantity | None
    shortest_period: float | None
    longest_record_samples: int | None
    gap: Floats = field(default_factory=lambda: np.zeros(0))
    gap_after: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


@dataclass(frozen=True)
class ChannelHealth:
    """One channel's offset, noise, clipping, and converter figures where it carries a sine.

    Attributes
    ----------
    channel : int
    offset, noise_rms : Quantity or None
        In the channel's unit.
    clipped_samples : int
    clipped_records : tuple of int
    enob, sinad_db : float or None
        IEEE Std 1057, None where the channel carries no sine.
    thd_db : float or None
        Harmonics two to six against the sine, decibel (IEEE Std 1057); None where there is no sine or none is seen.
    noisy : bool
        Whether its noise stands far above that of the session's other channels.
    """

    channel: int
    offset: Quantity | None
    noise_rms: Quantity | None
    clipped_samples: int
    clipped_records: tuple[int, ...]
    enob: float | None
    sinad_db: float | None
    noisy: bool
    thd_db: float | None = None


@dataclass(frozen=True)
class Findings:
    """Everything that was measured in one session, with the settings it was measured by.

    Attributes
    ----------
    reasons : tuple of str
        A sentence for everything that could not be measured, or that the witnesses disagree about.
    rejected_pulses : int
        How many of the pulses that were found a person had rejected: they are not among `pulses`.
    """

    session: SessionSummary
    settings: Settings
    channels: tuple[int, ...]
    records: Ints
    levels: Levels
    pulses: Pulses
    polarity: Polarity
    sequence: Sequence
    alignment: Alignment
    jitter: Jitter
    timing: Timing
    health: tuple[ChannelHealth, ...]
    reasons: tuple[str, ...] = ()
    rejected_pulses: int = 0

    def channel_name(self, channel: int) -> str:
        """Return the name of a channel by its place in the session.

        Parameters
        ----------
        channel : int
            Its place, from 0.
        """
        return self.session.channels[channel][0]
