"""What lies beneath the current record in Single, and whether the difference is drawn; looked at, never undone."""

from __future__ import annotations

from typing import Literal

from PySide6.QtCore import QObject, Signal

from pulsewright_app.desk.walk import Walk

ReferenceOf = Literal["none", "record", "mean"]
Difference = Literal["off", "apart", "instead"]

DIFFERENCES: tuple[Difference, ...] = ("off", "apart", "instead")
MAGNIFICATIONS = (1, 2, 5, 10, 20, 50, 100)
"""How many times larger than the trace a difference can be drawn."""


class ReferenceOptions(QObject):
    """The reference: none, a record, or the mean over the records that take part; and how the difference is drawn."""

    changed = Signal()

    def __init__(self, walk: Walk) -> None:
        super().__init__(walk)
        self._walk = walk
        self._of: ReferenceOf = "none"
        self._record = 0
        self._difference: Difference = "off"
        self._magnification = 1

    @property
    def of(self) -> ReferenceOf:
        """What the reference is."""
        return self._of

    @property
    def record(self) -> int:
        """The record that is the reference, or was the last time that a record was."""
        return self._record

    def take_record(self, record: int) -> None:
        """Take a record as the reference; a number outside the session counts as its nearest end."""
        if self._walk.records:
            self._set(_of="record", _record=min(max(record, 0), self._walk.records - 1))

    def take_current(self) -> None:
        """Take the current record as the reference."""
        self.take_record(self._walk.record)

    def take_mean(self) -> None:
        """Take the mean over all records that take part as the reference."""
        if self._walk.records:
            self._set(_of="mean")

    def leave(self) -> None:
        """Take the reference away."""
        self._set(_of="none")

    def start_over(self) -> None:
        """Forget the reference: it belongs to a session that is no longer looked at."""
        self._set(_of="none", _record=0)

    @property
    def difference(self) -> Difference:
        """Whether current − reference is drawn: not at all, apart from the trace in the same lane, or in its place."""
        return self._difference

    def set_difference(self, difference: Difference) -> None:
        """Choose where the difference is drawn."""
        self._set(_difference=difference)

    def next_difference(self) -> None:
        """Draw the difference in the next way; with no reference yet, take the current record as one."""
        if self._of == "none":
            self.take_current()
        self.set_difference(DIFFERENCES[(DIFFERENCES.index(self._difference) + 1) % len(DIFFERENCES)])

    @property
    def magnification(self) -> int:
        """How many times larger than the trace the difference is drawn, in lanes."""
        return self._magnification

    def set_magnification(self, times: int) -> None:
        """Choose how many times larger than the trace the difference is drawn."""
        self._set(_magnification=times)

    def _set(self, **values: object) -> None:
        if any(getattr(self, name) != value for name, value in values.items()):
            for name, value in values.items():
                setattr(self, name, value)
            self.changed.emit()
