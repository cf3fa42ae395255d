"""What the sentences about findings are made of: their form, their headings, and the phrases they share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Findings
from pulsewright_analysis.verdicts import Decision

ViewHint = Literal["single", "stacked", "afterglow", "map"]
FigureName = Literal["positions", "skew", "jitter", "trigger_gaps"]

STANDS_OUT = "What stands out"
TRIGGERS = "Triggers"
PROGRESSION = "Pulse position and polarity"
ALIGNMENT = "Alignment"
ALIGNMENT_ROWS = "Alignment, channel by channel"
JITTER = "Jitter"
TIMING = "Timing"
HEALTH = "Health, channel by channel"
IN_DOUBT = "Not measured, or in doubt"
SETTINGS = "Measured with"

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:[fpnµmkMGT]?(?:s|V|Hz)|dB|%)(?!\w))|(?<=record) (?=\d)| (?=±)|(?<=±) ")
"""Spaces at which a line must not break: a number keeps its unit and its U."""

MOST_LISTED = 12
"""How many of a kind are told one by one; the rest is told as a count."""

ORIGINS = {"option": "option", "review": "review", "claims": "claims file", "default": "default"}


@dataclass(frozen=True)
class Sentence:
    """One finding in words, and where its evidence can be seen.

    Attributes
    ----------
    group : str
        The heading that it stands under.
    text : str
        The sentence, without a final full stop.
    record, channel : int or None
        Where to look for the evidence; None where no single one shows it.
    view : str or None
        The view that shows it best.
    serious : bool
        Whether it needs a person's attention.
    quantity : Quantity or None
        The number that it tells, at full precision.
    parts : tuple of (str, Quantity)
        The numbers of a sentence that tells several, each with what it is.
    behind : tuple of str
        What the sentence rests on where that is no quantity, line by line.
    figure : str or None
        The small figure that shows it; None: that of its group.
    """

    group: str
    text: str
    record: int | None = None
    channel: int | None = None
    view: ViewHint | None = None
    serious: bool = False
    quantity: Quantity | None = None
    parts: tuple[tuple[str, Quantity], ...] = ()
    behind: tuple[str, ...] = ()
    figure: FigureName | None = None


def named_numbers(*numbers: tuple[str, Quantity | None]) -> tuple[tuple[str, Quantity], ...]:
    """Return the numbers that were measured, each with what it is."""
    return tuple((name, number) for name, number in numbers if number is not None)


def shown(quantity: Quantity | None) -> str:
    """Write a quantity as ``value ± U``, or with both ends where its 95 % interval is lopsided."""
    return "not measured" if quantity is None else quantity.in_words


def excludes_zero(quantity: Quantity | None) -> bool:
    """Return whether the 95 % interval of a quantity does not hold 0; False if exact or missing."""
    if quantity is None or quantity.expanded == 0:
        return False
    low, high = quantity.interval95
    return low > 0 or high < 0


def named(findings: Findings, channel: int) -> str:
    """Return a channel's name with its module's."""
    name, module = findings.session.channels[channel]
    return f"{name} ({module})"


def first_channel(findings: Findings, module: str) -> int | None:
    """Return the first measured channel of a module."""
    return next((c for c in findings.channels if findings.session.channels[c][1] == module), None)


def capitalised(text: str) -> str:
    """Begin a text with a capital letter, the rest as it is."""
    return text[:1].upper() + text[1:]


def count(number: int, noun: str) -> str:
    """Write a number with its noun, in the plural unless it is 1."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def listed(words: Sequence[str]) -> str:
    """Join words as a sentence does."""
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else ""


def rejected_words(pulses: Sequence[tuple[int, str, int]]) -> str:
    """Say which pulses were rejected; empty for none."""
    if not pulses:
        return ""
    told = [f"record {record}, {channel}" for record, channel, _ in pulses[:MOST_LISTED]]
    rest = len(pulses) - len(told)
    return f"{len(pulses)}: {'; '.join(told)}{f' and {rest} more' if rest else ''}"


