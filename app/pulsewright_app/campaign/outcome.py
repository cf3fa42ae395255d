"""What a campaign keeps of one session. A leaf of plain values: it travels between machines, and into the results."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

State = Literal["measured", "failed"]


@dataclass(frozen=True)
class Basis:
    """What an outcome rests on: where nothing of it has changed, a session need not be measured again.

    Attributes
    ----------
    size : int
        Bytes of the session file.
    modified_ns : int
        When it was last written to, nanoseconds since 1970.
    quick_digest : str
        Its `pulsewright.digest.quick_digest_of`.
    review_digest : str
        SHA-256 of the review that counts for it; empty where there is none.
    claims_digest : str
        SHA-256 of the claims file.
    version : str
        Of the program.
    """

    size: int
    modified_ns: int
    quick_digest: str
    review_digest: str
    claims_digest: str
    version: str

    @classmethod
    def unknown(cls, claims_digest: str, version: str) -> Basis:
        """Return the basis of an outcome that no file vouches for; it equals that of no file."""
        return cls(-1, 0, "", "", claims_digest, version)


@dataclass(frozen=True)
class Measured:
    """One quantity of a session.

    Attributes
    ----------
    name, meaning : str
        As `pulsewright_analysis.budgets.budget_of` takes it, and in words.
    unit : str
    value, u : float
        In `unit`; u is the standard uncertainty.
    dof : float or None
        Degrees of freedom; None where they are not limited.
    low, high : float
        The ends of the 95 % interval.
    """

    name: str
    meaning: str
    unit: str
    value: float
    u: float
    dof: float | None
    low: float
    high: float


@dataclass(frozen=True)
class Judged:
    """What one claim came to in a session.

    Attributes
    ----------
    claim, kind, limit, verdict, sentence, reason : str
        As in `pulsewright_analysis.verdicts.Verdict`.
    unit : str
        Of all that follows; empty for a count.
    value, u : float or None
        What was measured; None for a count, and where nothing was.
    low, high : float or None
        The ends of its 95 % interval.
    limit_low, limit_high : float or None
        The limits; None: open.
    probability : float or None
        That the claim is true.
    against : str
        The records that speak against it, numbers with commas.
    """

    claim: str
    kind: str
    limit: str
    verdict: str
    sentence: str
    reason: str
    unit: str
    value: float | None
    u: float | None
    low: float | None
    high: float | None
    limit_low: float | None
    limit_high: float | None
    probability: float | None
    against: str


@dataclass(frozen=True)
class Outcome:
    """What came of one session.

    Attributes
    ----------
    session : str
        Its path below the campaign's folder, with slashes.
    state : str
        ``measured``, or ``failed`` where it could not be.
    reason : str
        Why not.
    sha256 : str
        Of the session's file; empty where it could not be read.
    created : str
        When it was recorded, as the file says; may be empty.
    records, channels : int
        How many.
    basis : Basis
    quantities : tuple of Measured
    verdicts : tuple of Judged
        In the order of the claims file.
    """

    session: str
    state: State
    basis: Basis
    reason: str = ""
    sha256: str = ""
    created: str = ""
    records: int = 0
    channels: int = 0
    quantities: tuple[Measured, ...] = ()
    verdicts: tuple[Judged, ...] = ()
