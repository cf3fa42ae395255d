"""Writes the sample sessions: ``python sample_sessions/make.py [--to FOLDER]``.

The numbers of `scenario` become recipes, and the recipes sessions: the same seeds give the same files, byte for byte.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import scenario as tank_scenario
import tank_claims
from scenario import BASE, CHANNELS, CHANNELS_PER_MODULE, MODULES, SineSession, Tank

from pulsewright.recipe import ChannelPlan, ModulePlan, Recipe, SinePlan, TriggerPlan
from pulsewright.recipe import Surge as RecipeSurge
from pulsewright.session import Channel
from pulsewright.store import save_session
from pulsewright_analysis.simulation import Simulation

CREATED = "2026-03-02T09:00:00+00:00"
"""Fixed, so that the recipe gives the same bytes at any time."""
ORIGIN = "sample_sessions/make.py"


def main() -> None:
    """Write all sample sessions and say how large they are."""
    parser = argparse.ArgumentParser(description="Write the sample sessions.")
    parser.add_argument("--to", type=Path, default=Path(__file__).resolve().parent, metavar="FOLDER")
    for path in make(parser.parse_args().to):
        print(f"{path}  {path.stat().st_size / 1e6:.2f} MB")


def make(folder: Path) -> Iterator[Path]:
    """Write every sample session and its claims file into `folder` and yield each path."""
    folder.mkdir(parents=True, exist_ok=True)
    for recipe, name in recipes():
        path = folder / f"{name}.h5"
        save_session(path, Simulation(recipe).session, overwrite=True)
        yield path
    for name, sheet in tank_claims.SHEETS.items():
        path = folder / f"{name}.claims.toml"
        path.write_text(sheet.text, encoding="utf-8", newline="\n")
        yield path


def recipes() -> Iterator[tuple[Recipe, str]]:
    """Yield the recipe of every sample session, with its name."""
    for tank in tank_scenario.TANKS:
        yield tank_recipe(tank), tank.name
    yield sine_recipe(tank_scenario.TANK_SINE), tank_scenario.TANK_SINE.name


def tank_recipe(tank: Tank) -> Recipe:
    """Return what one tank session is made of."""
    lost = {} if tank.lost is None else {tank.lost.module: (tank.lost.from_record,)}
    gains = tank.sign * tank_scenario.PREAMPLIFIER_GAIN
    surge = () if tank.surge is None else (RecipeSurge(tank.surge.channel, tank.surge.record, tank.surge.factor),)
    echo = tank_scenario.ECHO.plan(
        "echo",
        float(tank_scenario.echo_time(tank_scenario.FIRST_DISTANCE)),
        increment=tank_scenario.INCREMENT,
        cycle=tank_scenario.STOPS,
        jitter=2 * tank_scenario.REPEATABILITY / tank_scenario.SPEED_OF_SOUND,
        factors=tuple(zip(CHANNELS, tank_scenario.SENSITIVITY, strict=True)),
        surges=surge,
    )
    return Recipe(
        records=tank.records,
        record_length=tank_scenario.RECORD_LENGTH,
        pre_trigger=tank_scenario.PRE_TRIGGER,
        trigger=_trigger(missed=tank.missed),
        modules=tuple(ModulePlan(name, lost=lost.get(name, ())) for name in MODULES),
        channels=tuple(
            _channel(place, tank.delay[place], tank.lateness[place], gains[place], tank.white[place])
            for place in range(len(CHANNELS))
        ),
        pulses=(tank_scenario.TEST_PULSE.plan("test pulse", tank_scenario.DRIVE_TIME), echo),
        **_texts(tank),
    )


def sine_recipe(sine: SineSession) -> Recipe:
    """Return what the session of the free-running sine is made of."""
    return Recipe(
        records=sine.records,
        record_length=sine.record_length,
        pre_trigger=sine.pre_trigger,
        trigger=_trigger(),
        modules=tuple(ModulePlan(name, late) for name, late in zip(MODULES, sine.module_skew, strict=True)),
        channels=tuple(
            _channel(place, 0.0, sine.own_skew[place], sine.gain[place], sine.white_noise)
            for place in range(len(CHANNELS))
        ),
        sines=(SinePlan(sine.frequency, sine.amplitude),),
        **_texts(sine),
    )


def _texts(session: Tank | SineSession) -> dict[str, Any]:
    """Return what every recipe says alike, and the texts of a session."""
    return {
        "sample_rate": tank_scenario.SAMPLE_RATE,
        "seed": session.seed,
        "title": session.title,
        "notes": session.notes,
        "origin": ORIGIN,
        "created": CREATED,
    }


def _trigger(missed: tuple[int, ...] = ()) -> TriggerPlan:
    return TriggerPlan(tank_scenario.PERIOD, tank_scenario.PERIOD_JITTER, missed=missed)


def _channel(place: int, delay: float, late: float, gain: float, noise: float) -> ChannelPlan:
    channel = Channel(
        name=CHANNELS[place],
        module=MODULES[place // CHANNELS_PER_MODULE],
        scale=tank_scenario.SCALE,
        lowest_code=tank_scenario.LOWEST_CODE,
        highest_code=tank_scenario.HIGHEST_CODE,
        delay=float(delay),
    )
    return ChannelPlan(channel, float(late), float(gain), BASE[place], float(noise))


if __name__ == "__main__":
    main()
