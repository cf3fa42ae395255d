"""``pulsewright measure``: measures a session and prints the findings."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pulsewright.errors import BudgetError

if TYPE_CHECKING:
    from pulsewright.review import Review
    from pulsewright_analysis.assessment import Assessment


def run_measure(
    file: Path,
    claims_file: Path | None,
    as_json: bool,
    options: Mapping[str, Any],
    budget: str | None = None,
    csv_folder: Path | None = None,
) -> int:
    """Measure, print JSON, a readable page, or the budget of the one quantity named, and return the exit code.

    Every finding is written as a table into `csv_folder`, where one is given.

    Raises
    ------
    PulsewrightError
        As `assess_file` does; if the quantity is unknown or was not measured, or JSON is asked for as well.
    """
    if budget is not None and as_json:
        raise BudgetError(
            "a budget is printed as a table, and JSON has no place for it", "leave out --json or --budget"
        )
    assessment, review = assess_file(file, claims_file, options)
    if csv_folder is not None:
        from pulsewright_app.csv_folder import write_csv

        written = write_csv(assessment, csv_folder, review)
        print(f"pulsewright: {len(written)} tables are in {csv_folder}.", file=sys.stderr)
    if as_json:
        from pulsewright_app.printing import print_json

        print_json(assessment.as_json())
    elif budget is not None:
        from pulsewright_analysis.budgets import budget_of
        from pulsewright_app.budget_page import print_budget
        from pulsewright_app.printing import page

        print_budget(budget_of(assessment.findings, budget), page())
        return 0  # a budget was asked for, not what the claims come to
    else:
        from pulsewright_app.findings_page import print_findings
        from pulsewright_app.printing import page

        print_findings(assessment.findings, page(), assessment.verdicts)
    return assessment.exit_code


def assess_file(
    file: Path, claims_file: Path | None = None, options: Mapping[str, Any] | None = None
) -> tuple[Assessment, Review]:
    """Open a session, measure it with progress on standard error, and return the assessment and the review.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, or a setting cannot be used.
    """
    from pulsewright_app.inputs import open_with_settings
    from pulsewright_app.printing import progress_on_stderr

    given = open_with_settings(file, claims_file, options)
    with given.session, progress_on_stderr("Measuring") as progress:
        return given.assess(progress), given.review
