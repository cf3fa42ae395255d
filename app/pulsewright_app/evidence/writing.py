"""Writes an evidence sheet whole or not at all, as HTML or as PDF, and its numbers as JSON beside it."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pulsewright.atomic import replacing
from pulsewright.errors import EvidenceError
from pulsewright.review import Review
from pulsewright.session import Session
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.findings import Progress, Watch
from pulsewright_app.evidence.sheet import SCHEMA, Sheet, as_plain

if TYPE_CHECKING:
    from pulsewright_analysis.comparing import Comparison
    from pulsewright_analysis.swapping import Separated
    from pulsewright_app.evidence.comparison_sheet import ComparisonSheet

SUFFIXES = (".html", ".pdf")


def write_sheet(
    assessment: Assessment,
    session: Session,
    review: Review | None,
    target: str | Path,
    *more: str | Path,
    date: str = "",
    by: str = "",
    json_file: str | Path | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Sheet:
    """Write the evidence sheet of a session.

    Parameters
    ----------
    assessment : Assessment
        Of this session, with the settings that count now; every number is taken from it.
    session : Session
        Open; figures are drawn from its samples.
    review : Review or None
        What a person added.
    target, more : str or Path
        Files to write, each ``.html`` or ``.pdf``; they are replaced whole or stay as they were.
    date, by : str
        When and by whom; empty ones are left to be filled in by hand.
    json_file : str or Path, optional
        Where the numbers go as JSON.
    progress : callable, optional
        Called with (share done 0 … 1, what is being done).
    cancelled : callable, optional
        Asked now and then whether to stop; nothing is written then.

    Returns
    -------
    Sheet
        What was written.

    Raises
    ------
    Cancelled
        If it was called off.
    EvidenceError
        If a file's name ends otherwise, a file cannot be written, or the assessment is not of this session and this
        review as they are now.
    SessionFileError
        If the session's file was altered since it was opened.
    """
    from pulsewright_app.evidence.building import sheet_of

    targets = [Path(target), *(Path(path) for path in more)]
    for path in targets:
        check_target(path)
    if json_file is not None:
        check_json(Path(json_file))
    watch = Watch(progress, cancelled)
    sheet = sheet_of(assessment, session, review, date=date, by=by, watch=watch)
    made = []
    for path in targets:
        watch.at(0.9, "setting the pages")
        made.append(as_html(sheet) if path.suffix.lower() == ".html" else as_pdf(sheet))
    session.require_unaltered()  # figures were drawn from its samples after it had been measured
    watch.at(1.0, "writing")
    for path, data in zip(targets, made, strict=True):
        replace_file(path, data)
    if json_file is not None:
        body = json.dumps(as_json(sheet, assessment), allow_nan=False, ensure_ascii=False, indent=1)
        # half of a surrogate pair, which no UTF-8 can hold, is written as the escape that JSON has for it
        replace_file(Path(json_file), f"{body}\n".encode(errors="backslashreplace"))
    return sheet


def write_comparison(
    comparison: Comparison, separated: Sequence[Separated], target: Path, *, date: str = "", by: str = ""
) -> ComparisonSheet:
    """Write the sheet of a comparison as HTML or PDF, whole or not at all, and return what was written.

    Raises
    ------
    EvidenceError
        If the file's name ends otherwise, or it cannot be written.
    """
    from pulsewright_app.evidence.comparison_sheet import comparison_sheet
    from pulsewright_app.evidence.html import html_of
    from pulsewright_app.evidence.pdf import pdf_of

    check_target(target)
    sheet = comparison_sheet(comparison, separated, date=date, by=by)
    html = target.suffix.lower() == ".html"
    made = html_of(sheet, "comparison.html.jinja").encode() if html else pdf_of(sheet, "comparison.typ")
    replace_file(target, made)
    return sheet


def check_target(path: Path) -> None:
    """Refuse a file that is neither HTML nor PDF by its name, before any work is done.

    Raises
    ------
    EvidenceError
        If its name ends otherwise.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise EvidenceError(
            f"{path.name}: an evidence sheet is written as {' or '.join(SUFFIXES)}", "end the name of the file so"
        )


def check_json(path: Path) -> None:
    """Refuse a file for the JSON that is none by its name, or is a review: nothing else is to be overwritten.

    Raises
    ------
    EvidenceError
        If its name ends otherwise.
    """
    name = path.name.lower()
    if not name.endswith(".json") or name.endswith(".review.json"):
        raise EvidenceError(f"{path.name}: the numbers go into a file that ends in .json", "give another name")


def as_html(sheet: Sheet) -> bytes:
    """Return the sheet as one HTML file in UTF-8 that needs nothing from outside."""
    from pulsewright_app.evidence.html import html_of

    return html_of(sheet).encode("utf-8")


def as_pdf(sheet: Sheet) -> bytes:
    """Return the sheet as PDF."""
    from pulsewright_app.evidence.pdf import pdf_of

    return pdf_of(sheet)


def as_json(sheet: Sheet, assessment: Assessment) -> dict[str, Any]:
    """Return the sheet as plain Python: what stands on it, and the findings in full behind it."""
    return {"schema": SCHEMA, "sheet": as_plain(sheet), "findings": assessment.as_json()}


def replace_file(path: Path, data: bytes) -> None:
    """Put data into a file, whole or not at all.

    Raises
    ------
    EvidenceError
        If it cannot be written; what was there before stays.
    """
    try:
        with replacing(path) as temporary:
            temporary.write_bytes(data)
    except OSError as error:
        raise EvidenceError(
            f"{path}: cannot be written ({error.strerror or error}); what was there before is untouched",
            "make room, or choose a folder that you may write to",
        ) from error
    except ValueError as error:  # a NUL in the path
        raise EvidenceError(f"{str(path)!r}: is not a file name", "give another name") from error
