"""What the Afterglow view accumulates and how; part of what is looked at, never undone."""

from __future__ import annotations

from typing import Literal

import numpy as np
from PySide6.QtCore import QObject, Signal

from pulsewright_analysis.results import Ints
from pulsewright_app.desk.walk import Walk
from pulsewright_app.glow_alignment import AlignedBy

GlowOf = Literal["all", "matching", "stepped"]

HALF_LIVES: tuple[int | None, ...] = (None, 3, 10, 30, 100, 300)
"""Records after which a record has half its ink; None: nothing fades."""


class GlowOptions(QObject):
    """Which records the Afterglow view lays over each other, and how.

    Records that are stepped through are counted here, whether a view paints them or not.
    """

    changed = Signal()

    def __init__(self, walk: Walk) -> None:
        super().__init__(walk)
        self._walk = walk
        self._of: GlowOf = "all"
        self._aligned_by: AlignedBy = "trigger"
        self._half_life: int | None = None
        self._mean = False
        self._current = False
        self._stepped: dict[int, None] = {}
        walk.record_changed.connect(self._count)

    @property
    def of(self) -> GlowOf:
        """All records, those that match the filter, or those stepped through so far."""
        return self._of

    def set_of(self, of: GlowOf) -> None:
        """Choose which records are accumulated."""
        self._set("_of", of)

    @property
    def aligned_by(self) -> AlignedBy:
        """What the records are laid over each other by: trigger, reference pulse or found pulse."""
        return self._aligned_by

    def set_aligned_by(self, by: AlignedBy) -> None:
        """Choose what the records are laid over each other by."""
        self._set("_aligned_by", by)

    @property
    def half_life(self) -> int | None:
        """Records after which a record has half its ink; None: nothing fades."""
        return self._half_life

    def set_half_life(self, records: int | None) -> None:
        """Choose how soon records fade."""
        self._set("_half_life", records)

    @property
    def mean(self) -> bool:
        """Whether the mean and one standard deviation to each side are drawn."""
        return self._mean

    def set_mean(self, on: bool) -> None:
        """Draw the mean and one standard deviation to each side, or not."""
        self._set("_mean", on)

    @property
    def current(self) -> bool:
        """Whether the current record's trace is drawn over the others."""
        return self._current

    def set_current(self, on: bool) -> None:
        """Draw the current record's trace over the others, or not."""
        self._set("_current", on)

    @property
    def stepped(self) -> Ints:
        """The records stepped through so far, each once, in the order of the first time."""
        return np.array([r for r in self._stepped if r < self._walk.records], dtype=np.int64)

    def start_over(self) -> None:
        """Forget the records stepped through, the current one excepted."""
        self._stepped = {self._walk.record: None} if self._walk.records else {}
        self.changed.emit()

    def _count(self, record: int) -> None:
        self._stepped.setdefault(record)

    def _set(self, name: str, value: object) -> None:
        if getattr(self, name) != value:
            setattr(self, name, value)
            self.changed.emit()