def unbroken(text: str) -> str:
    """Return text in which a number keeps its unit and its U on the same line."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def with_full_stop(text: str) -> str:
    """End a text with a full stop where it has no end of its own; an empty one stays empty."""
    text = text.strip()
    return text if not text or text[-1] in ".!?" else f"{text}."


_CERTAIN = 0.9999


def chance(probability: float) -> str:
    """Write a probability in percent; one that cannot be told from certainty says only on which side it is."""
    if probability > _CERTAIN:
        return f"above {100 * _CERTAIN:.2f} %"
    if probability < 1 - _CERTAIN:
        return f"below {100 * (1 - _CERTAIN):.2f} %"
    return f"{100 * probability:.2f} %"


def probability_in_words(probability: float) -> str:
    """Write the probability of conformity as a sentence."""
    return f"Probability that it is true: {chance(probability)}."


def degrees(dof: float | None) -> str:
    """Write degrees of freedom; infinitely many where they are not limited."""
    return "∞" if dof is None else f"{dof:,.4g}" if dof < 1000 else f"{dof:,.0f}"


def summary(decisions: Sequence[Decision]) -> str:
    """Say how many claims fail, are undecided and hold, without a full stop; at least one was judged."""
    numbers = {word: sum(decision == word for decision in decisions) for word in ("fails", "undecided", "holds")}
    if numbers["holds"] == len(decisions):
        return "The claim holds" if len(decisions) == 1 else f"All {len(decisions)} claims hold"
    verbs = {"fails": ("fails", "fail"), "undecided": ("is undecided", "are undecided"), "holds": ("holds", "hold")}
    told = [f"{number} {verbs[word][number != 1]}" for word, number in numbers.items() if number]
    return f"Of {count(len(decisions), 'claim')}, {', '.join(told)}"


def ranges(records: Iterable[int]) -> str:
    """Write numbers of records, neighbours joined: ``3, 7 to 9``."""
    runs: list[list[int]] = []
    for record in sorted(set(records)):
        if runs and record == runs[-1][1] + 1:
            runs[-1][1] = record
        else:
            runs.append([record, record])
    told: list[str] = []
    for first, last in runs:
        told += (
            [str(first)] if first == last else [str(first), str(last)] if last == first + 1 else [f"{first} to {last}"]
        )
    return ", ".join(told)


def follows(first: int | None, second: int | None, channels: tuple[str, str]) -> str:
    """Return what a marker pair follows, such as ``follows pulses 0 and 1``, or ``t₂ follows pulse 1``.

    Parameters
    ----------
    first, second : int or None
        The pulse that each of its markers follows; None for one that is fixed in time.
    channels : (str, str)
        The name of each marker's channel. They are told where they differ: ``follows pulse 0 of H01 and pulse 0 of
        H02``.
    """
    of_first, of_second = (f" of {name}" if channels[0] != channels[1] else "" for name in channels)
    if first is not None and second is not None:
        if of_first:
            return f"follows pulse {first}{of_first} and pulse {second}{of_second}"
        return f"follows pulses {first} and {second}"
    return f"t₂ follows pulse {second}{of_second}" if first is None else f"t₁ follows pulse {first}{of_first}"


def level_words(level: str, pulse: int | None) -> str:
    """Return what a level marker was put on in words.

    Parameters
    ----------
    level, pulse
        See `pulsewright.review.LevelMarker`.
    """
    if not level:
        return "by hand"
    if pulse is None:
        return "a sample" if level == "sample" else f"the {level}"
    return f"{'the ' if level == 'top' else ''}{level} of pulse {pulse}"


def held_for(records: Sequence[int], shown: int | None) -> list[str]:
    """Return which records the uncertainties of a pair hold for, where that is not the one that is shown.

    Parameters
    ----------
    records : sequence of int
        Those that its two markers were put down on.
    shown : int or None
        The record that is shown; None where no single one is.

    Returns
    -------
    list of str
        One phrase, such as ``record 3`` or ``records 3 and 5``; none where there is nothing to say.
    """
    apart = list(dict.fromkeys(records))
    if apart == [shown]:
        return []
    return [f"record {apart[0]}" if len(apart) == 1 else f"records {apart[0]} and {apart[1]}"]


def stays(first: int | None, second: int | None, records: Sequence[int], channels: tuple[str, str]) -> list[str]:
    """Return what the marker that is fixed is of, where the other one of its pair follows elsewhere.

    Parameters
    ----------
    first, second : int or None
        The pulse that each marker follows.
    records : sequence of int
        Those that the two stand in.
    channels : (str, str)
        The name of each marker's channel.

    Returns
    -------
    list of str
        One phrase, such as ``t₁ of record 0``, or ``t₁ of record 0, H01`` where the other one is on another channel;
        none where there is nothing to say.
    """
    if (first is None) == (second is None) or (records[0] == records[1] and channels[0] == channels[1]):
        return []
    marker, fixed = ("t₁", 0) if first is None else ("t₂", 1)
    return [f"{marker} of record {records[fixed]}" + (f", {channels[fixed]}" if channels[0] != channels[1] else "")]
