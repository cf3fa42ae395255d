"""What a person does to marker pairs, each one step of undo."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from PySide6.QtCore import QObject

from pulsewright_app.desk.additions import Additions, MarkerPair, Which
from pulsewright_app.desk.history import History


class PairEdits(History):
    """The marker pairs of a document."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._next_pair = 1

    def _begin(self, additions: Additions) -> None:
        super()._begin(additions)
        self._next_pair = 1 + max((pair.id for pair in additions.pairs), default=0)

    @property
    def pairs(self) -> tuple[MarkerPair, ...]:
        """The marker pairs, in the order in which they were put down."""
        return self._now.pairs

    def pair(self, pair_id: int) -> MarkerPair | None:
        """Return the pair with that number, or None."""
        return next((pair for pair in self._now.pairs if pair.id == pair_id), None)

    def add_pair(
        self,
        t1: float,
        t2: float,
        u1: float,
        u2: float,
        record: int,
        channel: int,
        intervals: int = 1,
        name: str = "",
    ) -> MarkerPair:
        """Put down a pair and return it; times and standard uncertainties in seconds."""
        number = self._next_pair
        self._next_pair += 1
        pair = MarkerPair(number, name or f"Pair {number}", t1, t2, u1, u2, record, channel, intervals)
        self._change(f"Add {pair.name}", pairs=(*self._now.pairs, pair))
        return pair

    def move_marker(
        self,
        pair_id: int,
        which: Which,
        time: float,
        u: float,
        *,
        record: int | None = None,
        channel: int | None = None,
        merge: bool = False,
    ) -> None:
        """Move one marker of a pair, which is fixed in time from then on.

        Parameters
        ----------
        pair_id, which : int
            The pair, and 1 or 2.
        time, u : float
            The new time and its standard uncertainty, seconds.
        record, channel : int, optional
            The record and channel that the new uncertainty holds for; as before if left out.
        merge : bool
            True while a drag goes on: the move joins the step before it if that moved the same marker.
        """
        pair = self.pair(pair_id)
        if pair is None:
            return
        moved = replace(
            pair,
            record=pair.record if record is None else record,
            channel=pair.channel if channel is None else channel,
        )
        moved = replace(moved, t1=time, u1=u) if which == 1 else replace(moved, t2=time, u2=u)
        moved = replace(moved, pulses=None)
        self._replace_pair(moved, f"Move {pair.name}", ("move", pair_id, which) if merge else None)

    def follow(self, pair: MarkerPair, pulses: tuple[int, int]) -> None:
        """Let a pair follow two pulses of its channel; its times are those of its record, as they are handed over."""
        self._replace_pair(replace(pair, pulses=pulses), f"Let {pair.name} follow its pulses", None)

    def fix(self, pair: MarkerPair, moving: Which | None = None) -> None:
        """Fix a following pair at the times handed over; `moving` joins this to the move of that marker."""
        key = None if moving is None else ("move", pair.id, moving)
        self._replace_pair(replace(pair, pulses=None), f"Fix {pair.name} in time", key)

    def set_intervals(self, pair_id: int, intervals: int) -> None:
        """Set N, the number of equal intervals between the markers of a pair; below 1 counts as 1."""
        pair = self.pair(pair_id)
        if pair is not None:
            changed = replace(pair, intervals=max(1, intervals))
            self._replace_pair(changed, f"Set the intervals of {pair.name}", None)

    def rename_pair(self, pair_id: int, name: str) -> None:
        """Call a pair something else."""
        pair = self.pair(pair_id)
        if pair is not None and name.strip():
            self._replace_pair(replace(pair, name=name.strip()), f"Rename {pair.name}", None)

    def remove_pair(self, pair_id: int) -> None:
        """Take a pair away."""
        pair = self.pair(pair_id)
        if pair is not None:
            rest = tuple(other for other in self._now.pairs if other.id != pair_id)
            self._change(f"Remove {pair.name}", pairs=rest)

    def _replace_pair(self, pair: MarkerPair, label: str, merge_key: tuple[Any, ...] | None) -> None:
        pairs = tuple(pair if other.id == pair.id else other for other in self._now.pairs)
        self._change(label, merge_key, pairs=pairs)
