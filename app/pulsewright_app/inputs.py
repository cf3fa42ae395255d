"""Opens a session together with the settings that hold for it: option, then review, then claims file."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pulsewright.review import Review, review_path_for
from pulsewright.session import Session
from pulsewright.settings import Settings, layered


@dataclass(frozen=True)
class Input:
    """An open session, the settings that hold for it, the digest of its file, and what a person added."""

    session: Session
    settings: Settings
    sha256: str
    review: Review


def open_with_settings(file: Path, claims_file: Path | None = None, options: Mapping[str, Any] | None = None) -> Input:
    """Open a session, and find the settings that hold for it.

    Parameters
    ----------
    file : Path
        The session file.
    claims_file : Path, optional
        In place of the ``NAME.claims.toml`` beside it, which need not exist.
    options : mapping of setting to raw value, optional
        What the command line says; None values are passed over.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, a setting cannot be used, or the review is of another session.
    """
    from pulsewright.digest import sha256_of
    from pulsewright.opening import open_session

    session = open_session(file)
    try:
        digest = sha256_of(file)
        review = _review(file, digest)
        settings = layered(options, review.measuring_settings(), _claims_settings(file, claims_file))
        return Input(session, settings, digest, review)
    except BaseException:
        session.close()
        raise


def _claims_settings(file: Path, claims_file: Path | None) -> Mapping[str, Any]:
    from pulsewright.claims_file import claims_path_for, read_claims

    path = claims_path_for(file) if claims_file is None else claims_file
    return read_claims(path).settings if claims_file is not None or path.exists() else {}


def _review(file: Path, digest: str) -> Review:
    """Return the review that the desk would take too, so that both give the same numbers."""
    from pulsewright.digest import quick_digest_of
    from pulsewright.review_places import find_review
    from pulsewright_app.samples import samples_folder

    beside = file.resolve().parent != samples_folder()
    found = find_review(file.absolute(), digest, quick_digest_of(file), beside=beside)
    if found is None:
        return Review()
    if found.path != review_path_for(file.absolute()):
        print(f"pulsewright: the review is taken from {found.path}.", file=sys.stderr)
    return found.review
