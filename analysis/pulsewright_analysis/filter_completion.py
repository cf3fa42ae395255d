"""What may stand at the cursor of a filter that is being written."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pulsewright_analysis.record_filter import Offer, offers_after

_MOST_WORDS = 3
_LAST_WORD = re.compile(r"[^\W\d_]+\s*$")


@dataclass(frozen=True)
class Completion:
    """What may stand at the cursor.

    Attributes
    ----------
    start, stop : int
        The characters that one of the offers takes the place of: the word that has been begun.
    offers : tuple of Offer
        Those that go on from what is written there; hints, which describe a number or a text, among them.
    """

    start: int
    stop: int
    offers: tuple[Offer, ...]

    def taken(self, text: str, offer: Offer) -> tuple[str, int]:
        """Return the filter with an offer written in, and where the cursor then stands.

        Parameters
        ----------
        text : str
            The filter that the completion was made for.
        offer : Offer
            One of `offers`.

        Returns
        -------
        (str, int)
            The new filter, and how many of its characters stand before the cursor.
        """
        rest = text[self.stop :]
        before = text[: self.start]
        glued = before and not before[-1].isspace() and before[-1] not in "(" and offer.text != ")"
        written = f"{before}{' ' if glued else ''}{offer.text}"
        if offer.text != "(" and not rest.startswith((" ", ")")):
            written += " "
        return written + rest, len(written)


def completion(text: str, cursor: int | None = None, unit: str = "V") -> Completion:
    """Return what may stand at the cursor of a filter.

    Parameters
    ----------
    text : str
        The filter, finished or not.
    cursor : int, optional
        How many characters stand before the cursor; all of them, if left out.
    unit : str
        Unit of the amplitudes.

    Returns
    -------
    Completion
        Without offers where what stands before the cursor is wrong already.
    """
    cursor = len(text) if cursor is None else min(max(cursor, 0), len(text))
    before = text[:cursor]
    for start in _begun(before):  # the longest first: "left o" may become "left out"
        written = before[start:].casefold()
        begun = " ".join(written.split()) + (" " if written and written[-1].isspace() else "")
        offers = offers_after(before[:start], unit)
        if begun:
            offers = tuple(o for o in offers if not o.hint and o.text.casefold().startswith(begun))
        if offers:
            return Completion(start, cursor, offers)
    return Completion(cursor, cursor, ())


def _begun(before: str) -> list[int]:
    """Return where the words that have been begun may start, the longest first; the cursor itself last."""
    starts: list[int] = []
    end = len(before)
    while len(starts) < _MOST_WORDS and (found := _LAST_WORD.search(before[:end])):
        starts.insert(0, found.start())
        end = found.start()
    return [*starts, len(before)]
