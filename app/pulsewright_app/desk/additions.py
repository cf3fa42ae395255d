"""What a person adds to one session, as frozen values: the document holds one of them at every moment. No Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from pulsewright.review import SheetView
from pulsewright_analysis.level_markers import PlacedLevel
from pulsewright_analysis.standing_pairs import End

Which = Literal[1, 2]
PulsePlace = tuple[int, int, int]
"""Record, channel and a sample of a pulse."""


@dataclass(frozen=True)
class MarkerPair:
    """Two time lines with their standard uncertainties, as they were put down.

    Attributes
    ----------
    id : int
        Number that stays the same while the pair is moved; counts from 1.
    name : str
        What the drawing and the table call it.
    t1, t2, u1, u2 : float
        Seconds from the trigger, and standard uncertainties.
    record, channel : int
        Where the first marker was put down, and for which its uncertainty holds.
    intervals : int
        N, the number of equal intervals between the two.
    pulses : (int or None, int or None) or None
        Which found pulse of its own channel each follows from record to record, counted from 0 in the order of time;
        its time is then that of its record. None for the one that is fixed in time, and for a pair of which both are.
    note : str
        What the person wrote about it; may be empty.
    second_place : (int, int) or None
        Record and channel of the second marker; None where they are those of the first.
    """

    id: int
    name: str
    t1: float
    t2: float
    u1: float
    u2: float
    record: int
    channel: int
    intervals: int = 1
    pulses: tuple[int | None, int | None] | None = None
    note: str = ""
    second_place: tuple[int, int] | None = None

    @property
    def places(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """Record and channel of both markers."""
        first = (self.record, self.channel)
        return first, self.second_place or first

    @property
    def one_channel(self) -> bool:
        """Whether both markers were put down on one channel."""
        return self.places[0][1] == self.places[1][1]

    def put(self, which: Which, record: int, channel: int) -> MarkerPair:
        """Return the pair with one marker put down on another record or channel; the other one stays where it is."""
        places = [*self.places]
        places[which - 1] = (record, channel)
        (record, channel), second = places
        return replace(self, record=record, channel=channel, second_place=None if second == places[0] else second)

    @property
    def ends(self) -> tuple[End, End]:
        """Both markers as they were put down."""
        first, second = self.pulses or (None, None)
        (_, one), (_, other) = self.places
        return End(self.t1, self.u1, first, one), End(self.t2, self.u2, second, other)

    def time(self, which: Which) -> float:
        """Return t₁ or t₂, seconds."""
        return self.t1 if which == 1 else self.t2

    def u(self, which: Which) -> float:
        """Return u(t₁) or u(t₂), seconds."""
        return self.u1 if which == 1 else self.u2


@dataclass(frozen=True)
class LevelPair:
    """Two levels of one channel, as they were put down.

    Attributes
    ----------
    id : int
        As in `MarkerPair`: no pair of either kind has the number of another.
    name : str
        What the drawing and the table call it.
    first, second : PlacedLevel
        In the channel's unit.
    record, channel : int
        Where the first level was put down, and for which its uncertainty holds; both are of one channel.
    note : str
        What the person wrote about it; may be empty.
    second_record : int or None
        The record of the second level; None where it is that of the first.
    """

    id: int
    name: str
    first: PlacedLevel
    second: PlacedLevel
    record: int
    channel: int
    note: str = ""
    second_record: int | None = None

    @property
    def records(self) -> tuple[int, int]:
        """The records that the two were put down on."""
        return self.record, self.record if self.second_record is None else self.second_record

    def put(self, which: Which, level: PlacedLevel, record: int) -> LevelPair:
        """Return the pair with one level put down anew; the other one stays where it is."""
        first, second = (record, self.records[1]) if which == 1 else (self.records[0], record)
        moved = replace(self, record=first, second_record=None if second == first else second)
        return replace(moved, first=level) if which == 1 else replace(moved, second=level)

    def level(self, which: Which) -> PlacedLevel:
        """Return the first level, or the second."""
        return self.first if which == 1 else self.second


AnyPair = MarkerPair | LevelPair


@dataclass(frozen=True)
class Additions:
    """Everything that a person added to one session, at one moment."""

    pairs: tuple[MarkerPair, ...] = ()
    levels: tuple[LevelPair, ...] = ()
    flags: frozenset[int] = frozenset()
    notes: Mapping[int, str] = field(default_factory=dict)
    left_out: Mapping[int, str] = field(default_factory=dict)
    rejected: Mapping[PulsePlace, str] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    sheet_views: tuple[SheetView, ...] = ()
    sheet_title: str = ""
    """What the evidence sheet is called; empty where the claims file or the session says it."""
    claims_text: str = ""
    """The claims as they were edited here and not saved into their file; empty where the file counts."""
