"""The additions of a person with their history: every change is one step, announced by kind, undone and redone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from PySide6.QtCore import QObject, Signal

from pulsewright_app.desk.additions import Additions

_KINDS = (
    "pairs", "levels", "flags", "notes", "left_out", "rejected", "settings", "sheet_views", "sheet_title",
    "claims_text",
)  # fmt: skip
"""The pieces of `Additions` whose changes are announced, each by the signal of its name."""


@dataclass(frozen=True)
class _Step:
    """One undoable step: what it is called, and what stood before it."""

    label: str
    before: Additions
    merge_key: tuple[Any, ...] | None


class History(QObject):
    """What a person added, now and before; the rooms of the document change it through `_change` alone."""

    pairs_changed = Signal()
    levels_changed = Signal()
    flags_changed = Signal()
    notes_changed = Signal()
    left_out_changed = Signal()
    rejected_changed = Signal()
    """The pulses that are rejected."""
    settings_changed = Signal()
    sheet_views_changed = Signal()
    sheet_title_changed = Signal()
    claims_text_changed = Signal()
    history_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._now = Additions()
        self._done: list[_Step] = []
        self._undone: list[_Step] = []

    @property
    def additions(self) -> Additions:
        """Everything that a person added, as one frozen value."""
        return self._now

    def _begin(self, additions: Additions) -> None:
        """Start from these additions, with nothing to undo."""
        self._now, self._done, self._undone = additions, [], []

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
        for name in _KINDS:
            old, new = getattr(before, name, None), getattr(self._now, name)
            if old is not new and old != new:  # two equal mappings are compared place by place, and may be long
                getattr(self, f"{name}_changed").emit()
        self.history_changed.emit()
