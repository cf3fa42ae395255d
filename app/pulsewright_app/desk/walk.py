"""Going from record to record: by hand or by itself, through all of them or only through those that match."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, Signal

from pulsewright_app.desk.document import Document

Records = NDArray[np.int64]

PACES = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""Records a second that playing can step through."""


class Walk(QObject):
    """The current record, and the records that stepping and playing go through.

    Records count from 0 and are kept inside the session; without a session every gesture does nothing.
    """

    record_changed = Signal(int)
    playing_changed = Signal()
    """Playing or not, the pace, the loop."""
    matching_changed = Signal()
    """The records that are walked through are others now: `matching`."""
    filter_changed = Signal()
    """The filter, the records that match it, or whether only those are walked through."""

    def __init__(self, document: Document, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._document = document
        self._pace = 5.0
        self._loop = False
        self._begin_walk()

    def _begin_walk(self) -> None:
        """Start at the first record of a session, through all of them."""
        self._record = 0
        self._playing = False
        self._filter_text = ""
        self._matches: Records | None = None
        self._only_matching = False
        self._passing: Records | None = None
        self._passing_label = ""
        self._matching: Records | None = None

    def _announce_walk(self) -> None:
        self.playing_changed.emit()
        self.filter_changed.emit()
        self.matching_changed.emit()
        self.record_changed.emit(self._record)

    # -- record ---------------------------------------------------------------------------------------------

    @property
    def records(self) -> int:
        """How many records there are to look at."""
        session = self._document.session
        return 0 if session is None else session.records

    @property
    def record(self) -> int:
        """The current record."""
        return self._record

    def go_to(self, record: int) -> None:
        """Make a record the current one, matching or not; a number outside the session counts as its nearest end."""
        if not self.records:
            return
        record = min(max(record, 0), self.records - 1)
        if record != self._record:
            self._record = record
            self.record_changed.emit(record)

    def step(self, by: int = 1) -> None:
        """Go `by` of the walked records on; past the end, back to the start where `loop` is set."""
        if not self.records or not by:
            return
        if self._matching is None:
            target = self._record + by
            self.go_to(target % self.records if self._loop else target)
            return
        count = len(self._matching)
        if not count:
            return
        if by > 0:
            place = int(np.searchsorted(self._matching, self._record, "right")) + by - 1
        else:
            place = int(np.searchsorted(self._matching, self._record, "left")) + by
        place = place % count if self._loop else place
        if 0 <= place < count:
            self.go_to(int(self._matching[place]))

    def first(self) -> None:
        """Go to the first of the walked records."""
        if self._matching is None:
            self.go_to(0)
        elif len(self._matching):
            self.go_to(int(self._matching[0]))

    def last(self) -> None:
        """Go to the last of the walked records."""
        if self._matching is None:
            self.go_to(self.records - 1)
        elif len(self._matching):
            self.go_to(int(self._matching[-1]))

    def at_last(self) -> bool:
        """Return whether no walked record follows the current one."""
        if self._matching is None:
            return self._record >= self.records - 1
        return not len(self._matching) or self._record >= int(self._matching[-1])

    # -- the records that are walked through ----------------------------------------------------------------

    @property
    def matching(self) -> Records | None:
        """The records that stepping, playing and the afterglow go through, rising; None for all."""
        return self._matching

    @property
    def filter_text(self) -> str:
        """The filter as it was written; empty for none."""
        return self._filter_text

    @property
    def matches(self) -> Records | None:
        """The records that match the filter, rising; None where there is no filter."""
        return self._matches

    @property
    def only_matching(self) -> bool:
        """Whether only the records that match the filter are walked through."""
        return self._only_matching

    @property
    def passing(self) -> Records | None:
        """The passing records of a spot, rising, while they are walked through; else None."""
        return self._passing

    @property
    def passing_label(self) -> str:
        """Which spot the passing records belong to, in words."""
        return self._passing_label

    def set_filter(self, text: str, matches: Iterable[int] | None, only: bool | None = None) -> None:
        """Take a filter with the records that match it; None for no filter.

        The text is understood elsewhere (`filtering`), as that takes the findings. `only` says whether to walk through
        these alone from now on, or through all; None leaves that as it is.
        """
        found = None if matches is None else _rising(matches, self.records)
        only = self._only_matching if only is None else only
        if text == self._filter_text and _same(found, self._matches) and only == self._only_matching:
            return
        self._filter_text, self._matches, self._only_matching = text, found, only
        self._choose_walk()
        self.filter_changed.emit()

    def set_only_matching(self, on: bool) -> None:
        """Walk through the records that match the filter only, or through all."""
        if on != self._only_matching:
            self._only_matching = on
            self._choose_walk()
            self.filter_changed.emit()

    def walk_through(self, passing: Iterable[int] | None, label: str = "") -> None:
        """Walk through the passing records of a spot alone, whatever the filter says; None ends that.

        Parameters
        ----------
        passing : iterable of int or None
            The records.
        label : str
            What they are, in words: ``"passing records at 214 µs, 0.31 V"``.
        """
        found = None if passing is None else _rising(passing, self.records)
        if _same(found, self._passing) and label == self._passing_label:
            return
        self._passing, self._passing_label = found, label if found is not None else ""
        self._choose_walk()
        self.filter_changed.emit()

    def _choose_walk(self) -> None:
        matching = self._passing
        if matching is None and self._only_matching:
            matching = self._matches
        if not _same(matching, self._matching):
            self._matching = matching
            self.matching_changed.emit()

    # -- playing --------------------------------------------------------------------------------------------

    @property
    def playing(self) -> bool:
        """Whether the desk steps through the records by itself."""
        return self._playing

    @property
    def pace(self) -> float:
        """Records a second while playing."""
        return self._pace

    @property
    def loop(self) -> bool:
        """Whether stepping past the last record goes on at the first."""
        return self._loop

    def play(self, on: bool) -> None:
        """Start or stop playing; started at the end without a loop, it begins at the first record."""
        walked = self.records if self._matching is None else len(self._matching)
        on = on and walked > 1
        if on and not self._loop and self.at_last():
            self.first()
        if on != self._playing:
            self._playing = on
            self.playing_changed.emit()

    def set_pace(self, pace: float) -> None:
        """Choose how many records a second playing steps through."""
        self._pace = pace
        self.playing_changed.emit()

    def set_loop(self, on: bool) -> None:
        """Choose whether stepping goes round."""
        self._loop = on
        self.playing_changed.emit()

    def tick(self) -> None:
        """Take one step of playing; stop at the end unless it loops."""
        if not self._playing:
            return
        if self.at_last() and not self._loop:
            self.play(False)
        else:
            self.step()


def _rising(records: Iterable[int], count: int) -> Records:
    """Return the records of a session, each once, rising."""
    listed = records if isinstance(records, np.ndarray) else list(records)
    found: Records = np.unique(np.asarray(listed, dtype=np.int64))
    return found[(found >= 0) & (found < count)]


def _same(one: Records | None, other: Records | None) -> bool:
    return one is other if one is None or other is None else bool(np.array_equal(one, other))
