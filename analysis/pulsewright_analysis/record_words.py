"""The words that a filter of records may use, and which column of the record table each of them asks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pulsewright_analysis.record_table import RecordTable
from pulsewright_analysis.results import Bools, Floats

CHANNEL_UNIT = "unit of the channel"


@dataclass(frozen=True)
class Measure:
    """A word for something that has a size in every record.

    Attributes
    ----------
    phrase, about : str
        The words, and what they mean.
    value : callable
        Returns the column, NaN where it is not known.
    unit : str
        SI unit; empty for a pure number, `CHANNEL_UNIT` for the channel's own.
    u : callable or None
        Returns the column of standard uncertainties, where there is one.
    whole : bool
        Whether it counts something.
    unsigned : bool
        Whether it is compared by its size, its sign being asked for by other words.
    """

    phrase: str
    about: str
    value: Callable[[RecordTable], Floats]
    unit: str = ""
    u: Callable[[RecordTable], Floats] | None = None
    whole: bool = False
    unsigned: bool = False


@dataclass(frozen=True)
class State:
    """A word for something that a record is, or is not.

    Attributes
    ----------
    phrase, about : str
        The words, and what they mean.
    holds, known : callable
        Return whether it is so, and whether that is known.
    """

    phrase: str
    about: str
    holds: Callable[[RecordTable], Bools]
    known: Callable[[RecordTable], Bools]


@dataclass(frozen=True)
class Texts:
    """A word for what a person wrote on a record.

    Attributes
    ----------
    phrase, about : str
        The words, and what they mean.
    texts : callable
        Returns the texts, by record.
    """

    phrase: str
    about: str
    texts: Callable[[RecordTable], dict[int, str]]


def _always(table: RecordTable) -> Bools:
    return np.ones(len(table), dtype=bool)


def _measured(table: RecordTable) -> Bools:
    return table.measured


def _residual_known(table: RecordTable) -> Bools:
    known: Bools = np.isfinite(table.residual)
    return known


MEASURES: tuple[Measure, ...] = (
    Measure("record", "its number, from 0", lambda t: t.record.astype(np.float64), whole=True),
    Measure("trigger time", "time since the first trigger", lambda t: t.trigger_time, "s"),
    Measure("gap", "time since the trigger of the record before", lambda t: t.gap, "s"),
    Measure(
        "missed before",
        "triggers missing just before it; alone: any",
        lambda t: np.where(t.measured, t.missed_before, np.nan).astype(np.float64),
        whole=True,
    ),
    Measure("confidence", "how surely its polarity is known, in noise", lambda t: t.confidence),
    Measure("first pulse", "time of the first pulse", lambda t: t.first_pulse, "s", lambda t: t.first_pulse_u),
    Measure(
        "residual",
        "distance of its pulse from the fitted place, without sign",
        lambda t: np.abs(t.residual),
        "s",
        lambda t: t.residual_u,
        unsigned=True,
    ),
    Measure(
        "amplitude",
        "of the first pulse, without sign",
        lambda t: np.abs(t.amplitude),
        CHANNEL_UNIT,
        lambda t: t.amplitude_u,
        unsigned=True,
    ),
    Measure("width", "of the first pulse", lambda t: t.width, "s", lambda t: t.width_u),
    Measure(
        "pulses",
        "how many were found",
        lambda t: np.where(t.measured, t.pulses, np.nan).astype(np.float64),
        whole=True,
    ),
)

STATES: tuple[State, ...] = (
    State("flagged", "a person flagged it", lambda t: t.flagged, _always),
    State("noted", "a person wrote a note on it", lambda t: t.noted, _always),
    State("left out", "a person took it out of the measuring", lambda t: t.left_out, _always),
    State("measured", "it took part in the measuring", _measured, _always),
    State("polarity positive", "its pulse goes up", lambda t: t.polarity > 0, _measured),
    State("polarity negative", "its pulse goes down", lambda t: t.polarity < 0, _measured),
    State("polarity none", "it has no pulse", lambda t: t.polarity == 0, _measured),
    State("clipped", "a sample is at an end of the converter", lambda t: t.clipped, _measured),
    State("clipped anywhere", "the same, on any channel", lambda t: t.clipped_anywhere, _measured),
    State("missed before", "triggers are missing just before it", lambda t: t.missed_before > 0, _measured),
    State("early", "its pulse comes before the fitted place", lambda t: t.residual < 0, _residual_known),
    State("late", "its pulse comes after the fitted place", lambda t: t.residual > 0, _residual_known),
    State("out of place", "its pulse leaves the walk", lambda t: t.out_of_place, _measured),
    State("out of step", "a module kept another trigger's record", lambda t: t.out_of_step, _measured),
    State("slips", "a module falls out of step here", lambda t: t.slip != 0, _measured),
    State("repeated", "it has the samples of an earlier record", lambda t: t.repeats >= 0, _measured),
)

TEXTS: tuple[Texts, ...] = (
    Texts("note has", "a note with these words in it", lambda t: dict(t.notes)),
    Texts("reason has", "a reason for leaving it out with these words in it", lambda t: dict(t.reasons)),
)

EXAMPLES = (
    "polarity negative and residual > 3 u",
    "gap > 1.5 ms",
    "flagged or noted",
    "not left out",
    "record 10 .. 40",
    "amplitude < 0.4 V and not clipped",
    'note has "plate"',
)
