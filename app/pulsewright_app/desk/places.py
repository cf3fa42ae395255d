"""Where records stand in the order of triggers: a place for each record, and places left open for missed triggers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pulsewright.session import Session
from pulsewright_analysis.results import Findings, Ints, MissedTrigger, Slip
from pulsewright_app.wording import count

WIDEST_GAP = 3
"""A longer gap takes up this many places, with its count written in it."""


@dataclass(frozen=True)
class Gap:
    """Missed triggers: the first place left open, how many places, how many triggers, and the record before."""

    first: int
    places: int
    count: int
    after_record: int


class Places:
    """The places of a session's records.

    Parameters
    ----------
    records : int
        How many there are.
    missed : sequence of MissedTrigger
        Triggers that no module kept.
    """

    def __init__(self, records: int, missed: Sequence[MissedTrigger] = ()) -> None:
        self.missed = tuple(missed)
        wide = np.zeros(records, dtype=np.int64)
        for gap in missed:
            if 0 <= gap.after_record < records - 1:
                wide[gap.after_record + 1] += min(gap.count, WIDEST_GAP)
        self.place = np.arange(records) + np.cumsum(wide)
        self.total = int(self.place[-1]) + 1 if records else 0
        self.gaps = tuple(
            Gap(int(self.place[gap.after_record]) + 1, min(gap.count, WIDEST_GAP), gap.count, gap.after_record)
            for gap in missed
            if 0 <= gap.after_record < records - 1
        )
        self._firsts = np.array([gap.first for gap in self.gaps], dtype=np.int64)

    def gaps_drawn(self, start: float, pitch: float, least: float) -> list[tuple[float, float]]:
        """Return where the gaps are drawn, first and length in pixels; those on one pixel are one.

        Parameters
        ----------
        start, pitch : float
            Pixel of the first place, and pixels of a place.
        least : float
            Pixels of the shortest.
        """
        long = np.array([gap.places for gap in self.gaps], dtype=np.float64) * pitch
        starts = start + self._firsts * pitch
        if pitch < 1:
            _, chosen = np.unique(np.rint(starts), return_index=True)
            starts, long = starts[chosen], long[chosen]
        return list(zip(starts.tolist(), np.maximum(long, least).tolist(), strict=True))

    def missed_told(self, pitch: float, room: float) -> list[tuple[float, int]]:
        """Return counts of missed triggers to be written: at which place, and how many.

        Where two would lie closer than `room` pixels, they are told together, in the middle of their gaps.
        """
        groups: list[tuple[float, float, int]] = []
        """First place, end and count of each."""
        for gap in self.gaps:
            first, end, missed = float(gap.first), float(gap.first + gap.places), gap.count
            if groups and (first + end - sum(groups[-1][:2])) / 2 * pitch < room:
                first, missed = groups[-1][0], groups.pop()[2] + missed
            groups.append((first, end, missed))
        return [((first + end) / 2, missed) for first, end, missed in groups]

    def record_at(self, place: float) -> int:
        """Return the record whose place is nearest."""
        if not len(self.place):
            return 0
        above = int(np.searchsorted(self.place, place))
        around = [r for r in (above - 1, above) if 0 <= r < len(self.place)]
        return min(around, key=lambda r: abs(self.place[r] - place))

    def gap_at(self, place: float) -> Gap | None:
        """Return the gap that a place (counted in whole places, rounded) lies in."""
        whole = round(place)
        before = int(np.searchsorted(self._firsts, whole, "right")) - 1
        gap = self.gaps[before] if before >= 0 else None
        return gap if gap is not None and whole < gap.first + gap.places else None


def places_of(records: int, findings: Findings | None) -> Places:
    """Return the places of a session's records, with the missed triggers that the findings name."""
    return Places(records, () if findings is None else findings.sequence.missed)


def gap_text(gap: Gap) -> str:
    """Say what is missing in a gap."""
    return f"{gap.count} missed trigger{'s' if gap.count > 1 else ''} after record {gap.after_record}"


def out_of_step(session: Session, findings: Findings | None) -> dict[str, Ints]:
    """Return the records out of step, rising, by module; modules that are always in step are left away."""
    if findings is None or findings.session.records != session.records:
        return {}
    measured = np.zeros(session.records, dtype=bool)
    measured[findings.records] = True
    aside = ~findings.sequence.in_step & measured[:, None]
    return {
        name: np.flatnonzero(aside[:, module]) for module, name in enumerate(session.modules) if aside[:, module].any()
    }


def slip_text(slip: Slip) -> str:
    """Say how far a module is out of step from a slip on."""
    side = "ahead" if slip.by > 0 else "behind"
    return f"{slip.module} slips: {count(abs(slip.by), 'trigger')} {side} from record {slip.from_record} on"


def round_step(least: float) -> int:
    """Return the smallest of 1, 2, 5, 10, 20, … that is not below `least`."""
    step = 1
    while True:
        for factor in (1, 2, 5):
            if step * factor >= least:
                return step * factor
        step *= 10
