"""The markers that a person put down: times and levels, two of each making a pair."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, Protocol, TypeVar

from pulsewright.minus import quoted

STRICT = {"extra": "forbid", "strict": True, "allow_inf_nan": False}

LevelName = Literal["", "sample", "base", "10 %", "50 %", "90 %", "top"]
"""What a level marker was put on; empty where the hand left it."""

SHARES: dict[str, float] = {"base": 0.0, "10 %": 0.1, "50 %": 0.5, "90 %": 0.9, "top": 1.0}
"""Each level of a pulse as a share of its amplitude, from the base (IEEE Std 181)."""


@dataclass(frozen=True)
class Marker:
    """A time that a person marked.

    Attributes
    ----------
    time, u : float
        Seconds from the trigger, and its standard uncertainty.
    pair : int
        Number of the pair it belongs to.
    name : str
        What the person calls the pair; may be empty.
    channel : str or None
        The channel it was put on; None for all.
    record : int or None
        The record it was put on; None for all.
    intervals : int
        N, the number of equal intervals between the markers of its pair.
    pulse : int or None
        Which found pulse of its channel it follows from record to record, counted from 0 in the order of time; `time`
        and `u` are then those of `record`. None for a marker that is fixed in time.
    note : str
        What the person wrote about the pair; may be empty.
    """

    time: float
    u: float
    pair: int = 0
    name: str = ""
    channel: str | None = None
    record: int | None = None
    intervals: int = 1
    pulse: int | None = None
    note: str = ""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT

    def __post_init__(self) -> None:
        if not (math.isfinite(self.time) and math.isfinite(self.u)) or self.u < 0:
            raise ValueError("a marker needs a finite time, and a u from 0 up")
        if self.intervals < 1:
            raise ValueError("a pair of markers has at least 1 interval")
        if self.pulse is not None and self.pulse < 0:
            raise ValueError(f"{self.pulse} is not the number of a pulse")
        check_records(() if self.record is None else (self.record,))


@dataclass(frozen=True)
class LevelMarker:
    """A value of one channel that a person marked.

    Attributes
    ----------
    value, u : float
        In the channel's unit, and its standard uncertainty, the accuracy of the channel's scale apart.
    pair : int
        Number of the pair it belongs to; level pairs are counted by themselves.
    channel : str
        The channel it was put on.
    record : int
        The record it was put on.
    name, note : str
        What the person calls the pair, and wrote about it; may be empty.
    level : str
        What it was put on: a ``sample``, the ``base``, a share of a pulse's amplitude such as ``50 %``, the ``top``;
        empty where the hand left it.
    pulse : int or None
        The pulse that `level` is a level of, counted from 0 in the order of time; None for the base, which belongs to
        the channel, and where it is no pulse's level.
    base_u : float
        The part of `u` that is the base's, which two levels of one pulse share.
    """

    value: float
    u: float
    pair: int
    channel: str
    record: int
    name: str = ""
    note: str = ""
    level: LevelName = ""
    pulse: int | None = None
    base_u: float = 0.0

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and 0 <= self.base_u <= self.u):
            raise ValueError("a level marker needs a finite value, and a u from 0 up that holds its base_u")
        if self.pulse is not None and self.pulse < 0:
            raise ValueError(f"{self.pulse} is not the number of a pulse")
        check_records((self.record,))


def check_records(records: Iterable[int]) -> None:
    """Refuse numbers that no record can have.

    Parameters
    ----------
    records : iterable of int

    Raises
    ------
    ValueError
        If one is below 0.
    """
    for record in records:
        if record < 0:
            raise ValueError(f"{quoted(record)} is not the number of a record")


class _OfAPair(Protocol):
    @property
    def pair(self) -> int: ...


_Kind = TypeVar("_Kind", bound=_OfAPair)


def by_pair(markers: Iterable[_Kind]) -> dict[int, list[_Kind]]:
    """Return markers by the number of their pair, in the order in which the pairs are met.

    Parameters
    ----------
    markers : iterable of Marker or of LevelMarker
    """
    found: dict[int, list[_Kind]] = {}
    for marker in markers:
        found.setdefault(marker.pair, []).append(marker)
    return found


def pairs_of(markers: Iterable[_Kind]) -> list[tuple[_Kind, _Kind]]:
    """Return the pairs that markers make, in a person's order; markers that make no pair are passed over.

    Parameters
    ----------
    markers : iterable of Marker or of LevelMarker
    """
    return [(pair[0], pair[1]) for pair in by_pair(markers).values() if len(pair) == 2]
