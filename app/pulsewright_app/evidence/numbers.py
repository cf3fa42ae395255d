"""How the sheet writes numbers: each as text for a person, with the exact value kept beside it."""

from __future__ import annotations

import re
import unicodedata

from pulsewright.quantity import Quantity, engineering, with_uncertainty
from pulsewright_app import wording
from pulsewright_app.evidence.sheet import Cell, Facts, Interval, Number, Table
from pulsewright_app.wording import chance, shown


def number(quantity: Quantity) -> Number:
    """Return a quantity as ``value ± U``, or with both ends of a lopsided 95 % interval."""
    return Number(shown(quantity), quantity.value, quantity)


def plain(value: float, unit: str, digits: int = 3) -> Number:
    """Return a plain number with its unit, rounded to so many significant digits."""
    return Number(engineering(value, unit, digits), value)


def value_of(quantity: Quantity) -> Number:
    """Return the value alone, as rounded as it is beside its U (JCGM 100:2008, 7.2.6)."""
    value, _, rest = shown(quantity).partition(" (95 %")[0].partition(" ± ")
    _, _, unit = rest.partition(" ")
    return Number(f"{value} {unit}".rstrip(), quantity.value)


def interval(low: float, high: float, unit: str) -> Interval:
    """Return an interval, its ends rounded to a hundredth of its width or better."""
    width = high - low
    if width <= 0:
        return Interval(f"{engineering(low, unit, 7)} to {engineering(high, unit, 7)}", low, high)
    ends = []
    for end in (low, high):
        value, _, rest = with_uncertainty(end, width / 20, unit).partition(" ± ")
        ends.append(f"{value} {rest.partition(' ')[2]}".rstrip())
    return Interval(" to ".join(ends), low, high)


def count(value: int) -> Number:
    """Return a whole number, its thousands apart."""
    return Number(f"{value:,}", value)


def degrees(dof: float | None) -> Number | str:
    """Return degrees of freedom; infinitely many where they are not limited."""
    text = wording.degrees(dof)
    return text if dof is None else Number(text, dof)


def facts_of(quantity: Quantity, probability: float | None = None) -> Facts:
    """Return a measured value with u, k, U, degrees of freedom, 95 % interval, and probability of conformity."""
    unit = quantity.unit
    facts: list[tuple[str, Cell]] = [("Measured", value_of(quantity))]
    if quantity.u > 0:
        facts += [
            ("u", plain(quantity.u, unit)),
            ("k", plain(quantity.expanded / quantity.u, "")),
            ("U (95 %)", plain(quantity.expanded, unit)),
            ("dof", degrees(quantity.dof)),
            ("95 % interval", interval(*quantity.interval95, unit)),
        ]
    if probability is not None:
        facts.append(("Probability that the claim is true", Number(chance(probability), probability)))
    return tuple(facts)


def budget_table(quantity: Quantity) -> Table | None:
    """Return the terms of u one by one, and what they come to; None where no term is kept."""
    if not quantity.terms or quantity.u == 0:
        return None
    rows = [
        (
            term.name,
            plain(term.u, quantity.unit),
            term.kind,
            degrees(term.dof),
            Number(f"{100 * (term.u / quantity.u) ** 2:.1f} %", (term.u / quantity.u) ** 2),
            term.source,
        )
        for term in quantity.terms
    ]
    combined = ("combined", plain(quantity.u, quantity.unit), "", degrees(quantity.dof), "", "")
    return Table(
        ("Term", "u", "Type", "dof", "Share of u²", "From"), (*rows, combined), right=(1, 3, 4), wide=(5,), total=True
    )


_UNITS_AFTER = re.compile(r"(?<=\d) (?=(?:[fpnµmkMGT]?(?:s|V|Hz|S/s)|%|dB|ppm|samples?|records?)\b|%)")


def readable(text: str) -> str:
    """Return a text as the sheet shows it: numbers in one line with their units and their U, no hidden letters.

    Control characters, and those that turn the direction of writing, could make a sheet read otherwise than it is.
    """
    seen = "".join("\N{REPLACEMENT CHARACTER}" if _hidden(letter) else letter for letter in text)
    tied = _UNITS_AFTER.sub("\N{NO-BREAK SPACE}", seen)
    return tied.replace(" ± ", "\N{NO-BREAK SPACE}±\N{NO-BREAK SPACE}")


def _hidden(letter: str) -> bool:
    return letter not in "\n\t" and unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Co", "Cn")
