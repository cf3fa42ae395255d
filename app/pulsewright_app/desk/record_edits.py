"""What a person says about records, each one step of undo."""

from __future__ import annotations

from collections.abc import Mapping

from pulsewright_app.desk.history import History


class RecordEdits(History):
    """The flags, the notes and the records left out of a document."""

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
