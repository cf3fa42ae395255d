"""The commands that make sessions out of recordings: they parse and call."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from pulsewright_app.cli_options import Text, option
from pulsewright_app.recording_options import takes_recording_options


class Match(StrEnum):
    """How records of several files are matched."""

    NUMBER = "number"
    TIME = "time"


class Slope(StrEnum):
    """Which way a signal crosses a level."""

    RISING = "rising"
    FALLING = "falling"


def simulate(
    recipe: Annotated[Path, typer.Argument(metavar="RECIPE.toml", help="What it is made of.", show_default=False)],
    to: Annotated[Path, option("SESSION.h5", "The session file to make.")],
) -> int:
    """Make a session whose truth is known, and write the truth beside it as SESSION.truth.json.

    The recipe says what is on the channels (pulses that walk, sines, hum, noise) and what is wrong with the recorder
    (skews, missed triggers, slips, clipping, drift, clocks of their own). The same recipe gives the same file.

    Example: pulsewright simulate sample_sessions/practice.recipe.toml --to practice.h5
    """
    from pulsewright_app.simulate_command import run_simulate

    return run_simulate(recipe, to)


def split(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A continuous capture.", show_default=False)],
    to: Annotated[Path, option("SESSION.h5", "The session file to make.")],
    channel: Annotated[str, option("H01", "The channel whose crossings are triggers.")],
    level: Annotated[str, option('"0.5 V"', "The level that is crossed, in that channel's unit.")],
    before: Annotated[str, option('"10 us"', "What a record keeps of the time before its trigger.")],
    after: Annotated[str, option('"1 ms"', "What it keeps of the time from the trigger on.")],
    slope: Annotated[Slope, typer.Option(help="Whether the signal rises through the level, or falls.")] = Slope.RISING,
    hold_off: Annotated[Text, option('"20 us"', "From a trigger on, pass over crossings for so long.")] = None,
    hysteresis: Annotated[
        Text, option('"20 mV"', "How far the signal must go back past the level before it can cross it again.")
    ] = None,
) -> int:
    """Cut a continuous capture into records at level crossings, as a triggered recorder would have taken it.

    The instant of a trigger is found between two samples and stored with its record. Triggers that come while a record
    is being taken, and records that would reach past an end of the capture, are counted and told.

    Example: pulsewright split capture.h5 --to run.h5 --channel H01 --level "0.5 V" --before "10 us" --after "1 ms"
    """
    from pulsewright_app.split_command import run_split

    return run_split(
        file, to, channel=channel, level=level, rising=slope == Slope.RISING, before=before, after=after,
        hold_off=hold_off, hysteresis=hysteresis,
    )  # fmt: skip


@takes_recording_options
def convert(
    to: Annotated[Path, option("FILE", "The file to make: .h5 a session; .npz, .csv, .wav or .sigmf-meta.")],
    files: Annotated[
        list[Path] | None,
        typer.Argument(metavar="FILE…", help="Recordings; several are modules of one session.", show_default=False),
    ] = None,
    module: Annotated[
        list[str] | None,
        option("NAME=FILE", "A module and its file; give it for each."),
    ] = None,
    how: Annotated[Path | None, option("FILE.toml", "These options by name, for modules and for channels.")] = None,
    match: Annotated[Match, typer.Option(help="What tells that records of several files belong together.")] = (
        Match.NUMBER
    ),
    tolerance: Annotated[Text, option('"10 us"', "With --match time: how far apart their triggers may be.")] = None,
    *,
    options: dict[str, str],
) -> int:
    """Bring recordings in as a session, or write a session out.

    A format is found by what is in the file. What is not given is found in the file or guessed; every such assumption
    is printed, with the option that changes it, and kept in the session's notes.

    Example: pulsewright convert capture.csv --to tank.h5 --time-unit ms --record-length 2048
    """
    from pulsewright_app.convert_command import run_convert

    return run_convert(files or [], to, module or [], how, match.value, tolerance, options)


@takes_recording_options
def describe(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A session file, or a recording.", show_default=False)],
    *,
    options: dict[str, str],
) -> int:
    """Say what a session file or a recording holds, whether it is whole, what is odd, and how it would be read.

    Example: pulsewright describe tank_walk.h5
    """
    from pulsewright_app.describe_command import run_describe

    return run_describe(file, options)
