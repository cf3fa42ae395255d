"""What a finding or a verdict opens into: its numbers, its budget, and where its evidence can be seen. No Qt."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pulsewright.budget import Term
from pulsewright.errors import BudgetError
from pulsewright.quantity import Quantity, engineering
from pulsewright_analysis.budgets import OF_CHANNEL, OF_PULSE, budget_of
from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.wording import (
    ALIGNMENT,
    ALIGNMENT_ROWS,
    JITTER,
    PROGRESSION,
    TIMING,
    TRIGGERS,
    FigureName,
    Sentence,
    ViewHint,
    capitalised,
    degrees,
    first_channel,
    probability_in_words,
)

FIGURE_NAMES: tuple[FigureName, ...] = ("positions", "skew", "jitter", "trigger_gaps")

FIGURES_OF_GROUPS: Mapping[str, FigureName] = {
    TRIGGERS: "trigger_gaps",
    PROGRESSION: "positions",
    ALIGNMENT: "skew",
    ALIGNMENT_ROWS: "skew",
    JITTER: "jitter",
    TIMING: "trigger_gaps",
}
"""The small figure that shows what a group of sentences says."""

_DIGITS = 6
"""Significant digits of the ends of an interval."""


@dataclass(frozen=True)
class Evidence:
    """Where to look: a record, a channel, a view, a figure; None where none of them shows it alone."""

    record: int | None = None
    channel: int | None = None
    view: ViewHint | None = None
    figure: FigureName | None = None


def number_lines(quantity: Quantity) -> Iterator[str]:
    """Yield a quantity's value with u, its interval, and its budget term by term."""
    unit = quantity.unit
    if quantity.u == 0:
        yield f"Value {engineering(quantity.value, unit, 9)}, exact with these settings"
        return
    dof = "" if quantity.dof is None else f", {degrees(quantity.dof)} degrees of freedom"
    value, u = engineering(quantity.value, unit, 7), engineering(quantity.u, unit, 3)
    yield f"Value {value}, standard uncertainty u {u}{dof}"
    yield f"95 % interval: {interval_in_words(*quantity.interval95, unit)}"
    if quantity.terms:
        yield "Budget of u:"
    for term in sorted(quantity.terms, key=lambda term: -term.u):
        if term.u > 0:
            yield _term_line(term, quantity)
    exact = [term.name for term in quantity.terms if term.u == 0]
    if exact:
        yield f"– taken as exact: {', '.join(exact)}"


def interval_in_words(low: float, high: float, unit: str) -> str:
    """Return both ends of an interval; in one and the same unit, with as many decimals as their digits allow."""
    ends = [engineering(end, unit, _DIGITS).partition(" ") for end in (low, high)]
    if ends[0][2] == ends[1][2] and not any("e" in number for number, *_ in ends):
        decimals = max(len(number.partition(".")[2]) for number, *_ in ends)
        ends = [(_with_decimals(number, decimals), space, same) for number, space, same in ends]
    return " to ".join("".join(end) for end in ends)


def _with_decimals(number: str, decimals: int) -> str:
    """Return a number with zeros at its end, as long as they are digits that were rounded to."""
    whole, _, fraction = number.partition(".")
    known = _DIGITS - len(whole.lstrip("−"))
    fraction = fraction.ljust(min(decimals, known), "0")
    return f"{whole}.{fraction}" if fraction else whole


def sentence_lines(sentence: Sentence) -> Iterator[str]:
    """Yield what a sentence opens into: what it rests on, then each of its numbers with its budget."""
    yield from sentence.behind
    if sentence.quantity is not None:
        yield from number_lines(sentence.quantity)
    for name, quantity in sentence.parts:
        yield f"{capitalised(name)}:"
        yield from number_lines(quantity)


def _term_line(term: Term, quantity: Quantity) -> str:
    size = f"u {engineering(term.u, quantity.unit, 3)}, {100 * (term.u / quantity.u) ** 2:.1f} % of u²"
    source = f" ({term.source})" if term.source else ""
    return f"– {term.name}: {size}, type {term.kind}{source}"


