"""Cuts a filter into words, signs, numbers with their units, and quoted text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from pulsewright.errors import FilterError

Kind = Literal["word", "sign", "value", "text"]

LONGEST = 2000
"""Characters that a filter may have."""

_SAME_SIGN = {"≥": ">=", "≤": "<=", "≠": "!=", "…": "..", "−": "-"}
_JOINING = frozenset(("and", "or"))

_SPACE = re.compile(r"\s+")
_SIGN = re.compile(r"\.\.|…|>=|<=|!=|[≥≤≠><=()]")
_NUMBER = re.compile(r"[+\-−]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+\-−]?\d+)?", re.ASCII)
_UNIT = re.compile(r"[^\W\d_][^\s()<>=!≥≤≠…\"'“”.,]*|[%°Ω][^\s()<>=!≥≤≠…\"'“”.,]*")
_TEXT = re.compile(r"\"([^\"]*)\"|'([^']*)'|“([^”]*)”")
_WORD = re.compile(r"[^\W\d_]+")


@dataclass(frozen=True)
class Token:
    """A piece of a filter.

    Attributes
    ----------
    kind : str
        ``word``, ``sign``, ``value`` or ``text``.
    text : str
        As it counts: a sign in its plain form, quoted text without the quotes.
    start, stop : int
        The characters that it takes up.
    number, unit : str
        Of a value; the unit may be empty.
    """

    kind: Kind
    text: str
    start: int
    stop: int
    number: str = ""
    unit: str = ""


def tokens_of(text: str) -> list[Token]:
    """Return the pieces of a filter, in order.

    Parameters
    ----------
    text : str
        The filter, of at most `LONGEST` characters.

    Raises
    ------
    FilterError
        For a character that can stand nowhere, quotes that do not end, and a text that is too long.
    """
    if len(text) > LONGEST:
        raise FilterError(
            f"filter: it has {len(text)} characters, more than {LONGEST}", "write it shorter", LONGEST, len(text)
        )
    tokens: list[Token] = []
    at = 0
    while at < len(text):
        space = _SPACE.match(text, at)
        if space:
            at = space.end()
            continue
        token = _token_at(text, at)
        tokens.append(token)
        at = token.stop
    return tokens


def _token_at(text: str, at: int) -> Token:
    if found := _SIGN.match(text, at):
        return Token("sign", _SAME_SIGN.get(found[0], found[0]), at, found.end())
    if found := _NUMBER.match(text, at):
        return _value(text, found)
    if found := _TEXT.match(text, at):
        return Token("text", next(part for part in found.groups() if part is not None), at, found.end())
    if found := _WORD.match(text, at):
        return Token("word", found[0], at, found.end())
    raise _stray(text, at)


def _value(text: str, found: re.Match[str]) -> Token:
    """Take a number, and the unit behind it if that is none of the words that join conditions."""
    number = found[0].replace("−", "-")
    space = _SPACE.match(text, found.end())
    unit = _UNIT.match(text, space.end() if space else found.end())
    if unit is None or unit[0].casefold() in _JOINING:
        return Token("value", number, found.start(), found.end(), number)
    return Token("value", f"{number} {unit[0]}", found.start(), unit.end(), number, unit[0])


def _stray(text: str, at: int) -> FilterError:
    remedies = {
        ",": "write decimals with a point, like 1.5 ms",
        '"': "end the quoted words with another quote",
        "'": "end the quoted words with another quote",
        "“": "end the quoted words with another quote",
        "&": 'write "and"',
        "|": 'write "or"',
        "!": 'write "not"',
        "~": 'write "not"',
        "[": "write round brackets",
        "{": "write round brackets",
    }
    return FilterError(
        f'filter, character {at + 1}: "{text[at]}" cannot stand there',
        remedies.get(text[at], "use words, numbers with units, the signs > < = and brackets"),
        at,
        at + 1,
    )
