"""Opens a session together with the settings that hold for it: option, then review, then claims file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pulsewright.claims_file import ClaimsFile
from pulsewright.review import Review, review_path_for
from pulsewright.session import Session
from pulsewright.settings import Settings, layered

if TYPE_CHECKING:
    from pulsewright_analysis.assessment import Assessment


@dataclass(frozen=True)
class Input:
    """An open session, the settings that hold for it, the digest of its file, what a person added, what is claimed."""

    session: Session
    settings: Settings
    sha256: str
    review: Review
    claims: ClaimsFile | None = None

    def assess(self, progress: Callable[[float, str], None] | None = None) -> Assessment:
        """Measure the session, and judge what is claimed of it.

        Raises
        ------
        SettingError
            If a setting names what the session does not have.
        """
        from pulsewright_analysis.assessment import assess

        return assess(self.session, self.settings, progress, sha256=self.sha256, claims=self.claims, review=self.review)


def open_with_settings(
    file: Path,
    claims_file: Path | ClaimsFile | None = None,
    options: Mapping[str, Any] | None = None,
    drafting: bool = False,
) -> Input:
    """Open a session, and find the settings that hold for it.

    Parameters
    ----------
    file : Path
        The session file.
    claims_file : Path or ClaimsFile, optional
        In place of the ``NAME.claims.toml`` beside it, which need not exist; read already, or still to be read.
    options : mapping of setting to raw value, optional
        What the command line says; None values are passed over.
    drafting : bool
        Whether claims are about to be drafted: the claims file beside the session may then have limits that nobody
        has filled in yet, and counts for its settings alone.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, a setting cannot be used, or the review is of another session.
    """
    from pulsewright.digest import sha256_of
    from pulsewright.opening import open_session
    from pulsewright_app.span_place import require_spans

    session = open_session(file)
    try:
        digest = sha256_of(file)
        session.require_unaltered()  # else it may be the digest of another file
        review, claims = _review(file, digest), _claims(file, claims_file, drafting)
        if review.claims and claims_file is None:
            print("pulsewright: the claims edited on the desk are not saved; those of the file count.", file=sys.stderr)
        settings = layered(options, review.measuring_settings(), None if claims is None else claims.settings)
        delayed = session.with_delays(settings.delays)
        require_spans(delayed, settings)
        return Input(delayed, settings, digest, review, claims)
    except BaseException:
        session.close()
        raise


def settings_beside(file: Path, digest: str) -> Settings:
    """Return the settings that the review and the claims file beside a session give.

    Parameters
    ----------
    file : Path
        The session file.
    digest : str
        Its SHA-256.

    Raises
    ------
    PulsewrightError
        If one of the two cannot be read, or a setting cannot be used.
    """
    claims = _claims(file, None, settings_alone=True)
    return layered(None, _review(file, digest).measuring_settings(), None if claims is None else claims.settings)


def _claims(file: Path, claims_file: Path | ClaimsFile | None, settings_alone: bool = False) -> ClaimsFile | None:
    from pulsewright.claims_file import claims_path_for, read_claims

    if isinstance(claims_file, ClaimsFile):
        return claims_file
    path = claims_path_for(file) if claims_file is None else claims_file
    return read_claims(path, settings_alone) if claims_file is not None or path.exists() else None


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
