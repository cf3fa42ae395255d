"""Sessions whose truth is known, made from a recipe: signals at the exact times of their samples, noise, then codes.

The same recipe gives the same samples, in whatever blocks they are read.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource, Codes, slice_of
from pulsewright.errors import RecipeError
from pulsewright.recipe import ChannelPlan, PulsePlan, Recipe
from pulsewright.session import Session
from pulsewright_analysis.results import Floats, Ints

_DRAWN_AT_ONCE = 1 << 20
"""Random numbers."""


class Simulation:
    """A simulated session, with what was drawn for it.

    Parameters
    ----------
    recipe : Recipe
        What it is made of.

    Raises
    ------
    RecipeError
        If triggers would overtake each other.

    Attributes
    ----------
    recipe : Recipe
        As given.
    number : int array (records, modules)
        The trigger that each record of each module belongs to, from 0.
    time : array (sent,)
        Each trigger's true time since the first one sent, seconds.
    offset : array (records, modules)
        From the trigger to the first sample at or after it, seconds.
    pulse_time : list of array (sent,)
        For each pulse its middle at each trigger, seconds from it, before any channel's lateness.
    sine_phase, hum_phase : array (sines,) and (hums,)
        At the first trigger sent, radians.
    clipped : int array (records, channels)
        Samples at the end codes, of the records that have been read.
    """

    def __init__(self, recipe: Recipe) -> None:
        self.recipe = recipe
        self.number = _numbers(recipe)
        # the order of these draws is part of a recipe's meaning: changing it changes every simulated session
        random = np.random.Generator(np.random.PCG64(recipe.seed))
        self.time = _trigger_times(recipe, random)
        self.pulse_time = [_pulse_times(pulse, recipe.sent, random) for pulse in recipe.pulses]
        self.sine_phase = _phases(len(recipe.sines), random)
        self.hum_phase = _phases(len(recipe.hums), random)
        shape = (recipe.records, 1 if recipe.trigger.together else len(recipe.modules))
        drawn = random.uniform(0.0, 1 / recipe.sample_rate, shape)
        self.offset = np.ascontiguousarray(np.broadcast_to(drawn, self.number.shape))
        self.clipped = np.zeros((recipe.records, len(recipe.channels)), dtype=np.int64)
        self._noise = [_Noise(random, plan.noise, recipe.records, recipe.record_length) for plan in recipe.channels]
        module_of = {module.name: place for place, module in enumerate(recipe.modules)}
        self.module_of = [module_of[plan.channel.module] for plan in recipe.channels]

    @property
    def session(self) -> Session:
        """The session; its samples are computed when they are read, fastest from the first record to the last."""
        recipe = self.recipe
        rate = np.array([1 + 1e-6 * module.clock_ppm for module in recipe.modules])
        seen = self.time[self.number]
        seen = (seen - seen.min()) * rate  # each module counts time by its own clock
        same = recipe.trigger.together and (rate == rate[0]).all() and not any(m.lost for m in recipe.modules)
        offset = None if not recipe.trigger.timed else self.offset[:, 0] if same else self.offset
        return Session(
            _SimulatedSource(self),
            [plan.channel for plan in recipe.channels],
            recipe.sample_rate,
            recipe.pre_trigger,
            modules=[module.name for module in recipe.modules],
            trigger_time=seen[:, 0] if same else seen,
            trigger_offset=offset,
            title=recipe.title,
            notes=recipe.notes,
            origin=recipe.origin,
            created=recipe.created,
        )

    def codes(self, channel: int, first: int, stop: int) -> Codes:
        """Return what the converter makes of a channel in records first … stop − 1, shape (records, record length).

        Parameters
        ----------
        channel : int
            Place of the channel, from 0.
        first, stop : int
            First record, and the one after the last.
        """
        plan = self.recipe.channels[channel]
        value = self._value(plan, channel, first, stop) + self._noise[channel].read(first, stop)
        own = plan.channel
        codes = (value - own.offset) / own.scale
        dtype = np.dtype(self.recipe.sample_type)
        codes = np.clip(np.rint(codes) if dtype.kind != "f" else codes, own.lowest_code, own.highest_code)
        ends = (codes == own.lowest_code) | (codes == own.highest_code)
        self.clipped[first:stop, channel] = np.count_nonzero(ends, axis=1)
        return codes.astype(dtype)

    def _value(self, plan: ChannelPlan, channel: int, first: int, stop: int) -> Floats:
        """Return a channel's value at each of its samples, without noise, (records, record length)."""
        recipe, module = self.recipe, self.module_of[channel]
        own = recipe.modules[module]
        sample = np.arange(recipe.record_length) - recipe.pre_trigger
        rate = recipe.sample_rate * (1 + 1e-6 * own.clock_ppm)
        time = sample / rate + self.offset[first:stop, module, None]
        heard = time - (plan.late + own.late)
        number = self.number[first:stop, module]
        signal = np.zeros_like(heard)
        for pulse, middle in zip(recipe.pulses, self.pulse_time, strict=True):
            height = _signs(pulse, number) * _factors(pulse, plan.channel.name, first, stop)
            signal += height[:, None] * pulse_value(pulse, heard - middle[number, None])
        for sine, phase in zip(recipe.sines, self.sine_phase, strict=True):
            if not sine.channels or plan.channel.name in sine.channels:
                angle = 2 * np.pi * sine.frequency * heard + self._turned(sine.frequency, phase, number)
                signal += sine.amplitude * np.sin(angle)
        value: Floats = plan.base + plan.gain * signal
        for hum, phase in zip(recipe.hums, self.hum_phase, strict=True):
            angle = 2 * np.pi * hum.frequency * time + self._turned(hum.frequency, phase, number)
            value += hum.amplitude * np.sin(angle)
        if plan.drift:
            value += plan.drift * np.arange(first, stop)[:, None] / max(recipe.records - 1, 1)
        return value

    def _turned(self, frequency: float, phase: float, number: Ints) -> Floats:
        """Return the phase of a free-running generator at given triggers, (records, 1), radians."""
        # whole cycles up to the trigger are taken off first: a large phase would cost digits
        result: Floats = phase + 2 * np.pi * np.fmod(frequency * self.time[number, None], 1.0)
        return result


