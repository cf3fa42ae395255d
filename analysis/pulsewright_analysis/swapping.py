"""Two sessions with inputs exchanged: what of a skew is the recorder's, and what is the cables'."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from pulsewright.budget import Term
from pulsewright.errors import SettingError
from pulsewright.quantity import Quantity
from pulsewright_analysis.results import Findings

WITH_THE_CABLE = ("cable delay", "splitter")
"""Type B terms whose error moves with the cable from one input to the other."""
WITH_THE_RECORDER = ("recorded trigger offset", "sample clock")
"""Type B terms whose error stays with the input."""


@dataclass(frozen=True)
class Separated:
    """One pair of inputs whose cables were exchanged.

    Attributes
    ----------
    first, second : str
        The two channels.
    old, new : Quantity
        Skew of the second channel against the first in each session, seconds.
    recorder : Quantity
        What stays with the inputs, (old + new)/2: how much later the second input is.
    cable : Quantity
        What moves with the cables, (old − new)/2: how much later the cable on the second input of the first session
        is, with its output of the splitter, beyond the delays that the files declare.
    """

    first: str
    second: str
    old: Quantity
    new: Quantity
    recorder: Quantity
    cable: Quantity

    def as_json(self) -> dict[str, Any]:
        """Return the form that ``compare --swapped --json`` prints."""
        quantities = {"old": self.old, "new": self.new, "recorder": self.recorder, "cable": self.cable}
        return {"channels": [self.first, self.second], **{k: dict(q.as_json()) for k, q in quantities.items()}}


def parse_swapped(text: str) -> tuple[tuple[str, str], ...]:
    """Read ``"A1:B1,A2:B2"``: pairs of inputs whose cables were exchanged.

    Parameters
    ----------
    text : str
        Pairs with a comma between them, the two channels of each with a colon between them.

    Returns
    -------
    tuple of (str, str)
        The two channels of each pair.

    Raises
    ------
    SettingError
        If there is no pair, or a channel stands in two.
    """
    pairs = []
    for part in text.split(","):
        names = [name.strip() for name in part.split(":")]
        if len(names) != 2 or not all(names) or names[0] == names[1]:
            raise SettingError(f"swapped: {part.strip()!r} is no pair of channels", 'write it like "H01:H05,H02:H06"')
        pairs.append((names[0], names[1]))
    used = [name for pair in pairs for name in pair]
    twice = next((name for name in used if used.count(name) > 1), None)
    if twice is not None:
        raise SettingError(f"swapped: {twice} stands in more than one pair", "name each channel once")
    return tuple(pairs)


def separate(first: str, second: str, old: Quantity, new: Quantity) -> Separated:
    """Return the recorder's and the cables' share of a skew.

    Parameters
    ----------
    first, second : str
        The channels.
    old, new : Quantity
        Skew of the second against the first, with its budget, before and after the cables were exchanged; seconds.

    Returns
    -------
    Separated
        By half the sum and half the difference. What is random, and a trigger that was not timed, is independent in the
        two sessions and enters both shares by half (JCGM 100:2008, 5.1.2). A cable's own error turns its sign with the
        exchange: it is part of the cables' share and cancels in the recorder's. An error of the recorder is the same
        in both: it stays whole in the recorder's share and cancels in the cables'.
    """
    halves = [
        replace(term.scaled(0.5), name=f"{term.name}, {when}")
        for when, quantity in (("before", old), ("after", new))
        for term in quantity.terms or (Term("measured", quantity.u, "A", quantity.dof),)
        if not term.name.startswith((*WITH_THE_CABLE, *WITH_THE_RECORDER))
    ]
    recorder = (old.value + new.value) / 2
    lasting = [term for term in old.terms if term.name.startswith(WITH_THE_RECORDER)]
    lasting = [_of_value(term, old.value, recorder) for term in lasting]
    return Separated(
        first,
        second,
        old,
        new,
        Quantity.from_terms(recorder, "s", (*halves, *lasting)),
        Quantity.from_terms((old.value - new.value) / 2, "s", tuple(halves)),
    )


def _of_value(term: Term, was: float, value: float) -> Term:
    """Return the recorder's term for another value: the clock's share goes with it."""
    return term.scaled(value / was) if term.name == "sample clock" and was else term


def require_channels(pairs: Sequence[tuple[str, str]], names: Sequence[str]) -> None:
    """See that every channel of the pairs is one that is measured.

    Parameters
    ----------
    pairs : sequence of (str, str)
    names : sequence of str
        Names of the channels that take part.

    Raises
    ------
    SettingError
        If one is not among them.
    """
    unknown = next((name for pair in pairs for name in pair if name not in names), None)
    if unknown is not None:
        raise SettingError(f"swapped: no channel {unknown} is measured", f"the channels are {', '.join(names)}")


def skew_of(first: str, second: str, findings: Findings) -> Quantity:
    """Return the skew of the second channel against the first, with its budget.

    Parameters
    ----------
    first, second : str
        Names of channels.
    findings : Findings

    Returns
    -------
    Quantity
        Seconds, from the records in which both were compared with the reference, whose own noise cancels. Of a sine
        the one nearest to 0 of those that differ by whole periods.

    Raises
    ------
    SettingError
        If there is no such channel, or it was not measured.
    """
    require_channels([(first, second)], [findings.channel_name(channel) for channel in findings.channels])
    for pair in findings.alignment.pairs:
        names = tuple(findings.channel_name(channel) for channel in pair.channels)
        if names in ((first, second), (second, first)):
            skew = pair.skew if names == (first, second) else pair.skew.scaled(-1.0)
            return _nearest_to_zero(skew, findings)
    file = findings.session.file.name if findings.session.file is not None else "the session"
    raise SettingError(f"{file}: no skew of {second} against {first} was measured", "see what measure says of it")


def _nearest_to_zero(skew: Quantity, findings: Findings) -> Quantity:
    frequency = findings.alignment.frequency
    if frequency is None or findings.alignment.method != "sine":
        return skew
    off = round(skew.value * frequency.value) / frequency.value
    limits = None if skew.limits95 is None else (skew.limits95[0] - off, skew.limits95[1] - off)
    return replace(skew, value=skew.value - off, limits95=limits)
