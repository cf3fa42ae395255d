"""Rows of a long table as tab-separated text at full precision, made on any thread: there may be very many. No Qt."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Protocol

MOST_AT_ONCE = 2000
"""Rows that are made a text of in a moment; more are left to somebody who does not hold the desk up."""
_BETWEEN_LOOKS = 1000
"""Rows made before it is asked again whether they are still wanted."""


class LongRows(Protocol):
    """Rows as they were when somebody copied them."""

    @property
    def headings(self) -> tuple[str, ...]:
        """Of the columns, in the order of the table."""
        ...

    def cells(self) -> Iterator[tuple[str, ...]]:
        """Return the cells of each row."""
        ...


def text_of(rows: LongRows, cancelled: Callable[[], bool] = lambda: False) -> str:
    """Return rows as text, the headings first; empty if it was called off."""
    lines = ["\t".join(rows.headings)]
    for place, cells in enumerate(rows.cells()):
        if place % _BETWEEN_LOOKS == 0 and cancelled():
            return ""
        lines.append("\t".join(cells))
    return "\n".join(lines) + "\n"


def exact(number: float) -> str:
    """Return a number at full precision; empty where it is not known."""
    return repr(float(number)) if math.isfinite(number) else ""


def on_one_line(text: str) -> str:
    """Return a text without breaks and tabs, which part rows and cells."""
    return " ".join(text.split())
