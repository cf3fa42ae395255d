"""The minus sign: as numbers are shown to a person, and as they are typed."""

from __future__ import annotations

from numbers import Real

MINUS = "\u2212"
"""The sign of negative numbers in print (Unicode's MINUS SIGN); the hyphen of a keyboard is shorter."""


def as_shown(number: str) -> str:
    """Return a number's text with true minus signs, as it is shown.

    Parameters
    ----------
    number : str
        A number as Python writes it, with or without a unit; the sign of an exponent changes too.
    """
    return number.replace("-", MINUS)


def quoted(raw: object) -> str:
    """Return what somebody gave as a sentence quotes it: a text in quotes as it was typed, a number as it is shown.

    Parameters
    ----------
    raw : object
        A text, a number, a truth value, or a list of them.
    """
    if isinstance(raw, list | tuple):
        return f"[{', '.join(map(quoted, raw))}]"
    return as_shown(str(raw)) if isinstance(raw, Real) else repr(raw)


def as_typed(number: str) -> str:
    """Return a number's text with hyphens for minus signs, as it is typed and read by programs.

    Parameters
    ----------
    number : str
        A number as it is shown or typed, with or without a unit.
    """
    return number.replace(MINUS, "-")
