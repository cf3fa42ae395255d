"""``pulsewright evidence``: measures a session and writes its evidence sheet."""

from __future__ import annotations

from pathlib import Path


def run_evidence(
    file: Path,
    to: Path,
    claims_file: Path | None = None,
    *,
    date: str = "",
    by: str = "",
    json_file: Path | None = None,
) -> int:
    """Write the sheet, say on standard output how the claims came out, and return the exit code.

    Raises
    ------
    PulsewrightError
        If a file cannot be read or written, or a setting cannot be used.
    """
    from pulsewright_app.evidence.writing import check_json, check_target, write_sheet

    # a name that cannot be written is told before the session is measured
    check_target(to)
    if json_file is not None:
        check_json(json_file)
    from pulsewright_app.inputs import open_with_settings
    from pulsewright_app.printing import progress_on_stderr

    given = open_with_settings(file, claims_file)
    with given.session as session, progress_on_stderr("Measuring") as progress:
        assessment = given.assess(progress)
        sheet = write_sheet(
            assessment, session, given.review, to, date=date, by=by, json_file=json_file, progress=progress
        )
    print(f"{to}: {sheet.summary}")
    return assessment.exit_code
