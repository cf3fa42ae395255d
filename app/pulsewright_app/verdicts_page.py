"""The readable page of verdicts: each claim with what it came to, and why."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pulsewright_app.theme import VERDICT_SHAPES
from pulsewright_app.wording import probability_in_words, summary, with_full_stop

if TYPE_CHECKING:
    from rich.console import Console

    from pulsewright_analysis.verdicts import Verdict


def print_verdicts(verdicts: Sequence[Verdict], out: Console) -> None:
    """Print every verdict with its sentence, and below it why it is undecided and what would decide it."""
    if not verdicts:
        return
    out.print(summary([verdict.verdict for verdict in verdicts]), style="bold")
    out.print(_table(verdicts))


def _table(verdicts: Sequence[Verdict]) -> object:
    from rich.table import Table

    table = Table(box=None, show_header=False, padding=(0, 1, 0, 0))
    for width in (1, 9):
        table.add_column(width=width, no_wrap=True)
    table.add_column(overflow="fold")
    for verdict in verdicts:
        table.add_row(VERDICT_SHAPES[verdict.verdict], verdict.verdict, "\n".join(lines_of(verdict)))
    return table


def lines_of(verdict: Verdict) -> list[str]:
    """Return what a person reads of a verdict: name, sentence, reason, what would decide it, how probable it is."""
    lines = [f"{verdict.name}. {with_full_stop(verdict.sentence)}"]
    if verdict.why:
        lines.append(with_full_stop(f"Why: {verdict.why}"))
    if verdict.needed:
        lines.append(with_full_stop(f"What would decide it: {verdict.needed}"))
    if verdict.probability is not None:
        lines.append(probability_in_words(verdict.probability))
    return lines
