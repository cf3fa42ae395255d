"""What a person adds to one session, as frozen values: the document holds one of them at every moment. No Qt."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
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
        Where the pair was put down, and for which its uncertainties hold.
    intervals : int
        N, the number of equal intervals between the two.
    pulses : (int or None, int or None) or None
        Which found pulses of the channel the two follow from record to record, counted from 0 in the order of time;
        the times are then those of `record`. None for the one that is fixed in time, and for a pair of which both are.
    note : str
        What the person wrote about it; may be empty.
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

    @property
    def ends(self) -> tuple[End, End]:
        """Both markers as they were put down."""
        first, second = self.pulses or (None, None)
        return End(self.t1, self.u1, first), End(self.t2, self.u2, second)

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
        Where the pair was put down, and for which its uncertainties hold.
    note : str
        What the person wrote about it; may be empty.
    """

    id: int
    name: str
    first: PlacedLevel
    second: PlacedLevel
    record: int
    channel: int
    note: str = ""

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
    claims_text: str = ""
    """The claims as they were edited here and not saved into their file; empty where the file counts."""
