"""Writes the sample sessions: ``python sample_sessions/make.py [--to FOLDER]``.

The same seeds give the same files, byte for byte. Every signal is evaluated at the exact time of its sample,
never shifted by whole samples.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import scenario as tank_scenario
import tank_claims
from numpy.typing import NDArray
from scenario import BASE, CHANNELS, CHANNELS_PER_MODULE, MODULES, SAMPLE_RATE, Floats, SineSession, Tank

from pulsewright.session import Channel
from pulsewright.store import write_session

CREATED = "2026-03-02T09:00:00+00:00"
"""Fixed, so that the recipe gives the same bytes at any time."""
ORIGIN = "sample_sessions/make.py"


@dataclass(frozen=True)
class Recording:
    """What goes into one file.

    Attributes
    ----------
    samples : int16 array (records, channels, record length)
    trigger_time, trigger_offset : array (records, modules)
        Seconds.
    delay : array (channels,)
        Seconds that the file declares.
    pre_trigger : int
    """

    samples: NDArray[np.int16]
    trigger_time: Floats
    trigger_offset: Floats
    delay: Floats
    pre_trigger: int


def main() -> None:
    """Write all sample sessions and say how large they are."""
    parser = argparse.ArgumentParser(description="Write the sample sessions.")
    parser.add_argument("--to", type=Path, default=Path(__file__).resolve().parent, metavar="FOLDER")
    for path in make(parser.parse_args().to):
        print(f"{path}  {path.stat().st_size / 1e6:.2f} MB")


def make(folder: Path) -> Iterator[Path]:
    """Write every sample session and its claims file into `folder` and yield each path."""
    folder.mkdir(parents=True, exist_ok=True)
    for tank in tank_scenario.TANKS:
        yield write(folder, tank, record_tank(tank))
    sine = tank_scenario.TANK_SINE
    yield write(folder, sine, record_sine(sine))
    for name, sheet in tank_claims.SHEETS.items():
        path = folder / f"{name}.claims.toml"
        path.write_text(sheet.text, encoding="utf-8", newline="\n")
        yield path


def write(folder: Path, session: Tank | SineSession, recording: Recording) -> Path:
    """Write one session and return its path."""
    path = folder / f"{session.name}.h5"
    channels = [
        Channel(
            name=name,
            module=MODULES[place // CHANNELS_PER_MODULE],
            scale=tank_scenario.SCALE,
            lowest_code=tank_scenario.LOWEST_CODE,
            highest_code=tank_scenario.HIGHEST_CODE,
            delay=float(recording.delay[place]),
        )
        for place, name in enumerate(CHANNELS)
    ]
    write_session(
        path,
        recording.samples,
        channels,
        SAMPLE_RATE,
        recording.pre_trigger,
        modules=MODULES,
        trigger_time=recording.trigger_time,
        trigger_offset=recording.trigger_offset,
        title=session.title,
        notes=session.notes,
        origin=ORIGIN,
        created=CREATED,
        overwrite=True,
    )
    return path


def record_tank(tank: Tank) -> Recording:
    """Play the pings of one tank session and record them."""
    random = np.random.Generator(np.random.PCG64(tank.seed))
    trigger_time = trigger_times(random, tank.sent)
    stops = tank_scenario.stop_of(np.arange(tank.sent))
    strayed = tank_scenario.REPEATABILITY * random.standard_normal(tank.sent)
    distance = tank_scenario.FIRST_DISTANCE + tank_scenario.STEP * stops + strayed
    echo_time = tank_scenario.echo_time(distance)
    polarity = tank_scenario.polarity_of(np.arange(tank.sent))
    pings = tank.pings
    offset = random.uniform(0.0, 1 / SAMPLE_RATE, pings.shape)
    samples = np.empty((tank.records, len(CHANNELS), tank_scenario.RECORD_LENGTH), dtype=np.int16)
    for channel in range(len(CHANNELS)):
        module = channel // CHANNELS_PER_MODULE
        time = sample_times(offset[:, module], tank_scenario.PRE_TRIGGER, tank_scenario.RECORD_LENGTH)
        heard = time - tank.lateness[channel]
        ping = pings[:, module, None]
        echo = sensitivity(tank, channel)[:, None] * tank_scenario.ECHO.value(heard - echo_time[ping])
        pulses = tank_scenario.TEST_PULSE.value(heard - tank_scenario.DRIVE_TIME) + echo
        gain = tank.sign[channel] * tank_scenario.PREAMPLIFIER_GAIN[channel]
        noise = tank.white[channel] * random.standard_normal(time.shape)
        samples[:, channel] = codes(BASE[channel] + gain * polarity[ping] * pulses + noise)
    return Recording(samples, trigger_time[pings], offset, tank.delay, tank_scenario.PRE_TRIGGER)


def record_sine(sine: SineSession) -> Recording:
    """Record the free-running sine; its phase goes on from trigger to trigger."""
    random = np.random.Generator(np.random.PCG64(sine.seed))
    trigger_time = trigger_times(random, sine.records)
    first_phase = random.uniform(0.0, 2 * np.pi)
    offset = random.uniform(0.0, 1 / SAMPLE_RATE, (sine.records, len(MODULES)))
    samples = np.empty((sine.records, len(CHANNELS), sine.record_length), dtype=np.int16)
    # whole cycles up to the trigger are taken off first: a large phase would cost digits
    phase = first_phase + 2 * np.pi * np.fmod(sine.frequency * trigger_time, 1.0)
    for channel in range(len(CHANNELS)):
        time = sample_times(offset[:, channel // CHANNELS_PER_MODULE], sine.pre_trigger, sine.record_length)
        angle = 2 * np.pi * sine.frequency * (time - sine.skew[channel]) + phase[:, None]
        noise = sine.white_noise * random.standard_normal(time.shape)
        samples[:, channel] = codes(BASE[channel] + sine.amplitude * sine.gain[channel] * np.sin(angle) + noise)
    both = np.repeat(trigger_time[:, None], len(MODULES), axis=1)
    return Recording(samples, both, offset, np.zeros(len(CHANNELS)), sine.pre_trigger)


def sensitivity(tank: Tank, channel: int) -> Floats:
    """Return the hydrophone's sensitivity in each record, (records,)."""
    values = np.full(tank.records, tank_scenario.SENSITIVITY[channel])
    if tank.surge is not None and tank.surge.channel == CHANNELS[channel]:
        values[tank.surge.record] *= tank.surge.factor
    return values


def trigger_times(random: np.random.Generator, count: int) -> Floats:
    """Return the time of each ping since the first, (count,) in s."""
    times = tank_scenario.PERIOD * np.arange(count) + tank_scenario.PERIOD_JITTER * random.standard_normal(count)
    since_first: Floats = times - times[0]
    return since_first


def sample_times(offset: Floats, pre_trigger: int, length: int) -> Floats:
    """Return each sample's time from its record's trigger, (records, length) in s."""
    result: Floats = (np.arange(length) - pre_trigger) / SAMPLE_RATE + offset[:, None]
    return result


def codes(volts: Floats) -> NDArray[Any]:
    """Return what the converter makes of the voltages, int16, clipped at its end codes."""
    whole = np.rint(volts / tank_scenario.SCALE)
    return np.clip(whole, tank_scenario.LOWEST_CODE, tank_scenario.HIGHEST_CODE).astype(np.int16)


if __name__ == "__main__":
    main()
