"""What a claim came to. A leaf: the desk, the command line and the evidence sheet all read it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from pulsewright.quantity import Quantity

Decision = Literal["holds", "fails", "undecided"]
MOST_RECORDS_LISTED = 100


@dataclass(frozen=True)
class Verdict:
    """What one claim came to.

    Attributes
    ----------
    name, kind : str
        As in the claims file.
    measured : Quantity or None
        The quantity that decides it, of the channel or pulse nearest to the limit or furthest beyond; None: not
        measured, or a count.
    limit : str
        The limit in words.
    verdict : str
        ``holds``, ``fails`` or ``undecided``.
    records : tuple of int
        The records that speak against it.
    claimed : str
        What was claimed, in words.
    seen : str
        What was seen, in words; empty where nothing could be measured.
    reason : str
        Why it is undecided or was not measured.
    needed : str
        What would decide it, where it is undecided.
    low, high : float or None
        The limits of `measured`, in its unit; None: open.
    interval : (float, float) or None
        What was compared with the limits: the interval at the coverage that was set, wide enough for all that were
        compared.
    coverage : float
        Of `interval`, 0 to 1.
    probability : float or None
        That the claim is true, given what was measured (JCGM 106:2012, clause 7); None for a count.
    budget : str
        The name by which `budgets.budget_of` knows the quantity; empty where it has no budget.
    figure : str
        Which picture shows it; empty for none.
    method : str
        How it was measured, with its source.
    withheld : tuple of int
        Numbers of the triggers that were withheld on purpose.
    channel : int or None
        Of a count, the place of the channel that shows it best among the session's; None where no single one does.
    """

    name: str
    kind: str
    measured: Quantity | None
    limit: str
    verdict: Decision
    records: tuple[int, ...] = ()
    claimed: str = ""
    seen: str = ""
    reason: str = ""
    needed: str = ""
    low: float | None = None
    high: float | None = None
    interval: tuple[float, float] | None = None
    coverage: float = 0.95
    probability: float | None = None
    budget: str = ""
    figure: str = ""
    method: str = ""
    withheld: tuple[int, ...] = ()
    channel: int | None = None

    @property
    def sentence(self) -> str:
        """What was claimed, and what was seen or why nothing was, without a final full stop; empty for no claim."""
        if not self.claimed:
            return ""
        beginning = f"Claimed: {self.claimed}"
        if self.seen:
            return f"{beginning}. Seen: {self.seen}"
        return f"{beginning}. Not measured{f': {self.reason}' if self.reason else ''}"

    @property
    def why(self) -> str:
        """The reason, where it does not stand in the sentence already; else empty."""
        return self.reason if self.seen or not self.claimed else ""

    def as_json(self) -> dict[str, Any]:
        """Return the form that ``measure --json`` prints."""
        return {
            "name": self.name,
            "kind": self.kind,
            "measured": None if self.measured is None else dict(self.measured.as_json()),
            "limit": self.limit,
            "verdict": self.verdict,
            "records": list(self.records),
            "sentence": self.sentence,
            "reason": self.reason,
            "needed": self.needed,
            "low": self.low,
            "high": self.high,
            "interval": None if self.interval is None else list(self.interval),
            "coverage": self.coverage,
            "probability": self.probability,
            "budget": self.budget,
            "figure": self.figure,
            "method": self.method,
            "withheld": list(self.withheld),
        }


def listed_records(records: Iterable[int]) -> tuple[int, ...]:
    """Return records as a verdict lists them: each once, rising, the first hundred of many.

    Parameters
    ----------
    records : iterable of int
    """
    return tuple(sorted({int(record) for record in records}))[:MOST_RECORDS_LISTED]


def exit_code_of(verdicts: tuple[Verdict, ...]) -> int:
    """Return 0 where every claim holds, 1 where one fails, 3 where none fails but one is undecided.

    Parameters
    ----------
    verdicts : tuple of Verdict
        Those of all claims; of none, 0 is returned.
    """
    decisions = {verdict.verdict for verdict in verdicts}
    if "fails" in decisions:
        return 1
    return 3 if "undecided" in decisions else 0
