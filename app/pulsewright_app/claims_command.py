"""``pulsewright claims``: drafts a claims file from what a session shows."""

from __future__ import annotations

from pathlib import Path

from pulsewright.errors import ClaimsFileError


def run_claims(new: Path, session_file: Path) -> int:
    """Draft a claims file whose limits are left open, and return the exit code.

    Raises
    ------
    PulsewrightError
        If there is such a file already, it cannot be written, or the session cannot be measured.
    """
    from pulsewright.atomic import replacing
    from pulsewright_analysis.claim_draft import draft
    from pulsewright_analysis.findings import measure
    from pulsewright_app.inputs import open_with_settings
    from pulsewright_app.printing import progress_on_stderr

    _check_free(new)
    given = open_with_settings(session_file, drafting=True)
    with given.session as session, progress_on_stderr("Measuring") as progress:
        text = draft(measure(session, given.settings, progress), given.review)
    try:
        with replacing(new) as temporary:
            temporary.write_text(text, encoding="utf-8", newline="\n")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ClaimsFileError(f"{new}: cannot be written ({reason})", "give another name") from error
    number = text.count("[[claims]]")
    print(
        f"{new}: {number} claims drafted from {session_file.name}; fill in each limit, and take out what nobody claims"
    )
    return 0


def _check_free(new: Path) -> None:
    """Refuse a name that is taken, before anything is measured."""
    try:
        taken = new.exists()
    except (OSError, ValueError) as error:
        raise ClaimsFileError(f"{str(new)!r}: is not a file name", "give another name") from error
    if taken:
        raise ClaimsFileError(f"{new}: is there already", "give another name, or move it away")
    if new.suffix != ".toml":
        raise ClaimsFileError(f"{new}: does not end in .toml", "give a name like tank.claims.toml")
