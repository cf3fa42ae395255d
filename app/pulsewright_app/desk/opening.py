"""Opens a session for the desk, away from the main thread: its samples, its claims file, its review."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pulsewright.claims_file import ClaimsFile
from pulsewright.session import Session
from pulsewright_app.desk.additions import Additions
from pulsewright_app.desk.memory import loading
from pulsewright_app.desk.review_file import Kept, additions_of
from pulsewright_app.desk.review_places import ReviewPlaces
from pulsewright_app.desk.session_lock import SessionLock

HASHED_AT_ONCE = 16 << 20
"""Bytes up to which the whole file's digest is taken before the session is shown: some 15 ms."""

EDITED = "The claims were edited on the desk and are not saved into their file: as edited they count here."


@dataclass(frozen=True)
class Opened:
    """An open session with the settings of its claims file, and what a person added to it earlier.

    Attributes
    ----------
    session : Session
    path : Path
        Its file.
    sha256 : str
        Digest of its file; empty for a large file, whose digest is taken while it is looked at already.
    claims : mapping of setting name to value
    additions : Additions
    hidden : frozenset of int
        Channels that are not drawn.
    places : ReviewPlaces
        Where the additions are kept.
    kept : Kept
        What the review holds besides.
    lock : SessionLock
        The desk's mark on the session.
    told : str
        What is wrong with the review, in a sentence; empty if nothing is.
    claims_file : ClaimsFile or None
        What is claimed of the session.
    claims_text : str
        The text of its claims file; empty where there is none.
    """

    session: Session
    path: Path
    sha256: str
    claims: Mapping[str, Any]
    additions: Additions
    hidden: frozenset[int]
    places: ReviewPlaces
    kept: Kept
    lock: SessionLock
    told: str = ""
    claims_file: ClaimsFile | None = None
    claims_text: str = ""

    def give_back(self, own_lock: SessionLock | None) -> None:
        """Close the session again, as it does not come onto the desk after all; `own_lock` stays."""
        self.session.close()
        if self.lock is not own_lock:
            self.lock.release()


_WHAT_OPENS = (
    "h5py", "platformdirs", "pydantic.main", "pydantic.type_adapter", "tomllib", "pulsewright.opening",
    "pulsewright.store", "pulsewright_app.samples",
)  # fmt: skip
_loaded = False


def load_what_opens() -> None:
    """Import what a first opening needs while no other thread of the desk imports; does nothing the next time."""
    global _loaded
    if _loaded:
        return
    with loading("pydantic.main"):
        for module in _WHAT_OPENS:
            importlib.import_module(module)
        parse_claims = importlib.import_module("pulsewright.claims_file").parse_claims
        parse_claims("", Path())  # its form loads the rest of what checks forms
    _loaded = True


def open_for_desk(path: Path, own_lock: SessionLock | None = None) -> Opened:
    """Open a session with what lies beside it; a review that cannot be used is told of and does not stop it.

    Parameters
    ----------
    path : Path
        The session's file.
    own_lock : SessionLock, optional
        The mark of the session that the same desk shows now: opening that one once more is no second desk.

    Raises
    ------
    PulsewrightError
        If the session or its claims file cannot be read.
    """
    load_what_opens()
    from pulsewright.claims_file import claims_path_for, claims_text_of, parse_claims
    from pulsewright.digest import quick_digest_of, sha256_of
    from pulsewright.opening import open_session
    from pulsewright_app.samples import samples_folder

    session = open_session(path)
    lock = SessionLock(path)
    if own_lock is not None and own_lock.session == lock.session:
        lock = own_lock
    try:
        quick = quick_digest_of(path)
        digest = sha256_of(path) if path.stat().st_size <= HASHED_AT_ONCE else ""
        session.require_unaltered()  # else they may be the digests of another file
        claims_path = claims_path_for(path)
        text = claims_text_of(claims_path) if claims_path.exists() else None
        claims_file = None if text is None else parse_claims(text, claims_path)
        claims = {} if claims_file is None else claims_file.settings
        if not lock.held:
            lock.take()
        places = ReviewPlaces(
            path.absolute(),
            quick,
            digest,
            beside=path.resolve().parent != samples_folder(),
            shared=lock.holder.words if lock.holder is not None else "",
        )
        found = places.find()
        additions, hidden, kept = additions_of(found.review, session)
        told = f"{found.told} {EDITED}".strip() if additions.claims_text else found.told
        return Opened(
            session,
            path.absolute(),
            digest,
            claims,
            additions,
            hidden,
            places,
            kept,
            lock,
            told,
            claims_file,
            text or "",
        )
    except BaseException:
        if lock is not own_lock:
            lock.release()
        session.close()
        raise