def verdict_lines(verdict: Verdict, findings: Findings | None) -> list[str]:
    """Return what a verdict opens into: what was compared, why, what would decide it, its numbers and its method.

    Parameters
    ----------
    verdict : Verdict
    findings : Findings or None
        Where its budget stands.
    """
    lines = [verdict.sentence] if verdict.sentence else []
    if verdict.interval is not None and verdict.measured is not None:
        ends, share = interval_in_words(*verdict.interval, verdict.measured.unit), f"{100 * verdict.coverage:.4g} %"
        lines.append(f"Compared: {ends} ({share}) with {verdict.limit}")
    if verdict.why:
        lines.append(f"Why: {verdict.why}")
    if verdict.needed:
        lines.append(f"What would decide it: {verdict.needed}")
    if verdict.probability is not None:
        lines.append(probability_in_words(verdict.probability))
    if verdict.withheld:
        lines.append(f"Withheld on purpose: triggers {', '.join(map(str, verdict.withheld))}")
    quantity = _with_budget(verdict, findings)
    if quantity is not None:
        lines += number_lines(quantity)
    if verdict.method:
        lines.append(f"How: {verdict.method}")
    return lines


def _with_budget(verdict: Verdict, findings: Findings | None) -> Quantity | None:
    if verdict.budget and findings is not None:
        try:
            return budget_of(findings, verdict.budget).quantity
        except BudgetError:  # the findings are others by now
            return verdict.measured
    return verdict.measured


def evidence_of(verdict: Verdict, findings: Findings) -> Evidence:
    """Return where the evidence of a verdict can be seen.

    Parameters
    ----------
    verdict : Verdict
    findings : Findings
    """
    channel, record = _place_of(verdict, findings)
    record = verdict.records[0] if verdict.records else record
    views: dict[str, ViewHint] = {
        "positions": "map", "trigger_gaps": "map", "jitter": "afterglow", "skew": "single",
        "afterglow": "afterglow", "markers": "single", "health": "single", "pulses": "single",
    }  # fmt: skip
    figure = next((name for name in FIGURE_NAMES if name == verdict.figure), None)
    if channel is None and verdict.figure in ("positions", "trigger_gaps", "jitter"):
        channel = findings.sequence.channel
    return Evidence(record, channel, views.get(verdict.figure), _drawn(figure, findings))


def _drawn(figure: FigureName | None, findings: Findings) -> FigureName | None:
    """Return the figure, or that of the walk where there are no trigger times: it shows alone what is missing."""
    timed = bool(np.isfinite(findings.timing.gap).any())
    return "positions" if figure == "trigger_gaps" and not timed else figure


def _place_of(verdict: Verdict, findings: Findings) -> tuple[int | None, int | None]:
    """Return the channel and the record that the verdict is about, each None where it is about no single one."""
    if verdict.channel is not None:
        return verdict.channel, None
    if verdict.kind == "skew_within_modules":
        pairs = findings.alignment.within_pairs
        return next((pair.channels[1] for pair in pairs if pair.skew == verdict.measured), None), None
    kind, _, rest = verdict.budget.partition(" ")
    names = {findings.channel_name(channel): channel for channel in findings.channels}
    if kind == "between":
        modules = [pair.modules for pair in findings.alignment.between_modules]
        later = next((second for first, second in modules if rest == f"{first} {second}"), "")
        return first_channel(findings, later), None
    if kind in OF_CHANNEL:
        return names.get(rest), None
    if kind not in OF_PULSE:
        return None, None
    words = rest.split(" ")
    for tail in (1, 2):  # the record, and perhaps the number of a pulse in it
        name, numbers = " ".join(words[:-tail]), words[-tail:]
        if name in names and all(number.isdigit() for number in numbers):
            return names[name], int(numbers[0])
    return None, None


def evidence_of_sentence(sentence: Sentence, findings: Findings) -> Evidence:
    """Return where the evidence of a sentence can be seen."""
    figure = sentence.figure or FIGURES_OF_GROUPS.get(sentence.group)
    return Evidence(sentence.record, sentence.channel, sentence.view, _drawn(figure, findings))
