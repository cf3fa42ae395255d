"""What a person adds to a session: saved with it, and undone step by step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from PySide6.QtCore import QObject, Signal

from pulsewright.review import SheetView
from pulsewright.session import Session
from pulsewright.settings import Settings, layered, parse_setting

Which = Literal[1, 2]


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

    def time(self, which: Which) -> float:
        """Return t₁ or t₂, seconds."""
        return self.t1 if which == 1 else self.t2

    def u(self, which: Which) -> float:
        """Return u(t₁) or u(t₂), seconds."""
        return self.u1 if which == 1 else self.u2


@dataclass(frozen=True)
class Additions:
    """Everything that a person added to one session, at one moment."""

    pairs: tuple[MarkerPair, ...] = ()
    flags: frozenset[int] = frozenset()
    notes: Mapping[int, str] = field(default_factory=dict)
    left_out: Mapping[int, str] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    sheet_views: tuple[SheetView, ...] = ()


@dataclass(frozen=True)
class _Step:
    """One undoable step: what it is called, and what stood before it."""

    label: str
    before: Additions
    merge_key: tuple[Any, ...] | None


class Document(QObject):
    """The session on the desk, with what a person added to it.

    Every method that changes something is one step of `undo`. Changes are announced by one signal for each kind.
    """

    session_changed = Signal()
    pairs_changed = Signal()
    flags_changed = Signal()
    notes_changed = Signal()
    left_out_changed = Signal()
    settings_changed = Signal()
    sheet_views_changed = Signal()
    history_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session: Session | None = None
        self._option: Mapping[str, Any] = {}
        self._claims: Mapping[str, Any] = {}
        self._now = Additions()
        self._done: list[_Step] = []
        self._undone: list[_Step] = []
        self._next_pair = 1

    # -- the session ----------------------------------------------------------------------------------------

    def open(
        self,
        session: Session | None,
        option: Mapping[str, Any] | None = None,
        claims: Mapping[str, Any] | None = None,
        additions: Additions | None = None,
    ) -> None:
        """Put another session on the desk, with nothing to undo yet, and give back the one before.

        Parameters
        ----------
        session : Session or None
            None clears the desk.
        option, claims : mapping of setting name to value
            From the command line, and from the claims file.
        additions : Additions, optional
            What a person added to it earlier.
        """
        before, self._session = self._session, session
        self._option, self._claims = dict(option or {}), dict(claims or {})
        self._now, self._done, self._undone = additions or Additions(), [], []
        self._next_pair = 1 + max((pair.id for pair in self._now.pairs), default=0)
        if before is not None and before is not session:
            before.close()
        self.session_changed.emit()
        self._announce(None)

    def forget_additions(self) -> None:
        """Take everything off the desk that was added earlier: it was added to another session."""
        before, self._now, self._done, self._undone = self._now, Additions(), [], []
        self._announce(before)

    @property
    def session(self) -> Session | None:
        """The session on the desk."""
        return self._session

    @property
    def additions(self) -> Additions:
        """Everything that a person added, as one frozen value."""
        return self._now

    def measuring_settings(self) -> Settings:
        """Return the settings to measure by: command-line option, then review, then claims file, then default.

        Raises
        ------
        SettingError
            For a value that cannot be used.
        """
        review = dict(self._now.settings)
        if self._now.left_out:
            review["left_out"] = tuple(sorted(self._now.left_out))
        return layered(option=self._option, review=review, claims=self._claims)

    @property
    def clock_ppm(self) -> float:
        """The sample clock's standard uncertainty that markers count, parts per million; 0 if it is not known."""
        from pulsewright.errors import PulsewrightError

        try:
            return self.measuring_settings().clock_ppm
        except PulsewrightError:
            return 0.0

    # -- marker pairs ---------------------------------------------------------------------------------------

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
        """Move one marker of a pair.

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
        self._replace_pair(moved, f"Move {pair.name}", ("move", pair_id, which) if merge else None)

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

    # -- records --------------------------------------------------------------------------------------------

    @property
    def flags(self) -> frozenset[int]:
        """The flagged records."""
        return self._now.flags

    @property
    def notes(self) -> Mapping[int, str]:
        """The notes, by record."""
        return self._now.notes

    @property
    def left_out(self) -> Mapping[int, str]:
        """The reasons why records are left out of the measuring, by record."""
        return self._now.left_out

    def flag(self, record: int, on: bool = True) -> None:
        """Flag a record, or take its flag away."""
        flags = self._now.flags | {record} if on else self._now.flags - {record}
        self._change(f"{'Flag' if on else 'Unflag'} record {record}", flags=flags)

    def note(self, record: int, text: str) -> None:
        """Write a note on a record; an empty text takes it away."""
        notes = {**self._now.notes, record: text.strip()}
        if not text.strip():
            del notes[record]
        self._change(f"Note on record {record}", notes=notes)

    def leave_out(self, record: int, reason: str | None) -> None:
        """Leave a record out of the measuring, with the reason; None takes it back in."""
        left_out = dict(self._now.left_out)
        if reason is None:
            left_out.pop(record, None)
        else:
            left_out[record] = reason.strip()
        self._change(f"{'Take in' if reason is None else 'Leave out'} record {record}", left_out=left_out)

    # -- settings -------------------------------------------------------------------------------------------

    @property
    def settings(self) -> Mapping[str, Any]:
        """The settings that a person changed on the desk, as they were written."""
        return self._now.settings

    def set_setting(self, name: str, value: Any) -> None:
        """Change a measuring setting for this session; None gives it back to the claims file or the default.

        Raises
        ------
        SettingError
            For a name that is no setting, or a value that cannot be used; nothing is changed then.
        """
        settings = {key: kept for key, kept in self._now.settings.items() if key != name}
        if value is not None:
            parse_setting(name, value)
            settings[name] = value
        self._change(f"Set {name.replace('_', ' ')}", settings=settings)

    # -- views for the evidence sheet -----------------------------------------------------------------------

    @property
    def sheet_views(self) -> tuple[SheetView, ...]:
        """The views that a person wants in the evidence sheet, in its order."""
        return self._now.sheet_views

    def set_sheet_views(self, views: tuple[SheetView, ...], label: str) -> None:
        """Add, rename, reorder or remove views for the evidence sheet; `label` says which, for undo."""
        self._change(label, sheet_views=views)

    # -- history --------------------------------------------------------------------------------------------

    @property
    def undo_label(self) -> str:
        """What `undo` would take back; empty if there is nothing."""
        return self._done[-1].label if self._done else ""

    @property
    def redo_label(self) -> str:
        """What `redo` would bring back; empty if there is nothing."""
        return self._undone[-1].label if self._undone else ""

    def undo(self) -> None:
        """Take back the last step."""
        self._travel(self._done, self._undone)

    def redo(self) -> None:
        """Bring back the step that was taken back last."""
        self._travel(self._undone, self._done)

    def _travel(self, source: list[_Step], target: list[_Step]) -> None:
        if source:
            step = source.pop()
            target.append(_Step(step.label, self._now, None))
            before, self._now = self._now, step.before
            self._announce(before)

    def _change(self, label: str, merge_key: tuple[Any, ...] | None = None, **pieces: Any) -> None:
        """Take one step: replace pieces of the additions, remember what stood there, announce it."""
        before, self._now = self._now, replace(self._now, **pieces)
        if self._now == before:
            return
        merged = merge_key is not None and bool(self._done) and self._done[-1].merge_key == merge_key
        if not merged:
            self._done.append(_Step(label, before, merge_key))
        self._undone.clear()
        self._announce(before)

    def end_gesture(self) -> None:
        """Say that a drag is over: the next move is a step of its own."""
        if self._done and self._done[-1].merge_key is not None:
            self._done[-1] = replace(self._done[-1], merge_key=None)

    def _announce(self, before: Additions | None) -> None:
        for name in ("pairs", "flags", "notes", "left_out", "settings", "sheet_views"):
            if before is None or getattr(before, name) != getattr(self._now, name):
                getattr(self, f"{name}_changed").emit()
        self.history_changed.emit()
