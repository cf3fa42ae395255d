"""Every trigger of a session accounted for: kept, missed, withheld, and what no witness could see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pulsewright_analysis.results import Findings, Ints
from pulsewright_analysis.witnesses import UNKNOWN


@dataclass(frozen=True)
class TriggerAccount:
    """The triggers of a session, numbered from 0 at its first record.

    Attributes
    ----------
    kept : int
        Records of the session, those that a person left out included.
    number : int array (records,)
        The trigger of each record, by its place in the session.
    missed : tuple of (int, int)
        (trigger, record kept before it) of each trigger that no module kept.
    blind : tuple of (int, str)
        (record before the gap, why) where no witness could exclude a loss.
    whole : bool
        Whether all records of the session were measured, so that they can be compared with the number sent.
    sent : int or None
        Triggers sent, where known.
    """

    kept: int
    number: Ints
    missed: tuple[tuple[int, int], ...]
    blind: tuple[tuple[int, str], ...]
    whole: bool
    sent: int | None

    def missed_but(self, withheld: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
        """Return the missed triggers that were not withheld on purpose."""
        return tuple(pair for pair in self.missed if pair[0] not in withheld)

    @property
    def outside(self) -> int | None:
        """Triggers lost before the first and after the last record; None where that cannot be told.

        The number sent counts those withheld from the recorder on purpose, as their numbers do.
        """
        if self.sent is None or not self.whole:
            return None
        return self.sent - self.kept - len(self.missed)


def account(findings: Findings, sent: int | None = None) -> TriggerAccount:
    """Return what is known of every trigger.

    Parameters
    ----------
    findings : Findings
    sent : int, optional
        Triggers sent, where the settings do not tell.
    """
    sequence, records = findings.sequence, findings.records
    total = findings.session.records
    missed: list[tuple[int, int]] = []
    number = np.arange(total, dtype=np.int64)
    for gap in sorted(sequence.missed, key=lambda gap: gap.after_record):
        first = int(number[gap.after_record]) + 1
        missed += [(first + i, gap.after_record) for i in range(gap.count)]
        number[gap.after_record + 1 :] += gap.count
    whole = findings.settings.records is None
    return TriggerAccount(total, number, tuple(missed), _blind(findings, records), whole, sequence.sent or sent)


def _blind(findings: Findings, records: Ints) -> tuple[tuple[int, str], ...]:
    """Return the gaps in which triggers may be lost unseen.

    Trigger times see every loss; a place on a lattice that starts over sees losses modulo its cycle, polarity modulo
    its pattern. Witnesses that contradict each other settle nothing.
    """
    said, sequence = findings.sequence.said, findings.sequence
    found = []
    missed_after = {gap.after_record for gap in sequence.missed}
    for gap in range(len(records) - 1):
        record = int(records[gap])
        time, position, polarity = (
            _word(said[witness][gap]) if witness in said and gap < len(said[witness]) else UNKNOWN
            for witness in ("time", "position", "polarity")
        )
        if time == CONTRADICTED or position == CONTRADICTED:
            if record not in missed_after and not sequence.slips:
                found.append((record, "the modules contradict each other"))
        elif time != UNKNOWN:
            cycle = sequence.cycle
            against = position >= 0 and (time - position) % cycle != 0 if cycle else position >= 0 and time != position
            if against and record not in missed_after:
                found.append((record, "position and time contradict each other"))
        elif position != UNKNOWN:
            if sequence.cycle is not None:
                found.append((record, f"without trigger times a loss of {sequence.cycle} triggers cannot be seen"))
        elif polarity not in (UNKNOWN, CONTRADICTED):
            found.append((record, "polarity alone does not see every loss"))
        else:
            found.append((record, "no witness spoke"))
    return tuple(found)


CONTRADICTED = -2


def _word(said: Ints) -> int:
    """Return what the modules that know say with one voice."""
    known = np.unique(said[said != UNKNOWN])
    return UNKNOWN if len(known) == 0 else int(known[0]) if len(known) == 1 else CONTRADICTED
