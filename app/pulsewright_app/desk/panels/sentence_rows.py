"""The rows of the findings' list: headings, verdicts, sentences, and what those open into. No widgets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.finding_details import sentence_lines, verdict_lines
from pulsewright_app.sentences import Sentence
from pulsewright_app.theme import VERDICT_SHAPES
from pulsewright_app.wording import summary

SERIOUS = "◆"
"""The shape before a sentence that needs attention, so that colour is never its only sign."""


@dataclass(frozen=True)
class Heading:
    """A heading, which cannot be chosen."""

    text: str


@dataclass(frozen=True)
class Detail:
    """One line of what a verdict or a sentence opened into."""

    text: str


Item = Verdict | Sentence
Row = Heading | Item | Detail


def text_of(row: Row) -> str:
    """Return what a row reads, plainly."""
    if isinstance(row, Verdict):
        return f"{sign_of(row)}  {row.name}" + (f"\n{row.sentence}" if tells_at_once(row) else "")
    if isinstance(row, Sentence):
        return f"{SERIOUS} {row.text}" if row.serious else row.text
    return row.text


def sign_of(verdict: Verdict) -> str:
    """Return a verdict's shape and word."""
    return f"{VERDICT_SHAPES[verdict.verdict]} {verdict.verdict}"


def tells_at_once(verdict: Verdict) -> bool:
    """Return whether a verdict tells what was seen without being opened: all that do not hold."""
    return verdict.verdict != "holds" and bool(verdict.sentence)


def details_of(item: Item, findings: Findings | None) -> list[Detail]:
    """Return what a verdict or a sentence opens into."""
    if isinstance(item, Verdict):
        lines = verdict_lines(item, findings)
        told_already = item.sentence if tells_at_once(item) else None
        return [Detail(line) for line in lines if line != told_already]
    return [Detail(line) for line in sentence_lines(item)]


def opens(item: Item) -> bool:
    """Return whether there is anything to open."""
    return isinstance(item, Verdict) or bool(item.behind or item.parts) or item.quantity is not None


def rows_of(
    verdicts: Sequence[Verdict], told: Sequence[Sentence], opened: set[Item], findings: Findings | None
) -> list[Row]:
    """Return all rows: verdicts first, then the sentences under their headings, each with its details if opened."""
    rows: list[Row] = []

    def add(item: Item) -> None:
        rows.append(item)
        if item in opened:
            rows.extend(details_of(item, findings))

    if verdicts:
        rows.append(Heading(summary([verdict.verdict for verdict in verdicts])))
        for verdict in verdicts:
            add(verdict)
    for group, members in groupby(told, key=lambda sentence: sentence.group):
        rows.append(Heading(group))
        for sentence in members:
            add(sentence)
    return rows


def as_text(items: Sequence[Item]) -> str:
    """Return verdicts and sentences as plain text, a heading before each group."""
    parts = []
    for group, members in groupby(items, key=lambda item: "Claims" if isinstance(item, Verdict) else item.group):
        lines = "\n".join(f"  {_on_one_line(item)}" for item in members)
        parts.append(f"{group}\n{lines}\n")
    return "\n".join(parts)


def _on_one_line(item: Item) -> str:
    if isinstance(item, Verdict):
        return f"{sign_of(item)}: {item.name}. {item.sentence}".rstrip()
    return text_of(item)
