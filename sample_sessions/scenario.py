"""The truth behind the sample sessions: an inspection tank, invented, with every number that the recipe uses.

Twelve hydrophones H01 … H12 lie in one plane; each four share a recorder module. A pinger is driven by
a shock pulse whose sign is turned at each ping. At each ping the drive also goes, attenuated, through a
splitter and twelve equal cables into the test input of every hydrophone's preamplifier: this *test pulse*
reaches all channels at one instant. A flat target plate sends a plane wave back to all hydrophones at
once: the *echo*. A carriage moves the plate further after each ping, over twelve stops, and back to the
first.

Nothing here was measured. Tests compute what a session must show from these numbers; SI units throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.recipe import PulsePlan
from pulsewright_analysis.simulation import pulse_value

Floats = NDArray[np.float64]

CHANNELS = tuple(f"H{number:02d}" for number in range(1, 13))
MODULES = ("M1", "M2", "M3")
CHANNELS_PER_MODULE = 4

SPEED_OF_SOUND = 1482.4
"""In water at 20 °C, m/s (Bilaniuk & Wong 1993; Marczak 1997)."""
STEP = 7.5e-3
"""How far the carriage moves the plate from stop to stop, m."""
STOPS = 12
FIRST_DISTANCE = 0.14
"""From the plane of pinger and hydrophones to the plate at stop 0, m."""
REPEATABILITY = 3e-6
"""Standard deviation of where the carriage stops, fresh at each ping, m."""
DRIVE_TIME = 15e-6
"""From the trigger to the middle of the drive's shock pulse, s."""
CABLE_DELAY = 5.05e-9
"""Of polyethylene coaxial cable, velocity factor 0.66, s/m (handbook value)."""

SAMPLE_RATE = 5e6
PRE_TRIGGER = 200
RECORD_LENGTH = 2048
SCALE = 1.25e-4
"""Volts per code."""
LOWEST_CODE, HIGHEST_CODE = -8192, 8191
PERIOD = 50e-3
PERIOD_JITTER = 2e-6

SENSITIVITY = (1.00, 0.91, 1.08, 0.96, 1.13, 0.88, 1.04, 0.93, 1.15, 0.99, 0.85, 1.06)
"""Of each hydrophone, against the nominal one: the echo has it, the test pulse has not."""
PREAMPLIFIER_GAIN = (1.00, 1.02, 0.98, 1.01, 0.99, 1.03, 1.00, 0.97, 1.01, 1.02, 0.98, 1.00)
"""Of each preamplifier, against the nominal one: echo and test pulse both have it."""
BASE = (1.2e-3, -2.1e-3, 0.4e-3, 3.3e-3, -1.6e-3, 2.4e-3, -0.7e-3, -3.0e-3, 1.9e-3, 0.8e-3, -2.6e-3, 1.1e-3)
"""Each channel's voltage without a signal, V."""


@dataclass(frozen=True)
class ShockPulse:
    """A smooth pulse of one dominant lobe: a·(1 − c·x²)·exp(−x²/2) with x = t/sigma.

    Attributes
    ----------
    amplitude : float
        Height of the dominant lobe, V.
    sigma : float
        Seconds.
    curvature : float
        c: 0 gives a Gaussian, 0.6 side lobes of 2·c·exp(−1 − 1/(2c)) = 19 % on both sides.
    """

    amplitude: float
    sigma: float
    curvature: float = 0.0

    def plan(self, name: str, at: float, **more: Any) -> PulsePlan:
        """Return what a recipe says of this pulse at a time from the trigger, s; its sign turns at each ping."""
        return PulsePlan(name, at, self.amplitude, self.sigma, self.curvature, polarity=(1, -1), **more)

    def value(self, time: Floats) -> Floats:
        """Return volts at `time` from the pulse's middle, seconds, any shape."""
        return pulse_value(self.plan("", 0.0), time)

    def slope(self, time: Floats) -> Floats:
        """Return the derivative of `value`, V/s."""
        x = time / self.sigma
        inner = x * (1 + 2 * self.curvature - self.curvature * x**2)
        result: Floats = -self.amplitude / self.sigma * inner * np.exp(-(x**2) / 2)
        return result


