"""A simulation recipe: everything that a simulated session is made of, so that its truth is known."""

from __future__ import annotations

from dataclasses import dataclass

from pulsewright.session import Channel


@dataclass(frozen=True)
class TriggerPlan:
    """When triggers come, and which of them are kept.

    Attributes
    ----------
    period : float
        Seconds.
    jitter : float
        Standard deviation of each trigger's instant, seconds, independent of the others'.
    drift : float
        How much longer each period is than the one before, seconds.
    missed : tuple of int
        Numbers of triggers, from 0, that no module kept.
    timed : bool
        Whether the recorder says how long after its trigger it took its first sample.
    together : bool
        Whether all modules sample at the same instants.
    """

    period: float
    jitter: float = 0.0
    drift: float = 0.0
    missed: tuple[int, ...] = ()
    timed: bool = True
    together: bool = False


@dataclass(frozen=True)
class ModulePlan:
    """A module, and what it does otherwise than the others.

    Attributes
    ----------
    name : str
    late : float
        How much later signals arrive on all its channels, seconds.
    clock_ppm : float
        How much faster its sample clock runs than it says, parts per million.
    lost : tuple of int
        Numbers of triggers, from 0, that it alone did not keep: its later records belong to later triggers.
    """

    name: str
    late: float = 0.0
    clock_ppm: float = 0.0
    lost: tuple[int, ...] = ()


@dataclass(frozen=True)
class ChannelPlan:
    """A channel as the file describes it, and what it is in truth.

    Attributes
    ----------
    channel : Channel
        As it stands in the file, its declared delay included.
    late : float
        How much later signals arrive through it, seconds, declared or not.
    gain : float
        Factor on every signal, below 0 where it is wired with the opposite sign.
    base : float
        Its value without a signal, in its unit.
    noise : float
        Standard deviation of white noise before rounding to codes, in its unit.
    drift : float
        How far its base has moved in the last record, in its unit; it moves evenly from record to record.
    """

    channel: Channel
    late: float = 0.0
    gain: float = 1.0
    base: float = 0.0
    noise: float = 0.0
    drift: float = 0.0


@dataclass(frozen=True)
class Surge:
    """One record in which a pulse is larger on one channel, so that it may be clipped.

    Attributes
    ----------
    channel : str
    record : int
        From 0.
    factor : float
        How many times larger.
    """

    channel: str
    record: int
    factor: float


@dataclass(frozen=True)
class PulsePlan:
    """A pulse in every record: a·(1 − c·x²)·exp(−x²/2) with x = t/sigma.

    Attributes
    ----------
    name : str
    at : float
        Its middle in the record of trigger 0, seconds from the trigger.
    amplitude : float
        Height of its dominant lobe, in the channels' unit.
    sigma : float
        Seconds; without side lobes its width at half height is 2.3548·sigma.
    curvature : float
        c: 0 gives a Gaussian, 0.6 side lobes of 2·c·exp(−1 − 1/(2c)) = 19 % on both sides.
    increment : float
        How much later it comes at each further trigger, seconds.
    cycle : int or None
        Triggers after which it starts over.
    drift : float
        What is added at each further trigger and does not start over, seconds.
    jitter : float
        Standard deviation of its time at each trigger, seconds, the same on all channels.
    polarity : tuple of int
        Signs, 1 or −1, in the order of triggers, over and over.
    factors : tuple of (str, float)
        Channel, and how many times larger the pulse is there; 1 where left out.
    surges : tuple of Surge
    """

    name: str
    at: float
    amplitude: float
    sigma: float
    curvature: float = 0.0
    increment: float = 0.0
    cycle: int | None = None
    drift: float = 0.0
    jitter: float = 0.0
    polarity: tuple[int, ...] = (1,)
    factors: tuple[tuple[str, float], ...] = ()
    surges: tuple[Surge, ...] = ()


@dataclass(frozen=True)
class SinePlan:
    """A sine from a generator that runs free: its phase goes on from trigger to trigger.

    Attributes
    ----------
    frequency : float
        Hertz.
    amplitude : float
        In the channels' unit.
    channels : tuple of str
        The channels that carry it; empty: all.
    """

    frequency: float
    amplitude: float
    channels: tuple[str, ...] = ()


@dataclass(frozen=True)
class HumPlan:
    """What the mains add to every channel at one instant, behind cables and gains.

    Attributes
    ----------
    frequency : float
        Hertz.
    amplitude : float
        In the channels' unit.
    """

    frequency: float
    amplitude: float


@dataclass(frozen=True)
class Recipe:
    """Everything that a simulated session is made of.

    Attributes
    ----------
    records : int
        That each module keeps.
    sample_rate : float
        Hertz, as the file says it.
    record_length, pre_trigger : int
        Samples.
    trigger : TriggerPlan
    modules : tuple of ModulePlan
    channels : tuple of ChannelPlan
        Each on one of `modules`.
    pulses, sines, hums : tuple
        What is added up on every channel.
    seed : int
        Of everything that is drawn; the same recipe gives the same session.
    sample_type : str
        One of `layout.SAMPLE_TYPES`.
    title, notes, origin, created : str
        Text that the file carries.
    """

    records: int
    sample_rate: float
    record_length: int
    pre_trigger: int
    trigger: TriggerPlan
    modules: tuple[ModulePlan, ...]
    channels: tuple[ChannelPlan, ...]
    pulses: tuple[PulsePlan, ...] = ()
    sines: tuple[SinePlan, ...] = ()
    hums: tuple[HumPlan, ...] = ()
    seed: int = 0
    sample_type: str = "int16"
    title: str = ""
    notes: str = ""
    origin: str = ""
    created: str = ""

    def losses(self, module: ModulePlan) -> tuple[int, ...]:
        """Return the numbers of the triggers that a module did not keep, rising.

        Parameters
        ----------
        module : ModulePlan
            One of `modules`.
        """
        return tuple(sorted({*self.trigger.missed, *module.lost}))

    @property
    def sent(self) -> int:
        """How many triggers were sent while any module still recorded."""
        return self.records + max(len(self.losses(module)) for module in self.modules)
