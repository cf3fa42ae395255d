"""What a person does to marker pairs and level pairs, each one step of undo."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from PySide6.QtCore import QObject

from pulsewright_analysis.level_markers import PlacedLevel
from pulsewright_app.desk.additions import Additions, AnyPair, LevelPair, MarkerPair, Which
from pulsewright_app.desk.history import History


class PairEdits(History):
    """The marker pairs and the level pairs of a document; a number belongs to one pair of either kind."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._next_pair = 1

    def _begin(self, additions: Additions) -> None:
        super()._begin(additions)
        taken = [pair.id for pair in additions.pairs] + [pair.id for pair in additions.levels]
        self._next_pair = 1 + max(taken, default=0)

    def _new_number(self) -> int:
        self._next_pair += 1
        return self._next_pair - 1

    @property
    def pairs(self) -> tuple[MarkerPair, ...]:
        """The marker pairs, in the order that the report has them in."""
        return self._now.pairs

    @property
    def levels(self) -> tuple[LevelPair, ...]:
        """The level pairs, likewise."""
        return self._now.levels

    def pair(self, pair_id: int) -> MarkerPair | None:
        """Return the marker pair with that number, or None."""
        return next((pair for pair in self._now.pairs if pair.id == pair_id), None)

    def level_pair(self, pair_id: int) -> LevelPair | None:
        """Return the level pair with that number, or None."""
        return next((pair for pair in self._now.levels if pair.id == pair_id), None)

    def either_pair(self, pair_id: int) -> AnyPair | None:
        """Return the pair of either kind with that number, or None."""
        return self.pair(pair_id) or self.level_pair(pair_id)

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
        number = self._new_number()
        pair = MarkerPair(number, name or f"Pair {number}", t1, t2, u1, u2, record, channel, intervals)
        self._change(f"Add {pair.name}", pairs=(*self._now.pairs, pair))
        return pair

    def add_level_pair(self, first: PlacedLevel, second: PlacedLevel, record: int, channel: int) -> LevelPair:
        """Put down a level pair and return it."""
        number = self._new_number()
        pair = LevelPair(number, f"Levels {number}", first, second, record, channel)
        self._change(f"Add {pair.name}", levels=(*self._now.levels, pair))
        return pair

    def move_level(
        self, pair_id: int, which: Which, level: PlacedLevel, *, record: int | None = None, merge: bool = False
    ) -> None:
        """Move one level of a pair; `record` and `merge` as in `move_marker`."""
        pair = self.level_pair(pair_id)
        if pair is not None:
            moved = pair.put(which, level, pair.records[which - 1] if record is None else record)
            self._replace_pair(moved, f"Move {pair.name}", ("move", pair_id, which) if merge else None)

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
        """Move one marker of a pair, which is fixed in time from then on; the other one goes on as it was.

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
        before = pair.places[which - 1]
        moved = pair.put(which, before[0] if record is None else record, before[1] if channel is None else channel)
        moved = replace(moved, t1=time, u1=u) if which == 1 else replace(moved, t2=time, u2=u)
        moved = replace(moved, pulses=without(pair.pulses, which))
        self._replace_pair(moved, f"Move {pair.name}", ("move", pair_id, which) if merge else None)

    def follow(self, pair: MarkerPair, pulses: tuple[int | None, int | None]) -> None:
        """Let a pair follow one pulse or two, each of its own channel, from the times handed over on."""
        what = "its pulses" if None not in pulses else "one pulse"
        self._replace_pair(replace(pair, pulses=pulses), f"Let {pair.name} follow {what}", None)

    def fix(self, pair: MarkerPair, which: Which | None = None) -> None:
        """Fix a following pair, or one of its markers, at the times handed over."""
        pulses = None if which is None else without(pair.pulses, which)
        self._replace_pair(replace(pair, pulses=pulses), f"Fix {pair.name} in time", None)

    def stand(self, pair: MarkerPair, moving: Which) -> None:
        """Take on the times at which a following pair stands, as part of the move of one of its markers that comes."""
        self._replace_pair(pair, f"Move {pair.name}", ("move", pair.id, moving))

    def set_intervals(self, pair_id: int, intervals: int) -> None:
        """Set N, the number of equal intervals between the markers of a pair; below 1 counts as 1."""
        pair = self.pair(pair_id)
        if pair is not None:
            changed = replace(pair, intervals=max(1, intervals))
            self._replace_pair(changed, f"Set the intervals of {pair.name}", None)

    def rename_pair(self, pair_id: int, name: str) -> None:
        """Call a pair of either kind something else."""
        pair = self.either_pair(pair_id)
        if pair is not None and name.strip():
            self._replace_pair(replace(pair, name=name.strip()), f"Rename {pair.name}", None)

    def note_pair(self, pair_id: int, text: str) -> None:
        """Write a note about a pair of either kind; an empty text takes it away."""
        pair = self.either_pair(pair_id)
        if pair is not None:
            self._replace_pair(replace(pair, note=text.strip()), f"Note on {pair.name}", None)

    def remove_pair(self, pair_id: int) -> None:
        """Take a pair of either kind away."""
        pair = self.either_pair(pair_id)
        if pair is not None:
            kind = _kind(pair)
            rest = tuple(other for other in getattr(self._now, kind) if other.id != pair_id)
            self._change(f"Remove {pair.name}", **{kind: rest})

    def shift_pair(self, pair_id: int, by: int) -> None:
        """Move a pair before the one ahead of it (−1), or behind the one after it (1), among those of its kind."""
        pair = self.either_pair(pair_id)
        if pair is None:
            return
        pairs = list(getattr(self._now, _kind(pair)))
        place = pairs.index(pair)
        pairs.insert(min(max(place + by, 0), len(pairs) - 1), pairs.pop(place))
        self._change(f"Move {pair.name} {'left' if by < 0 else 'right'}", **{_kind(pair): tuple(pairs)})

    def _replace_pair(self, pair: AnyPair, label: str, merge_key: tuple[Any, ...] | None) -> None:
        kind = _kind(pair)
        pairs = tuple(pair if other.id == pair.id else other for other in getattr(self._now, kind))
        self._change(label, merge_key, **{kind: pairs})


def _kind(pair: AnyPair) -> str:
    """Return the piece of the additions that a pair belongs to."""
    return "pairs" if isinstance(pair, MarkerPair) else "levels"


def without(pulses: tuple[int | None, int | None] | None, which: Which) -> tuple[int | None, int | None] | None:
    """Return the pulses that a pair goes on following when one of its markers does no longer."""
    first, second = pulses or (None, None)
    left = (None, second) if which == 1 else (first, None)
    return None if left == (None, None) else left
