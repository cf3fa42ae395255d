"""What an evidence sheet is called."""

from __future__ import annotations

from pulsewright.claims_file import ClaimsFile
from pulsewright.session import Session


def usual_title(claims: ClaimsFile | None, session: Session) -> str:
    """Return what a sheet is called to which nobody gave a title: as the claims file, the session, or its file."""
    name = session.file.name if session.file is not None else "A session in memory"
    return (claims.title if claims is not None else "") or session.title or name