TEST_PULSE = ShockPulse(amplitude=0.8, sigma=0.8e-6)
ECHO = ShockPulse(amplitude=0.45, sigma=1.2e-6, curvature=0.6)


@dataclass(frozen=True)
class Surge:
    """One record in which one hydrophone is `factor` times as sensitive, so that its echo is clipped."""

    channel: str
    record: int
    factor: float


@dataclass(frozen=True)
class LostTrigger:
    """One module's records from `from_record` on belong to the ping after the other modules'."""

    module: str
    from_record: int


@dataclass(frozen=True)
class Tank:
    """One session in the tank.

    Attributes
    ----------
    name, title, notes : str
        Of the file (without its ending), and the text that it carries.
    seed : int
    records : int
    missed : tuple of int
        Pings, counted from 0, that no module recorded.
    lost : LostTrigger or None
    extra_cable : tuple of (str, float)
        Channel, and metres of cable that it has more than the others.
    declared_cable : tuple of (str, float)
        Channel, and metres of `extra_cable` that the file's ``delay`` knows of.
    turned : tuple of str
        Channels wired with the opposite sign.
    noisy : tuple of (str, float)
        Channel, and how many times the usual noise it has.
    surge : Surge or None
    white_noise : float
        Standard deviation, V, before rounding to codes.
    """

    name: str
    title: str
    notes: str
    seed: int
    records: int = 36
    missed: tuple[int, ...] = ()
    lost: LostTrigger | None = None
    extra_cable: tuple[tuple[str, float], ...] = ()
    declared_cable: tuple[tuple[str, float], ...] = ()
    turned: tuple[str, ...] = ()
    noisy: tuple[tuple[str, float], ...] = ()
    surge: Surge | None = None
    white_noise: float = 4e-3

    @property
    def sent(self) -> int:
        """How many pings were sent while any module still recorded."""
        return self.records + len(self.missed) + (self.lost is not None)

    @property
    def after_record(self) -> tuple[int, ...]:
        """The last record before each missed ping."""
        return tuple(ping - 1 - index for index, ping in enumerate(self.missed))

    @property
    def lateness(self) -> Floats:
        """How much later each channel's signals come through its cable, (channels,) in s, declared or not."""
        return CABLE_DELAY * _by_channel(self.extra_cable, 0.0)

    @property
    def delay(self) -> Floats:
        """What the file declares of `lateness`, (channels,) in s."""
        return CABLE_DELAY * _by_channel(self.declared_cable, 0.0)

    @property
    def skew(self) -> Floats:
        """What measuring must find against an ideal channel once ``delay`` is off, (channels,) in s."""
        return self.lateness - self.delay

    @property
    def sign(self) -> Floats:
        """1, or −1 where the channel is wired with the opposite sign, (channels,)."""
        return np.array([-1.0 if name in self.turned else 1.0 for name in CHANNELS])

    @property
    def white(self) -> Floats:
        """Standard deviation of each channel's noise before rounding, (channels,) in V."""
        return self.white_noise * _by_channel(self.noisy, 1.0)

    @property
    def noise_rms(self) -> Floats:
        """Standard deviation of each channel's noise with the rounding to codes in it, (channels,) in V."""
        combined: Floats = np.hypot(self.white, SCALE / np.sqrt(12))
        return combined

    def test_pulse_bound(self, channel: int, span: tuple[float, float]) -> float:
        """Return the least variance of the test pulse's time in one record, s²: σ²/Σs′² (Cramér and Rao).

        Parameters
        ----------
        channel : int
        span : (float, float)
            The stretch whose samples count, seconds from the trigger.
        """
        grid = np.arange(np.ceil(span[0] * SAMPLE_RATE), span[1] * SAMPLE_RATE) / SAMPLE_RATE
        slope = PREAMPLIFIER_GAIN[channel] * TEST_PULSE.slope(grid - DRIVE_TIME)
        return float(self.noise_rms[channel] ** 2 / np.sum(slope**2))


