"""The minus sign: as numbers are shown to a person, and as they are typed."""

from __future__ import annotations

MINUS = "\u2212"
"""The sign of negative numbers in print (ISO 80000-1; Unicode's MINUS SIGN); the hyphen of a keyboard is shorter."""


def as_shown(number: str) -> str:
    """Return a number's text with true minus signs, ``"−1.5 ns"``; exponents too."""
    return number.replace("-", MINUS)


def as_typed(number: str) -> str:
    """Return a number's text as it is typed and read by programs, ``"-1.5 ns"``."""
    return number.replace(MINUS, "-")
