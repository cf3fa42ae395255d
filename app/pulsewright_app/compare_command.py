"""``pulsewright compare``: two sessions side by side, and what of a skew moved with the cables."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pulsewright.claim import NO_LIMIT
from pulsewright_app.wording import capitalised, shown

if TYPE_CHECKING:
    from rich.console import Console, Group
    from rich.table import Table

    from pulsewright_analysis.assessment import Assessment
    from pulsewright_analysis.comparing import Comparison
    from pulsewright_analysis.results import Findings
    from pulsewright_analysis.swapping import Separated
    from pulsewright_analysis.verdicts import Verdict
    from pulsewright_app.inputs import Input


def run_compare(
    old_file: Path,
    new_file: Path,
    claims_file: Path | None,
    as_json: bool,
    swapped: str | None,
    same: str | None,
    to: Path | None = None,
    date: str = "",
    by: str = "",
) -> int:
    """Compare two sessions, print a table or JSON, and return the exit code, which is that of the new one's claims.

    With `to` the comparison is written as a sheet too, HTML or PDF.

    Raises
    ------
    PulsewrightError
        If a file cannot be read, or an option has no meaning.
    """
    from pulsewright_analysis.comparing import compare, require_same
    from pulsewright_analysis.swapping import parse_swapped
    from pulsewright_app.printing import page, print_json

    if to is not None:
        from pulsewright_app.evidence.writing import check_target

        check_target(to)  # a name that cannot be written is told before anything is measured
    pairs = parse_swapped(swapped) if swapped is not None else ()
    words = tuple(word.strip() for word in same.split(",")) if same else ()
    require_same(words)
    with ExitStack() as both:
        given = [_opened(file, claims_file, pairs, both) for file in (old_file, new_file)]
        old, new = (_assessed(file, one) for file, one in zip((old_file, new_file), given, strict=True))
    comparison = compare(old, new, words)
    separated = [_separated(pair, old.findings, new.findings) for pair in pairs]
    if to is not None:
        from pulsewright_app.evidence.writing import write_comparison

        write_comparison(comparison, separated, to, date=date, by=by)
        print(f"pulsewright: the sheet is {to}.", file=sys.stderr)
    if as_json:
        print_json({**comparison.as_json(), "swapped": [found.as_json() for found in separated]})
    else:
        print_comparison(comparison, separated, page())
    return new.exit_code


def _opened(file: Path, claims_file: Path | None, pairs: Sequence[tuple[str, str]], both: ExitStack) -> Input:
    """Open a session, and see that it has the exchanged channels before anything is measured.

    The claims file that was given is for both, and alone is judged: each has its own, and they need not be the same.
    """
    from pulsewright_analysis.swapping import require_channels
    from pulsewright_app.inputs import open_with_settings

    given = open_with_settings(file, claims_file)
    both.enter_context(given.session)
    require_channels(pairs, given.settings.channels or [channel.name for channel in given.session.channels])
    return given if claims_file is not None else replace(given, claims=None)


def _assessed(file: Path, given: Input) -> Assessment:
    from pulsewright_app.printing import progress_on_stderr

    with progress_on_stderr(f"Measuring {file.name}") as progress:
        return given.assess(progress)


def _separated(pair: tuple[str, str], old: Findings, new: Findings) -> Separated:
    from pulsewright_analysis.swapping import separate, skew_of

    return separate(*pair, skew_of(*pair, old), skew_of(*pair, new))


def print_comparison(comparison: Comparison, separated: Sequence[Separated], out: Console) -> None:
    """Print every quantity before and after, what is counted, the claims, and the share of exchanged cables."""
    from pulsewright_app.evidence.comparison_sheet import file_name, summary
    from pulsewright_app.printing import columns

    names = [file_name(assessment) for assessment in (comparison.old, comparison.new)]
    out.print(f"{names[0]} (before) and {names[1]} (after)", style="bold")
    out.print()
    out.print(summary(comparison))
    out.print()
    out.print(_differences(comparison, out.width))
    out.print()
    counted = [(name, str(old), str(new)) for name, old, new in comparison.counts]
    out.print(columns(("Counted", "Before", "After"), counted, right=(1, 2)))
    _print_claims(comparison, out)
    _print_separated(separated, out)
    if comparison.remarks:
        out.print()
        for remark in comparison.remarks:
            out.print(remark)


_NAME = 23
"""Letters of a quantity's name in one line: as many as those of a skew have."""
_SIGNIFICANT = "significant"


def _differences(comparison: Comparison, width: int) -> Table:
    """Return the table of quantities; one that was measured in neither session is no row."""
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    numbers = ("Before ± U", "After ± U", "Difference ± U")
    between = 3 * (len(numbers) + 1)
    # what does not fit would be cut at the page's edge, and there stands what matters
    room = (width - _NAME - len(_SIGNIFICANT) - between) // len(numbers)
    table.add_column("Quantity", min_width=_NAME, overflow="fold")
    for heading in numbers:
        table.add_column(heading, justify="right", max_width=max(room, 8), overflow="fold")
    table.add_column("", min_width=len(_SIGNIFICANT), overflow="fold")
    for found in comparison.differences:
        told = _told(found.significant, found.reason)
        told_of = (shown(q) if q else "" for q in (found.old, found.new, found.difference))
        table.add_row(capitalised(found.meaning), *told_of, told)
    return table


def _told(significant: bool | None, reason: str) -> str:
    return reason if significant is None else _SIGNIFICANT if significant else ""


def _print_claims(comparison: Comparison, out: Console) -> None:
    from pulsewright_app.printing import columns

    pairs = list(zip(comparison.old.verdicts, comparison.new.verdicts, strict=True))
    if not pairs:
        return
    table = columns(("Claim", "Limit", "Before", "After", ""), ())
    for old, new in pairs:
        changed = "changed" if old.verdict != new.verdict else ""
        table.add_row(_claim(old, new), _limit(old), old.verdict, new.verdict, changed)
    out.print()
    out.print(table)


def _claim(old: Verdict, new: Verdict) -> Group:
    """Return a claim's name, with what was seen below it wherever it does not hold."""
    from rich.console import Group
    from rich.padding import Padding

    told = [f"{when}: {v.seen or v.reason}" for when, v in (("before", old), ("after", new)) if v.verdict != "holds"]
    return Group(old.name, *(Padding(text, (0, 0, 0, 2)) for text in told))


def _limit(verdict: Verdict) -> str:
    return "" if verdict.limit == NO_LIMIT.words else verdict.limit


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
