"""``pulsewright compare``: two sessions side by side, and what of a skew moved with the cables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from pulsewright.quantity import engineering
from pulsewright_app.wording import shown

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from pulsewright_analysis.assessment import Assessment
    from pulsewright_analysis.comparing import Comparison
    from pulsewright_analysis.results import Findings
    from pulsewright_analysis.swapping import Separated


def run_compare(
    old_file: Path, new_file: Path, claims_file: Path | None, as_json: bool, swapped: str | None, same: str | None
) -> int:
    """Compare two sessions, print a table or JSON, and return the exit code, which is that of the new one's claims.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, or an option has no meaning.
    """
    from pulsewright_analysis.comparing import compare
    from pulsewright_analysis.swapping import parse_swapped
    from pulsewright_app.printing import page, print_json

    pairs = parse_swapped(swapped) if swapped is not None else ()
    words = tuple(word.strip() for word in same.split(",")) if same else ()
    old, new = (_assessed(file, claims_file) for file in (old_file, new_file))
    comparison = compare(old, new, words)
    separated = [_separated(pair, (old_file, old), (new_file, new)) for pair in pairs]
    if as_json:
        print_json({**comparison.as_json(), "swapped": [found.as_json() for found in separated]})
    else:
        print_comparison(comparison, separated, page())
    return new.exit_code


def _assessed(file: Path, claims_file: Path | None) -> Assessment:
    """Measure a session by the claims file that was given, which alone is judged: one for both."""
    from pulsewright_app.inputs import open_with_settings
    from pulsewright_app.printing import progress_on_stderr

    given = open_with_settings(file, claims_file)
    if claims_file is None:
        given = replace(given, claims=None)  # each has its own, and they need not be the same
    with given.session, progress_on_stderr(f"Measuring {file.name}") as progress:
        return given.assess(progress)


def _separated(pair: tuple[str, str], old: tuple[Path, Assessment], new: tuple[Path, Assessment]) -> Separated:
    from pulsewright_analysis.swapping import separate, skew_of

    first, second = pair
    skews = []
    for file, assessment in (old, new):
        findings = assessment.findings
        skews.append(skew_of(first, second, findings, partial(_against, file=file, findings=findings)))
    return separate(first, second, *skews)


def _against(reference: str, file: Path, findings: Findings) -> Findings:
    """Measure a session once more, with another channel as the reference."""
    from pulsewright.opening import open_session
    from pulsewright_analysis.findings import measure
    from pulsewright_app.printing import progress_on_stderr

    settings = replace(findings.settings, reference=reference)
    with open_session(file) as session, progress_on_stderr(f"Measuring against {reference}") as progress:
        return measure(session, settings, progress)


def print_comparison(comparison: Comparison, separated: Sequence[Separated], out: Console) -> None:
    """Print every quantity before and after, what is counted, the claims, and the share of exchanged cables."""
    from pulsewright_app.printing import columns

    names = [_name(assessment) for assessment in (comparison.old, comparison.new)]
    out.print(f"{names[0]} (before) and {names[1]} (after)", style="bold")
    out.print()
    out.print(_summary(comparison))
    out.print()
    out.print(_differences(comparison))
    out.print()
    counted = [(name, str(old), str(new)) for name, old, new in comparison.counts]
    out.print(columns(("Counted", "Before", "After"), counted, right=(1, 2)))
    _print_claims(comparison, out)
    _print_separated(separated, out)
    if comparison.remarks:
        out.print()
        for remark in comparison.remarks:
            out.print(remark)


def _differences(comparison: Comparison) -> Table:
    """Return the table of quantities; one that was measured in neither session is no row."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    table.add_column("Quantity", no_wrap=True)
    for heading in ("Before ± U", "After ± U", "Difference ± U"):
        table.add_column(heading, justify="right", overflow="fold")
    table.add_column("", overflow="fold")
    for found in comparison.differences:
        told = _told(found.significant, found.reason)
        table.add_row(found.name, *(shown(q) if q else "" for q in (found.old, found.new, found.difference)), told)
    return table


def _name(assessment: Assessment) -> str:
    file = assessment.findings.session.file
    return "session" if file is None else file.name


def _summary(comparison: Comparison) -> str:
    changed = [found.meaning for found in comparison.differences if found.significant]
    level = engineering(100 * comparison.coverage, "", 4)
    number = comparison.compared
    of = f"of {number} {'quantity' if number == 1 else 'quantities'} compared at once ({level} %)"
    if not changed:
        return f"No difference is significant, {of}."
    verb = "difference is" if len(changed) == 1 else "differences are"
    return f"{len(changed)} {verb} significant, {of}: {', '.join(changed)}."


def _told(significant: bool | None, reason: str) -> str:
    return reason if significant is None else "significant" if significant else ""


def _print_claims(comparison: Comparison, out: Console) -> None:
    from pulsewright_app.printing import columns

    pairs = list(zip(comparison.old.verdicts, comparison.new.verdicts, strict=True))
    if not pairs:
        return
    rows = [
        (old.name, old.limit, old.verdict, new.verdict, "changed" if old.verdict != new.verdict else "")
        for old, new in pairs
    ]
    out.print()
    out.print(columns(("Claim", "Limit", "Before", "After", ""), rows))


def _print_separated(separated: Sequence[Separated], out: Console) -> None:
    from pulsewright_app.printing import columns

    if not separated:
        return
    rows = [
        (f"{s.second} against {s.first}", shown(s.old), shown(s.new), shown(s.recorder), shown(s.cable))
        for s in separated
    ]
    out.print()
    heading = ("Exchanged", "Before ± U", "After ± U", "Recorder's ± U", "Cables' ± U")
    out.print(columns(heading, rows, right=(1, 2, 3, 4)))
    out.print(
        "The recorder's share stays with the inputs. The cables' share is how much later the cable is that was on the "
        "second input before, with its output of the splitter, beyond the delays that the files declare. How well a "
        "plug repeats is not in U."
    )
