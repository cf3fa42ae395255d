"""``pulsewright demo``: the sample with faults, on the desk or, with no display, as printed findings."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from pulsewright.errors import PulsewrightError

if TYPE_CHECKING:
    from pulsewright_analysis.assessment import Assessment


def run_demo(headless: bool, out: Path | None) -> int:
    """Open the desk if there is a display, else measure and print; return the exit code."""
    from pulsewright_app.display import why_no_display
    from pulsewright_app.samples import DEMO_SESSION, sample

    session = sample(DEMO_SESSION)
    if not headless:
        error = why_no_display(for_a_person=True)
        if error is None:
            from pulsewright_app.desk.start import open_desk

            return open_desk(session, {})
        print(f"pulsewright: {error.cause}; measuring {DEMO_SESSION} without a window.", file=sys.stderr)
    return _measure_and_print(session, out)


def _measure_and_print(session: Path, out: Path | None) -> int:
    from pulsewright_app.evidence.writing import write_sheet
    from pulsewright_app.findings_page import print_findings
    from pulsewright_app.inputs import open_with_settings
    from pulsewright_app.printing import page, progress_on_stderr

    given = open_with_settings(session)
    with given.session:
        with progress_on_stderr("Measuring") as progress:
            assessment = given.assess(progress)
        if out is not None:
            write_findings(assessment, out)
            write_sheet(assessment, given.session, given.review, out / "evidence.html", out / "evidence.pdf")
            print(f"pulsewright: the findings and the evidence sheet (HTML and PDF) are in {out}.", file=sys.stderr)
    print_findings(assessment.findings, page(), assessment.verdicts)
    return 0


def write_findings(assessment: Assessment, folder: Path) -> None:
    """Write ``findings.json`` and the readable ``findings.txt`` into a folder, made if it is missing.

    Raises
    ------
    PulsewrightError
        If the folder cannot be written.
    """
    from pulsewright_app.findings_page import print_findings
    from pulsewright_app.printing import page

    try:
        folder.mkdir(parents=True, exist_ok=True)
        body = json.dumps(assessment.as_json(), allow_nan=False, ensure_ascii=False, indent=1)
        (folder / "findings.json").write_text(body + "\n", encoding="utf-8")
        with (folder / "findings.txt").open("w", encoding="utf-8") as text:
            print_findings(assessment.findings, page(text), assessment.verdicts)
    except OSError as error:
        raise PulsewrightError(
            f"{folder}: the findings cannot be written there ({error.strerror or error})",
            "give a folder that can be written with --out",
        ) from error
