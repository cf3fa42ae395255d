"""The readable page of verdicts: each claim with what it came to, and why."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from pulsewright.quantity import engineering

if TYPE_CHECKING:
    from rich.console import Console

    from pulsewright_analysis.verdicts import Verdict

SHAPES = {"holds": "✓", "fails": "✗", "undecided": "?"}
"""A shape beside the word, so that neither needs a colour."""


def print_verdicts(verdicts: Sequence[Verdict], out: Console) -> None:
    """Print every verdict with its sentence, and below it why it is undecided and what would decide it."""
    if not verdicts:
        return
    out.print(summary(verdicts), style="bold")
    out.print(_table(verdicts))


def summary(verdicts: Sequence[Verdict]) -> str:
    """Return how many claims hold, fail and are undecided, in a sentence."""
    numbers = {word: sum(verdict.verdict == word for verdict in verdicts) for word in SHAPES}
    if numbers["holds"] == len(verdicts):
        return "Claims: the one claim holds" if len(verdicts) == 1 else f"Claims: all {len(verdicts)} hold"
    failing, open_ones = numbers["fails"], numbers["undecided"]
    told = [f"{numbers['holds']} of {len(verdicts)} {'holds' if numbers['holds'] == 1 else 'hold'}"]
    told += [f"{failing} {'fails' if failing == 1 else 'fail'}"] if failing else []
    told += [f"{open_ones} {'is' if open_ones == 1 else 'are'} undecided"] if open_ones else []
    return f"Claims: {', '.join(told)}"


def _table(verdicts: Sequence[Verdict]) -> object:
    from rich.table import Table

    table = Table(box=None, show_header=False, padding=(0, 1, 0, 0))
    for width in (1, 9):
        table.add_column(width=width, no_wrap=True)
    table.add_column(overflow="fold")
    for verdict in verdicts:
        table.add_row(SHAPES[verdict.verdict], verdict.verdict, "\n".join(lines_of(verdict)))
    return table


def lines_of(verdict: Verdict) -> list[str]:
    """Return what a person reads of a verdict: its name with the sentence, the reason, what would decide it."""
    lines = [f"{verdict.name}. {_stopped(verdict.sentence)}"]
    if verdict.why:
        lines.append(_stopped(f"Why: {verdict.why}"))
    if verdict.needed:
        lines.append(_stopped(f"What would decide it: {verdict.needed}"))
    if verdict.probability is not None:
        lines[-1] += f" {probability_in_words(verdict.probability)}"
    return lines


def probability_in_words(probability: float) -> str:
    """Write the probability of conformity."""
    if probability > 0.9999:
        return "Probability that it is true: above 99.99 %."
    if probability < 0.0001:
        return "Probability that it is true: below 0.01 %."
    return f"Probability that it is true: {engineering(100 * probability, '', 3)} %."


def _stopped(text: str) -> str:
    return text if text.endswith(".") else f"{text}."