def pulse_value(pulse: PulsePlan, time: Floats) -> Floats:
    """Return a pulse's value at times from its middle, before signs and factors.

    Parameters
    ----------
    pulse : PulsePlan
        Its amplitude, sigma and curvature count.
    time : array
        Seconds, any shape.

    Returns
    -------
    array
        a·(1 − c·x²)·exp(−x²/2) with x = t/sigma, in the amplitude's unit.
    """
    square = (time / pulse.sigma) ** 2
    result: Floats = pulse.amplitude * (1 - pulse.curvature * square) * np.exp(-square / 2)
    return result


def _numbers(recipe: Recipe) -> Ints:
    """Return the trigger of each record of each module, (records, modules)."""
    every = np.arange(recipe.sent)
    kept = [np.setdiff1d(every, recipe.losses(module))[: recipe.records] for module in recipe.modules]
    return np.stack(kept, axis=1)


def _trigger_times(recipe: Recipe, random: np.random.Generator) -> Floats:
    plan, count = recipe.trigger, np.arange(recipe.sent)
    times = plan.period * count + plan.jitter * random.standard_normal(recipe.sent)
    times += plan.drift * count * (count - 1) / 2
    if (np.diff(times) <= 0).any():
        raise RecipeError("trigger: its jitter or drift lets a trigger come before the one before it", "lower them")
    since_first: Floats = times - times[0]
    return since_first


def _pulse_times(pulse: PulsePlan, sent: int, random: np.random.Generator) -> Floats:
    count = np.arange(sent)
    stop = count if pulse.cycle is None else count % pulse.cycle
    times: Floats = pulse.at + pulse.increment * stop + pulse.drift * count
    return times + pulse.jitter * random.standard_normal(sent) if pulse.jitter else times


def _phases(count: int, random: np.random.Generator) -> Floats:
    return random.uniform(0.0, 2 * np.pi, count)


def _signs(pulse: PulsePlan, number: Ints) -> Floats:
    return np.array(pulse.polarity, dtype=np.float64)[number % len(pulse.polarity)]


def _factors(pulse: PulsePlan, channel: str, first: int, stop: int) -> Floats:
    """Return how many times larger a pulse is on a channel in each record, (records,)."""
    factors = np.full(stop - first, dict(pulse.factors).get(channel, 1.0))
    for surge in pulse.surges:
        if surge.channel == channel and first <= surge.record < stop:
            factors[surge.record - first] *= surge.factor
    return factors


class _Noise:
    """One channel's white noise: a stretch of the one stream of random numbers, found again wherever it is read."""

    def __init__(self, random: np.random.Generator, deviation: float, records: int, length: int) -> None:
        self._deviation, self._length = deviation, length
        self._start: Any = random.bit_generator.state
        self._random = np.random.Generator(np.random.PCG64())
        self._mark = (0, self._start)
        self._next = records  # so that the first reading winds back
        if deviation:
            _pass_over(random, records * length)

    def read(self, first: int, stop: int) -> Floats | float:
        if not self._deviation:
            return 0.0
        if first < self._next:
            # the block read last is often read again: it need not be found from the start
            self._next, self._random.bit_generator.state = self._mark if first >= self._mark[0] else (0, self._start)
        _pass_over(self._random, (first - self._next) * self._length)
        self._mark = (first, self._random.bit_generator.state)
        self._next = stop
        drawn: Floats = self._deviation * self._random.standard_normal((stop - first, self._length))
        return drawn


def _pass_over(random: np.random.Generator, count: int) -> None:
    for done in range(0, count, _DRAWN_AT_ONCE):
        random.standard_normal(min(_DRAWN_AT_ONCE, count - done))


class _SimulatedSource(BlockSource):
    """A block source that computes its samples."""

    def __init__(self, simulation: Simulation) -> None:
        self._simulation = simulation

    @property
    def shape(self) -> tuple[int, int, int]:
        recipe = self._simulation.recipe
        return recipe.records, len(recipe.channels), recipe.record_length

    @property
    def dtype(self) -> np.dtype[Any]:
        return np.dtype(self._simulation.recipe.sample_type)

    def part(self, records: range, channels: range, samples: range) -> Codes:
        block = np.empty((len(records), len(channels), len(samples)), self.dtype)
        for place, channel in enumerate(channels):
            block[:, place] = self._simulation.codes(channel, records.start, records.stop)[:, slice_of(samples)]
        return block
