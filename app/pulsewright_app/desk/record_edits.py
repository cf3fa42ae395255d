"""What a person says about records and pulses, each one step of undo, however many records it is about."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from pulsewright_app.desk.additions import PulsePlace
from pulsewright_app.desk.history import History


class RecordEdits(History):
    """The flags, the notes, the records left out and the pulses rejected of a document."""

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

    @property
    def rejected(self) -> Mapping[PulsePlace, str]:
        """The reasons why pulses are rejected, by record, channel and a sample of each."""
        return self._now.rejected

    # -- one record -----------------------------------------------------------------------------------------

    def flag(self, record: int, on: bool = True) -> None:
        """Flag a record, or take its flag away."""
        self.flag_many((record,), on)

    def note(self, record: int, text: str) -> None:
        """Write a note on a record; an empty text takes it away."""
        self.note_many((record,), text)

    def leave_out(self, record: int, reason: str | None) -> None:
        """Leave a record out of the measuring, with the reason; None takes it back in."""
        self.leave_out_many((record,), reason)

    # -- many at once ---------------------------------------------------------------------------------------

    def flag_many(self, records: Collection[int], on: bool = True) -> None:
        """Flag records, or take their flags away."""
        flags = self._now.flags.union(records) if on else self._now.flags.difference(records)
        self._change(f"{'Flag' if on else 'Unflag'} {_told(records)}", flags=flags)

    def note_many(self, records: Collection[int], text: str) -> None:
        """Write the same note on records, in place of what stood there; an empty text takes it away."""
        text = text.strip()
        gone = set(records)
        notes = {record: kept for record, kept in self._now.notes.items() if record not in gone}
        if text:
            notes.update(dict.fromkeys(records, text))
        self._change(f"Note on {_told(records)}", notes=notes)

    def leave_out_many(self, records: Collection[int], reason: str | None) -> None:
        """Leave records out of the measuring, with the reason; None takes them back in."""
        gone = set(records)
        left_out = {record: kept for record, kept in self._now.left_out.items() if record not in gone}
        if reason is not None:
            left_out.update(dict.fromkeys(records, reason.strip()))
        self._change(f"{'Take in' if reason is None else 'Leave out'} {_told(records)}", left_out=left_out)

    # -- pulses ---------------------------------------------------------------------------------------------

    def reject_pulses(self, places: Iterable[PulsePlace], reason: str = "") -> None:
        """Say that pulses are none: they take no part in the measuring from now on."""
        places = list(places)
        rejected = {**self._now.rejected, **dict.fromkeys(places, reason.strip())}
        self._change(f"Reject {_pulses(places)}", rejected=rejected)

    def take_pulses_back(self, places: Iterable[PulsePlace]) -> None:
        """Let rejected pulses take part again."""
        places = list(places)
        back = set(places)
        rejected = {place: kept for place, kept in self._now.rejected.items() if place not in back}
        self._change(f"Take back {_pulses(places)}", rejected=rejected)


def _told(records: Collection[int]) -> str:
    return f"record {next(iter(records))}" if len(records) == 1 else f"{len(records)} records"


def _pulses(places: list[PulsePlace]) -> str:
    return f"the pulse in record {places[0][0]}" if len(places) == 1 else f"{len(places)} pulses"
