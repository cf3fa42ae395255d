"""Opens a session for the desk, away from the main thread: its samples, its claims file, its review."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pulsewright.errors import ReviewFileError
from pulsewright.review import Marker, Review
from pulsewright.session import Session
from pulsewright_app.desk.document import Additions, MarkerPair


@dataclass(frozen=True)
class Opened:
    """An open session with the settings of its claims file, and what a person added to it earlier."""

    session: Session
    sha256: str
    claims: Mapping[str, Any]
    additions: Additions


def open_for_desk(path: Path) -> Opened:
    """Open a session with what lies beside it.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, or the review belongs to another session.
    """
    from pulsewright.claims_file import claims_path_for, read_claims
    from pulsewright.digest import sha256_of
    from pulsewright.opening import open_session

    session = open_session(path)
    try:
        digest = sha256_of(path)
        claims_path = claims_path_for(path)
        claims = read_claims(claims_path).settings if claims_path.exists() else {}
        return Opened(session, digest, claims, _additions(path, session, digest))
    except BaseException:
        session.close()
        raise


def _additions(path: Path, session: Session, digest: str) -> Additions:
    from pulsewright.review import read_review, review_path_for

    review_path = review_path_for(path)
    if not review_path.exists():
        return Additions()
    review = read_review(review_path)
    if review.session_sha256 and review.session_sha256 != digest:
        raise ReviewFileError(
            f"{review_path.name}: belongs to another session, whose SHA-256 is not that of {path.name}",
            "move it away, or put the session back that it was made for",
        )
    return Additions(_pairs(review, session), frozenset(review.flags), review.notes, review.left_out, review.settings)


def _pairs(review: Review, session: Session) -> tuple[MarkerPair, ...]:
    """Return the pairs of a review: two markers of one number make a pair, a lone one none."""
    by_number: dict[int, list[Marker]] = {}
    for marker in review.markers:
        by_number.setdefault(marker.pair, []).append(marker)
    names = [channel.name for channel in session.channels]
    pairs = []
    for number, markers in sorted(by_number.items()):
        if len(markers) != 2:
            continue
        first, second = markers
        channel = names.index(first.channel) if first.channel in names else 0
        name = first.name or f"Pair {number}"
        pairs.append(MarkerPair(number, name, first.time, second.time, first.u, second.u, first.record or 0, channel))
    return tuple(pairs)
