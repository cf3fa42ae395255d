"""What an evidence sheet says, before it is HTML or PDF: one tree of frozen dataclasses. A leaf.

Both forms and the JSON beside them are written from the same tree, so that they cannot say different numbers. Text in
it may come from files, and is never markup.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, Protocol

from pulsewright.quantity import Quantity

SCHEMA = "pulsewright-evidence/1"

Decision = Literal["holds", "fails", "undecided"]


@dataclass(frozen=True)
class Number:
    """A number as a person reads it, and exactly.

    Attributes
    ----------
    text : str
        Rounded, with prefix and unit.
    value : float
        The number behind it, in SI units.
    quantity : Quantity or None
        With its uncertainty, where `text` shows that as well.
    """

    text: str
    value: float
    quantity: Quantity | None = None


@dataclass(frozen=True)
class Interval:
    """Two ends of an interval as a person reads them, and exactly, in SI units."""

    text: str
    low: float
    high: float


Cell = str | Number | Interval
Facts = tuple[tuple[str, Cell], ...]


@dataclass(frozen=True)
class Table:
    """A table with one line of headings.

    Attributes
    ----------
    headings : tuple of str
    rows : tuple of tuple of Cell
    right : tuple of int
        Columns of numbers, which stand to the right.
    wide : tuple of int
        Columns of running text, which take what room is left.
    total : bool
        Whether the last row sums up the others.
    """

    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    right: tuple[int, ...] = ()
    wide: tuple[int, ...] = ()
    total: bool = False


@dataclass(frozen=True)
class Picture:
    """A figure.

    Attributes
    ----------
    number : int
        Counted through the sheet, from 1.
    svg : str
        One SVG element that needs nothing from outside; empty where it cannot be drawn, and the caption says why.
    caption, description : str
        What stands below it, and what it shows in words for whoever cannot see it.
    """

    number: int
    svg: str
    caption: str
    description: str


@dataclass(frozen=True)
class Passage:
    """Sentences under one heading; the serious ones carry a mark."""

    title: str
    sentences: tuple[tuple[str, bool], ...]


@dataclass(frozen=True)
class ClaimPart:
    """One claim with its verdict and the evidence behind it.

    Attributes
    ----------
    number : int
        Counted from 1, in the order of the claims file.
    name, kind, limit : str
        As in the claims file; the limit in words.
    verdict : str
    shape : str
        The sign that goes with the verdict, so that its colour is never the only one.
    measured : Cell
        The value that decides it with its U, or what was counted, in words.
    sentence : str
        What was claimed, and what was seen.
    reason, needed : str
        Why it is undecided; what would decide it. Empty where there is nothing to say.
    facts : pairs of name and Cell
        The measured value with u, k, U, degrees of freedom, 95 % interval, and probability of conformity.
    budget : Table or None
        The terms of u.
    pictures : tuple of Picture
        Those that are shown here.
    shown_in : tuple of int
        Numbers of all figures that belong to it, wherever they are.
    records : str
        The records that speak against it, as a sentence; empty if there are none.
    withheld : str
        The triggers that were withheld on purpose, as a sentence; empty if there are none.
    method : str
        How it was measured, with its source.
    """

    number: int
    name: str
    kind: str
    limit: str
    verdict: Decision
    shape: str
    measured: Cell
    sentence: str = ""
    reason: str = ""
    needed: str = ""
    facts: Facts = ()
    budget: Table | None = None
    pictures: tuple[Picture, ...] = ()
    shown_in: tuple[int, ...] = ()
    records: str = ""
    withheld: str = ""
    method: str = ""


@dataclass(frozen=True)
class Sheet:
    """Everything on one evidence sheet, in its order.

    Attributes
    ----------
    title : str
    date, by : str
        When and by whom it was made; empty to be filled in by hand.
    outcome : str or None
        The worst verdict; None where nothing was claimed.
    summary : str
        The outcome as one sentence.
    session : pairs of name and Cell
        The file, its SHA-256, and what it holds.
    recorder : Table
        Channels by module; neighbours that are set alike stand in one row.
    alerts : Passage or None
        What stands out, though no claim asks for it.
    claims : tuple of ClaimPart
    passages : tuple of Passage
        Findings that no claim asks for.
    pictures : tuple of Picture
        Figures that belong to no claim.
    skews, health : Table or None
        Channel by channel.
    markers, marker_series, levels, pair_notes : Table or None
        Marker pairs in the record that each names, those that follow pulses over all records, level pairs, and what
        was written about any of them.
    left_out, rejected, notes : Table or None
    views : tuple of Picture
        Views that a person added.
    settings : Table
        All of them, each with where it came from.
    methods, cautions : tuple of str
    software : str
        Name and version of the program.
    """

    title: str
    date: str
    by: str
    outcome: Decision | None
    summary: str
    session: Facts
    recorder: Table
    alerts: Passage | None
    claims: tuple[ClaimPart, ...]
    passages: tuple[Passage, ...]
    pictures: tuple[Picture, ...]
    skews: Table | None
    health: Table | None
    markers: Table | None
    marker_series: Table | None
    levels: Table | None
    pair_notes: Table | None
    left_out: Table | None
    rejected: Table | None
    notes: Table | None
    views: tuple[Picture, ...]
    settings: Table
    methods: tuple[str, ...]
    cautions: tuple[str, ...]
    software: str

    @property
    def all_pictures(self) -> tuple[Picture, ...]:
        """Every figure, by number."""
        pictures = [*self.pictures, *self.views, *(p for claim in self.claims for p in claim.pictures)]
        return tuple(sorted(pictures, key=lambda picture: picture.number))


class AnySheet(Protocol):
    """Whatever is set as pages: a frozen dataclass of texts, tables and figures."""

    @property
    def software(self) -> str:
        """Name and version of the program."""

    @property
    def all_pictures(self) -> tuple[Picture, ...]:
        """Every figure, by number."""


def as_plain(value: Any) -> Any:
    """Return a part of a sheet as plain Python, ready for JSON; figures go without their drawing."""
    from dataclasses import fields, is_dataclass

    if isinstance(value, Quantity):
        return value.as_json()
    if isinstance(value, Picture):
        return {"number": value.number, "caption": value.caption, "description": value.description}
    if is_dataclass(value):
        return {f.name: as_plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, tuple | list):
        return [as_plain(item) for item in value]
    return value
