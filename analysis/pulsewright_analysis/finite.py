"""Samples that are no numbers: which records and channels of a float session can be measured at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.errors import SettingError
from pulsewright.session import Session
from pulsewright_analysis.streaming import Check, Piece, for_each, pieces, unchecked

Ints = NDArray[np.int64]

MOST_OF_A_CHANNEL = 0.5
"""A channel with such samples in more than this share of its records is left out, rather than all those records."""
MOST_NAMED = 5


@dataclass(frozen=True)
class FinitePart:
    """What of a session consists of numbers.

    Attributes
    ----------
    channels : tuple of int
        Places of the channels that can be measured.
    records : int array (records,)
        Numbers of the records in which all those channels hold numbers only, rising.
    reasons : tuple of str
        A sentence for each channel, and one for the records, left out.
    """

    channels: tuple[int, ...]
    records: Ints
    reasons: tuple[str, ...]


def finite_part(session: Session, channels: Sequence[int], records: Ints, check: Check = unchecked) -> FinitePart:
    """Return the channels and records whose samples are all numbers; integer samples always are.

    A record with a NaN or an infinity is treated as one that a person left out: it was kept, so it is no missed
    trigger, and nothing is measured in it.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels that take part.
    records : int array (records,)
        Numbers of the records that take part, rising.
    check : callable
        As for `streaming.for_each`.

    Returns
    -------
    FinitePart

    Raises
    ------
    SettingError
        If nothing is left to measure.
    """
    if not np.issubdtype(session.dtype, np.floating):
        return FinitePart(tuple(channels), records, ())
    bad = _not_finite(session, channels, records, check)
    lost = np.mean(bad, axis=0) > MOST_OF_A_CHANNEL
    left = ~np.any(bad[:, ~lost], axis=1)
    if np.all(lost) or not np.any(left):
        raise SettingError(
            "no record holds numbers on all the channels measured: NaN or infinity stand in every one",
            "leave those channels out, or look at what wrote the session",
        )
    reasons = [
        f"{session.channels[channels[c]].name} is not measured: it holds NaN or infinity in "
        f"{np.count_nonzero(bad[:, c])} of {len(records)} records."
        for c in np.flatnonzero(lost).tolist()
    ]
    if not np.all(left):
        reasons.append(_named(records[~left]))
    return FinitePart(tuple(c for c, gone in zip(channels, lost, strict=True) if not gone), records[left], (*reasons,))


def _named(records: Ints) -> str:
    numbers = ", ".join(str(r) for r in records[:MOST_NAMED])
    more = f" and {len(records) - MOST_NAMED} more" if len(records) > MOST_NAMED else ""
    beginning = "Record" if len(records) == 1 else "Records"
    verb = "is" if len(records) == 1 else "are"
    return f"{beginning} {numbers}{more} {verb} left out: NaN or infinity among the samples."


def _not_finite(session: Session, channels: Sequence[int], records: Ints, check: Check) -> NDArray[np.bool_]:
    """Return in which records which channels hold what is no number, (records, channels)."""
    bad = np.zeros((len(records), len(channels)), dtype=bool)

    def look(piece: Piece) -> NDArray[np.bool_]:
        finite = [[np.all(np.isfinite(piece.codes[row, c])) for c in piece.columns] for row in piece.rows]
        return ~np.array(finite, dtype=bool)

    def take(piece: Piece, found: NDArray[np.bool_]) -> None:
        bad[np.searchsorted(records, piece.first + piece.rows), piece.places] = found

    for_each(pieces(session, channels, records), look, take, check)
    return bad
