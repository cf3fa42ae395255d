"""What is true of a simulated session, as plain numbers to hold a measurement against."""

from __future__ import annotations

from typing import Any

import numpy as np

from pulsewright.recipe import ChannelPlan, Recipe
from pulsewright_analysis.simulation import Simulation

SCHEMA = "pulsewright-truth/1"


def truth_of(simulation: Simulation) -> dict[str, Any]:
    """Return everything that measuring a simulated session ought to find, in SI units.

    Parameters
    ----------
    simulation : Simulation
        Its session has been read to the end, so that its clipped samples are counted.

    Returns
    -------
    dict
        Of numbers, texts, lists and dicts, as JSON has them. Times of pulses are from the record's trigger on an ideal
        channel; a skew is what is left of a channel's lateness when its declared delay is off. Records, samples and
        triggers count from 0. ``after_record`` is the last record kept before a trigger that no module kept, null where
        that was the first.
    """
    recipe = simulation.recipe
    return {
        "schema": SCHEMA,
        "session": {
            "records": recipe.records,
            "record_length": recipe.record_length,
            "pre_trigger": recipe.pre_trigger,
            "sample_rate_hz": recipe.sample_rate,
            "seed": recipe.seed,
        },
        "triggers": _triggers(simulation),
        "modules": [
            {"name": module.name, "late_s": module.late, "clock_ppm": module.clock_ppm} for module in recipe.modules
        ],
        "channels": [_channel(simulation, place, plan) for place, plan in enumerate(recipe.channels)],
        "pulses": [_pulse(simulation, place) for place in range(len(recipe.pulses))],
        "sines": [
            {"frequency_hz": sine.frequency, "amplitude": sine.amplitude, "channels": list(sine.channels)}
            for sine in recipe.sines
        ],
        "hums": [{"frequency_hz": hum.frequency, "amplitude": hum.amplitude} for hum in recipe.hums],
    }


def noise_rms(recipe: Recipe, plan: ChannelPlan) -> float:
    """Return the standard deviation of a channel's noise with the rounding to codes in it, in its unit.

    Parameters
    ----------
    recipe : Recipe
        Its sample type counts: float32 is not rounded to codes.
    plan : ChannelPlan
        The channel.
    """
    rounding = 0.0 if np.dtype(recipe.sample_type).kind == "f" else abs(plan.channel.scale) / np.sqrt(12.0)
    return float(np.hypot(plan.noise, rounding))


def _triggers(simulation: Simulation) -> dict[str, Any]:
    recipe = simulation.recipe
    kept = np.setdiff1d(np.arange(recipe.sent), recipe.trigger.missed)
    return {
        "sent": recipe.sent,
        "period_s": recipe.trigger.period,
        "jitter_s": recipe.trigger.jitter,
        "drift_s_per_trigger": recipe.trigger.drift,
        "missed": [
            {"trigger": number, "after_record": (int(np.searchsorted(kept, number)) - 1) if number > kept[0] else None}
            for number in recipe.trigger.missed
        ],
        "slips": [
            {
                "module": module.name,
                "trigger": number,
                "from_record": int(np.searchsorted(simulation.number[:, place], number)),
                "by": 1,
            }
            for place, module in enumerate(recipe.modules)
            for number in module.lost
            if number not in recipe.trigger.missed
        ],
        "number": _by_module(simulation, simulation.number),
        "time_s": _by_module(simulation, simulation.time[simulation.number]),
        "offset_s": _by_module(simulation, simulation.offset),
    }


def _by_module(simulation: Simulation, values: Any) -> dict[str, list[Any]]:
    """Return a column (records,) for each module."""
    return {module.name: values[:, place].tolist() for place, module in enumerate(simulation.recipe.modules)}


def _channel(simulation: Simulation, place: int, plan: ChannelPlan) -> dict[str, Any]:
    recipe, own = simulation.recipe, plan.channel
    module = recipe.modules[simulation.module_of[place]]
    clipped = simulation.clipped[:, place]
    return {
        "name": own.name,
        "module": own.module,
        "unit": own.unit,
        "skew_s": plan.late + module.late - own.delay,
        "gain": plan.gain,
        "base": plan.base,
        "noise_rms": noise_rms(recipe, plan),
        "drift": plan.drift,
        "clipped_samples": int(clipped.sum()),
        "clipped_records": np.flatnonzero(clipped).tolist(),
    }


def _pulse(simulation: Simulation, place: int) -> dict[str, Any]:
    pulse, times = simulation.recipe.pulses[place], simulation.pulse_time[place]
    signs = np.array(pulse.polarity)[simulation.number % len(pulse.polarity)]
    return {
        "name": pulse.name,
        "at_s": pulse.at,
        "amplitude": pulse.amplitude,
        "sigma_s": pulse.sigma,
        "increment_s": pulse.increment,
        "cycle": pulse.cycle,
        "drift_s_per_trigger": pulse.drift,
        "jitter_s": pulse.jitter,
        "sign": _by_module(simulation, signs),
        "time_s": _by_module(simulation, times[simulation.number]),
    }
