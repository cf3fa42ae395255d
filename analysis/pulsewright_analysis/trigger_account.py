"""Every trigger of a session accounted for: kept, missed, withheld, and what no witness could see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pulsewright_analysis.results import Findings, Ints, Sequence, Witness
from pulsewright_analysis.trigger_numbers import WITNESSES
from pulsewright_analysis.witnesses import UNKNOWN


@dataclass(frozen=True)
class TriggerAccount:
    """The triggers of a session, numbered from 0 at its first record.

    Attributes
    ----------
    kept : int
        Records of the session, or of the part that was measured; those that a person left out included.
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
        """Return the missed triggers that were not withheld on purpose.

        Parameters
        ----------
        withheld : tuple of int
            Numbers of the triggers that were withheld.

        Returns
        -------
        tuple of (int, int)
            (trigger, record kept before it), as in `missed`.
        """
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

    Returns
    -------
    TriggerAccount
    """
    sequence, records = findings.sequence, findings.records
    total = findings.session.records
    missed: list[tuple[int, int]] = []
    number = np.arange(total, dtype=np.int64)
    for gap in sorted(sequence.missed, key=lambda gap: gap.after_record):
        first = int(number[gap.after_record]) + 1
        missed += [(first + i, gap.after_record) for i in range(gap.count)]
        number[gap.after_record + 1 :] += gap.count
    part = findings.settings.records
    whole, kept = part is None, total if part is None else part[1] - part[0]
    return TriggerAccount(kept, number, tuple(missed), _blind(findings, records), whole, sequence.sent or sent)


def _blind(findings: Findings, records: Ints) -> tuple[tuple[int, str], ...]:
    """Return the gaps in which triggers may be lost unseen.

    Trigger times see every loss; a place on a lattice that starts over sees losses modulo its cycle, polarity modulo
    its pattern. Witnesses that contradict each other settle nothing.
    """
    sequence = findings.sequence
    gaps = max(len(records) - 1, 0)
    position, polarity, time = (_words(sequence, witness, gaps) for witness in WITNESSES)
    cycle = sequence.cycle
    off = (time - position) % cycle != 0 if cycle else time != position
    contradicted = (time == CONTRADICTED) | (position == CONTRADICTED)
    against = (time >= 0) & (position >= 0) & off
    without_time = (time == UNKNOWN) & ~contradicted
    # where a trigger is known to be missing, or a module slipped, the modules must differ
    told = np.isin(records[:gaps], [gap.after_record for gap in sequence.missed]) | bool(sequence.slips)
    reasons = (
        ("the modules contradict each other", contradicted & ~told),
        ("position and time contradict each other", against & ~told),
        (
            f"without trigger times a loss of {cycle} triggers cannot be seen",
            without_time & (position >= 0) & bool(cycle),
        ),
        ("polarity alone does not see every loss", without_time & (position == UNKNOWN) & (polarity >= 0)),
        ("no witness spoke", without_time & (position == UNKNOWN) & (polarity < 0)),
    )
    found = [(int(record), why) for why, where in reasons for record in records[:gaps][where]]
    return tuple(sorted(found))


CONTRADICTED = -2


def _words(sequence: Sequence, witness: Witness, gaps: int) -> Ints:
    """Return for each gap what the modules that know say with one voice, −1 where none knows, −2 where they differ."""
    said = sequence.said.get(witness)
    if said is None or len(said) != gaps:
        return np.full(gaps, UNKNOWN, dtype=np.int64)
    known = said != UNKNOWN
    highest = np.max(said, axis=1, initial=UNKNOWN)
    lowest = np.min(np.where(known, said, np.iinfo(np.int64).max), axis=1, initial=np.iinfo(np.int64).max)
    words: Ints = np.where(highest == UNKNOWN, UNKNOWN, np.where(highest == lowest, highest, CONTRADICTED))
    return words
