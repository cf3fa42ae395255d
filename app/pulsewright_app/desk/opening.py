"""Opens a session for the desk, away from the main thread: its samples, its claims file, its review."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pulsewright.session import Session
from pulsewright_app.desk.additions import Additions
from pulsewright_app.desk.review_file import Kept, ReviewFile, additions_of


@dataclass(frozen=True)
class Opened:
    """An open session with the settings of its claims file, and what a person added to it earlier.

    Attributes
    ----------
    session : Session
    sha256 : str
        Digest of its file.
    claims : mapping of setting name to value
    additions : Additions
    hidden : frozenset of int
        Channels that are not drawn.
    review_file : ReviewFile
        Where the additions are kept.
    kept : Kept
        What the review holds besides.
    told : str
        What is wrong with the review, in a sentence; empty if nothing is.
    """

    session: Session
    sha256: str
    claims: Mapping[str, Any]
    additions: Additions
    hidden: frozenset[int]
    review_file: ReviewFile
    kept: Kept
    told: str = ""


def open_for_desk(path: Path) -> Opened:
    """Open a session with what lies beside it; a review that cannot be used is told of and does not stop it.

    Raises
    ------
    PulsewrightError
        If the session or its claims file cannot be read.
    """
    from pulsewright.claims_file import claims_path_for, read_claims
    from pulsewright.digest import sha256_of
    from pulsewright.opening import open_session
    from pulsewright_app.samples import samples_folder

    session = open_session(path)
    try:
        digest = sha256_of(path)
        claims_path = claims_path_for(path)
        claims = read_claims(claims_path).settings if claims_path.exists() else {}
        review_file = ReviewFile(path.absolute(), digest, beside=path.resolve().parent != samples_folder())
        found = review_file.find()
        additions, hidden, kept = additions_of(found.review, session)
        return Opened(session, digest, claims, additions, hidden, review_file, kept, found.told)
    except BaseException:
        session.close()
        raise
