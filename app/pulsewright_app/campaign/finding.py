"""Finds the sessions of a campaign, and what the outcome of each one rests on."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.outcome import Basis

SUFFIX = ".h5"


def find_sessions(folder: Path) -> tuple[str, ...]:
    """Return the session files below a folder, by their paths in it, sorted; what is hidden is passed over.

    Links to folders are not followed, so that no session counts twice and no circle is walked.

    Raises
    ------
    PulsewrightError
        If the folder is missing, there is no session in it, or a folder in it cannot be looked into: the sessions there
        would count as gone.
    """
    if not folder.is_dir():
        raise PulsewrightError(f"{folder}: there is no such folder", "give the folder that the sessions lie in")
    found = []
    for place, folders, files in os.walk(folder, onerror=_refuse):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        inside = Path(place)
        found += [
            (inside / name).relative_to(folder).as_posix()
            for name in files
            if name.lower().endswith(SUFFIX) and not name.startswith(".") and (inside / name).is_file()
        ]
    if not found:
        raise PulsewrightError(f"{folder}: there is no session in it", f"sessions are files that end in {SUFFIX}")
    return tuple(sorted(found))


def _refuse(error: OSError) -> None:
    raise PulsewrightError(
        f"{error.filename}: cannot be looked into ({error.strerror})", "see to it that you may, or give another folder"
    ) from error


def digest_of_text(text: str | bytes) -> str:
    """Return the SHA-256 of a text as hexadecimal digits."""
    return hashlib.sha256(text if isinstance(text, bytes) else text.encode()).hexdigest()


def basis_of(path: Path, claims_digest: str, version: str) -> Basis:
    """Return what the outcome of a session rests on.

    Raises
    ------
    PulsewrightError
        If the session cannot be read.
    """
    from pulsewright.digest import quick_digest_of

    quick = quick_digest_of(path)
    try:
        status = path.stat()
    except OSError as error:
        raise PulsewrightError(f"{path.name}: cannot be read ({error.strerror})") from error
    return Basis(status.st_size, status.st_mtime_ns, quick, _review_digest(path, quick), claims_digest, version)


def _review_digest(path: Path, quick: str) -> str:
    """Return a digest of every file that may hold a review of the session: a change of any may change what counts."""
    from pulsewright.review_places import review_places

    texts = []
    for place in review_places(path.absolute(), quick):
        try:
            texts.append(f"{place.name}\n".encode() + place.read_bytes())
        except OSError:
            continue
    return digest_of_text(b"\0".join(texts)) if texts else ""