@dataclass(frozen=True)
class SineSession:
    """One sine from a free-running generator, through a splitter into all channels.

    Attributes
    ----------
    name, title, notes, seed, records :
        As for `Tank`.
    record_length, pre_trigger : int
    frequency, amplitude : float
        Hz and V.
    gain : tuple of float
        Of each channel.
    own_skew : tuple of float
        Of each channel within its module, s.
    module_skew : tuple of float
        Of each module, s.
    white_noise : float
        V, before rounding to codes.
    """

    name: str
    title: str
    notes: str
    seed: int
    records: int
    record_length: int
    pre_trigger: int
    frequency: float
    amplitude: float
    gain: tuple[float, ...]
    own_skew: tuple[float, ...]
    module_skew: tuple[float, ...]
    white_noise: float

    @property
    def skew(self) -> Floats:
        """Each channel's lateness, (channels,) in s."""
        total: Floats = np.array(self.own_skew) + np.repeat(self.module_skew, CHANNELS_PER_MODULE)
        return total

    @property
    def noise_rms(self) -> Floats:
        """Standard deviation of each channel's noise with the rounding to codes in it, (channels,) in V."""
        return np.full(len(CHANNELS), np.hypot(self.white_noise, SCALE / np.sqrt(12)))

    def bound(self, channel: int) -> float:
        """Return the least variance of the sine's time in one record at a known frequency, s².

        2σ²/(N·A²·(2πf)²), the Cramér–Rao bound of a phase, over the square of 2πf.
        """
        height = self.amplitude * self.gain[channel]
        phase = 2 * self.noise_rms[channel] ** 2 / (self.record_length * height**2)
        return float(phase / (2 * np.pi * self.frequency) ** 2)


def _by_channel(pairs: tuple[tuple[str, float], ...], otherwise: float) -> Floats:
    """Return one value for each channel from (name, value) pairs."""
    known = dict(pairs)
    return np.array([known.get(name, otherwise) for name in CHANNELS])


def echo_time(distance: Floats | float) -> Floats:
    """Return the middle of the echo, seconds from the trigger: the drive, and twice the way to the plate."""
    return np.asarray(DRIVE_TIME + 2 * np.asarray(distance, dtype=np.float64) / SPEED_OF_SOUND)


INCREMENT = 2 * STEP / SPEED_OF_SOUND
"""How much later the echo comes at each further stop, s: two-way travel of the plate's step."""

_INVENTED = "Invented by sample_sessions/make.py; nothing in it was measured. "

TANK_WALK = Tank(
    name="tank_walk",
    title="Inspection tank: plate walks over twelve stops",
    notes=_INVENTED + "36 pings, none missed. H12 has 1 m more cable, which its delay declares.",
    seed=20260301,
    extra_cable=(("H12", 1.0),),
    declared_cable=(("H12", 1.0),),
)

TANK_FAULTS = Tank(
    name="tank_faults",
    title="Inspection tank: a run with faults",
    notes=_INVENTED + "38 pings sent, 36 recorded. Find the faults.",
    seed=20260302,
    missed=(9, 24),
    extra_cable=(("H07", 2.1),),
    turned=("H10",),
    noisy=(("H05", 8.0),),
    surge=Surge("H02", record=14, factor=3.2),
)

TANK_SLIP = Tank(
    name="tank_slip",
    title="Inspection tank: one module loses a trigger",
    notes=_INVENTED + "37 pings sent; each module stopped after 36 records.",
    seed=20260303,
    lost=LostTrigger("M3", from_record=18),
)

TANK_SINE = SineSession(
    name="tank_sine",
    title="One sine through a splitter into all twelve channels",
    notes=_INVENTED + "The generator runs free: its phase has nothing to do with the trigger.",
    seed=20260304,
    records=128,
    record_length=600,
    pre_trigger=60,
    frequency=210.337e3,
    amplitude=0.9,
    gain=(1.00, 0.97, 1.03, 1.05, 0.96, 1.01, 0.98, 1.04, 1.02, 0.95, 0.99, 1.00),
    own_skew=(
        0.0,
        1.3e-9,
        -2.2e-9,
        0.6e-9,
        -0.9e-9,
        2.7e-9,
        1.1e-9,
        -1.8e-9,
        0.4e-9,
        -3.0e-9,
        2.3e-9,
        -0.5e-9,
    ),
    module_skew=(0.0, 0.0, 5e-9),
    white_noise=3e-3,
)

TANKS = (TANK_WALK, TANK_FAULTS, TANK_SLIP)
NAMES = (*(tank.name for tank in TANKS), TANK_SINE.name)
