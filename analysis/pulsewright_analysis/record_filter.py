"""The filter over the record table: a short expression in plain words, read without ever being run as code.

    expression   one part, or several joined by "or"
    part         one condition, or several joined by "and"; "not" before a condition turns it round; brackets group
    condition    a state:              flagged, left out, clipped, polarity negative, late, repeated …
                 a measure compared:   gap > 1.5 ms, pulses = 2, residual > 3 u (its own standard uncertainty)
                 a measure in a range: record 10 .. 40, both ends included
                 a measure known:      width known
                 words in a text:      note has "plate"

What is not known of a record matches neither a condition nor its opposite.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import zip_longest
from typing import TypeVar

import numpy as np

from pulsewright.errors import FilterError, SettingError
from pulsewright.quantity import parse_number
from pulsewright_analysis.filter_tokens import Token, tokens_of
from pulsewright_analysis.record_conditions import (
    AllOf,
    AnyOf,
    Bound,
    Compared,
    Condition,
    Has,
    Is,
    Known,
    Not,
    Within,
)
from pulsewright_analysis.record_table import RecordTable
from pulsewright_analysis.record_words import CHANNEL_UNIT, MEASURES, STATES, TEXTS, Measure, State, Texts
from pulsewright_analysis.results import Ints

_DEEPEST = 40
_NUMBER_OF_U = "u"

_COMPARISON_WORDS = {"above": ">", "below": "<", "at least": ">=", "at most": "<="}
_COMPARISON_ABOUT = {
    ">": "more than", "<": "less than", ">=": "at least", "<=": "at most", "=": "exactly", "!=": "anything but",
}  # fmt: skip
_UNITS = {
    "s": ("ms", "µs", "ns", "ps", "s"),
    "": (),
}


@dataclass(frozen=True)
class Offer:
    """Something that may stand at a place of a filter.

    Attributes
    ----------
    text : str
        The words; for a hint, a description of them.
    about : str
        What they mean.
    hint : bool
        True where `text` cannot be written as it is.
    """

    text: str
    about: str = ""
    hint: bool = False


@dataclass(frozen=True)
class Filter:
    """A filter that was understood.

    Attributes
    ----------
    text : str
        As it was written.
    condition : Condition
        What it asks.
    """

    text: str
    condition: Condition

    def matching(self, table: RecordTable) -> Ints:
        """Return the numbers of the records that match, rising.

        Parameters
        ----------
        table : RecordTable

        Returns
        -------
        int array (matches,)
            Counted from 0.
        """
        records: Ints = table.record[np.flatnonzero(self.condition.judge(table).yes)]
        return records


def parse_filter(text: str, unit: str = "V") -> Filter:
    """Understand a filter.

    Parameters
    ----------
    text : str
        The expression; an empty one matches every record.
    unit : str
        Unit of the amplitudes: that of the channel which the records are seen from.

    Returns
    -------
    Filter

    Raises
    ------
    FilterError
        If it cannot be understood: with the place, and what may stand there.
    """
    if not text.strip():
        return Filter("", AllOf(()))
    return Filter(text, _Reader(text, unit).whole())


def filter_records(table: RecordTable, text: str) -> Ints:
    """Return the numbers of the records of a table that match a filter, rising.

    Parameters
    ----------
    table : RecordTable
        Its unit is that of the amplitudes in the filter.
    text : str
        The filter; an empty one matches every record.

    Returns
    -------
    int array (matches,)
        Counted from 0.

    Raises
    ------
    FilterError
        If the filter cannot be understood.
    """
    return parse_filter(text, table.unit).matching(table)


def offers_after(text: str, unit: str = "V") -> tuple[Offer, ...]:
    """Return what may stand behind the beginning of a filter; nothing if it is wrong already.

    Parameters
    ----------
    text : str
        The beginning of a filter.
    unit : str
        Unit of the amplitudes.
    """
    try:
        reader = _Reader(text, unit)
    except FilterError:
        return ()
    with suppress(FilterError):  # something is still missing, most often
        reader.expression(0)
    return tuple(dict.fromkeys(reader.offered_at_the_end))


_MEASURED_PHRASES = frozenset(measure.phrase for measure in MEASURES)
_CONDITION_WORDS = (
    *(Offer(state.phrase, state.about) for state in STATES if state.phrase not in _MEASURED_PHRASES),
    *(Offer(measure.phrase, measure.about) for measure in MEASURES),
    *(Offer(texts.phrase, texts.about) for texts in TEXTS),
)
_Word = TypeVar("_Word", Measure, State, Texts)


class _Reader:
    """Reads a filter from left to right, and remembers at every place what might have stood there."""

    def __init__(self, text: str, unit: str) -> None:
        self._text, self._unit = text, unit
        self._tokens = tokens_of(text)
        self._at = 0
        self._offered: list[Offer] = []
        self._offered_place = 0

    # -- looking at tokens ----------------------------------------------------------------------------------

    @property
    def ended(self) -> bool:
        """Whether all was read."""
        return self._at >= len(self._tokens)

    @property
    def offered_at_the_end(self) -> list[Offer]:
        """What might have stood after all that was read."""
        return self._offered if self._offered_place == len(self._tokens) else []

    def _offer(self, *offers: Offer) -> None:
        if self._offered_place != self._at:
            self._offered, self._offered_place = [], self._at
        self._offered.extend(offers)

    def _take(self, phrase: str, about: str = "") -> bool:
        """Go past these words if they stand here."""
        self._offer(Offer(phrase, about))
        if not self._stands(phrase):
            return False
        self._at += len(phrase.split())
        return True

    def _stands(self, phrase: str) -> bool:
        words = phrase.split()
        here = self._tokens[self._at : self._at + len(words)]
        return [token.text.casefold() for token in here] == words and all(token.kind != "text" for token in here)

    def _take_kind(self, kind: str, hint: Offer) -> Token | None:
        self._offer(hint)
        if self.ended or self._tokens[self._at].kind != kind:
            return None
        self._at += 1
        return self._tokens[self._at - 1]

    # -- the grammar ----------------------------------------------------------------------------------------

    def whole(self) -> Condition:
        """Read all of it."""
        condition = self.expression(0)
        if not self.ended:
            raise self._wrong()
        return condition

    def expression(self, depth: int) -> Condition:
        """Read parts joined by "or"."""
        parts = [self._part(depth)]
        while self._take("or", "one of the two is enough"):
            parts.append(self._part(depth))
        return parts[0] if len(parts) == 1 else AnyOf(tuple(parts))

    def _part(self, depth: int) -> Condition:
        conditions = [self._turned(depth)]
        while self._take("and", "both must hold"):
            conditions.append(self._turned(depth))
        return conditions[0] if len(conditions) == 1 else AllOf(tuple(conditions))

    def _turned(self, depth: int) -> Condition:
        turns = 0
        while self._take("not", "the opposite"):
            turns += 1
        condition = self._bracketed(depth) if self._take("(", "a group begins") else self._condition()
        return Not(condition) if turns % 2 else condition

    def _bracketed(self, depth: int) -> Condition:
        if depth >= _DEEPEST:
            token = self._tokens[self._at - 1]
            raise FilterError(
                f"filter: more than {_DEEPEST} brackets in one another", "write it shorter", token.start, token.stop
            )
        condition = self.expression(depth + 1)
        if not self._take(")", "the group ends"):
            raise self._wrong()
        return condition

    def _condition(self) -> Condition:
        self._offer(*_CONDITION_WORDS)
        texts = self._longest(TEXTS)
        if texts is not None:
            return Has(texts, self._quoted())
        measure = self._longest(MEASURES)
        state = self._longest([state for state in STATES if state.phrase not in _MEASURED_PHRASES])
        if measure is not None:
            return self._compared(measure)
        if state is not None:
            return Is(state)
        raise self._wrong()

    def _longest(self, words: Iterable[_Word]) -> _Word | None:
        """Go past the longest of these words that stands here, and return it."""
        standing = [word for word in words if self._stands(word.phrase)]
        if not standing:
            return None
        longest = max(standing, key=lambda word: len(word.phrase.split()))
        self._at += len(longest.phrase.split())
        return longest

    def _quoted(self) -> str:
        token = self._take_kind("text", Offer('words in quotes, like "plate"', hint=True))
        if token is None:
            raise self._wrong()
        return token.text

    def _compared(self, measure: Measure) -> Condition:
        if self._take("known", "it could be measured"):
            return Known(measure)
        comparison = self._comparison(measure)
        if comparison is not None:
            return Compared(measure, comparison, self._bound(measure))
        alone = next((state for state in STATES if state.phrase == measure.phrase), None)
        if alone is not None and (self.ended or self._tokens[self._at].kind != "value"):
            return Is(alone)
        return self._range(measure)

    def _comparison(self, measure: Measure) -> str | None:
        for sign, about in _COMPARISON_ABOUT.items():
            if sign in ("=", "!=") and not measure.whole:
                if self._stands(sign):
                    why = f"no {measure.phrase} is measured to be exactly a number"
                    raise self._refused(self._at, why, 'use > or <, or two numbers with ".." between them')
            elif self._take(sign, about):
                return sign
        for words, sign in _COMPARISON_WORDS.items():
            if self._take(words, _COMPARISON_ABOUT[sign]):
                return sign
        return None

    def _range(self, measure: Measure) -> Condition:
        place = self._at
        low = self._bound(measure)
        if not self._take("..", "to, both ends included"):
            if measure.whole:
                return Compared(measure, "=", low)
            raise self._wrong()
        high = self._bound(measure)
        if low.in_u == high.in_u and low.number > high.number:
            raise self._refused(place, "this range ends before it starts", "write the smaller number first")
        return Within(measure, low, high)

    # -- numbers --------------------------------------------------------------------------------------------

    def _bound(self, measure: Measure) -> Bound:
        unit = self._unit if measure.unit == CHANNEL_UNIT else measure.unit
        example = {"s": "1.5 ms", "": "2"}.get(unit, f"0.4 {unit}")
        token = self._take_kind("value", Offer(f"a number like {example}", hint=True))
        if token is None:
            raise self._wrong()
        if self.ended and not token.unit:
            self._offer(*(Offer(name) for name in _units_of(unit)))
            if measure.u is not None:
                self._offer(Offer(_NUMBER_OF_U, "of its own standard uncertainties"))
        bound = self._number(measure, token, unit, example)
        if measure.unsigned and bound.number < 0:
            ask = "early or late" if measure.phrase == "residual" else "polarity negative"
            raise self._refused(
                self._at - 1, f"{measure.phrase} is compared without its sign", f'leave "−" away, and ask for {ask}'
            )
        if measure.whole and (bound.in_u or bound.number != int(bound.number)):
            raise self._refused(self._at - 1, f"{measure.phrase} counts whole numbers", "write one without a fraction")
        return bound

    def _number(self, measure: Measure, token: Token, unit: str, example: str) -> Bound:
        here = self._at - 1
        if token.unit == _NUMBER_OF_U:
            if measure.u is None:
                raise self._refused(here, f"{measure.phrase} has no u to count in", f"write a number like {example}")
            return Bound(float(token.number), True)
        if unit and not token.unit and float(token.number) != 0:
            more = ", or a number of u, like 3 u" if measure.u is not None else ""
            raise self._refused(here, f"the unit of {token.text} is missing", f"write it like {example}{more}")
        try:
            return Bound(parse_number(f"{token.number} {token.unit}".strip(), unit, measure.phrase))
        except SettingError as error:
            raise self._refused(here, f"{token.text} is no {measure.phrase}", f"write it like {example}") from error

    # -- what is wrong --------------------------------------------------------------------------------------

    def _refused(self, place: int, why: str, remedy: str) -> FilterError:
        token = self._tokens[place]
        return FilterError(f"filter, character {token.start + 1}: {why}", remedy, token.start, token.stop)

    def _wrong(self) -> FilterError:
        """Return the error for what stands, or is missing, where reading stopped."""
        offers = list(dict.fromkeys(self._offered)) if self._offered_place == self._at else []
        offers = self._begun(offers) or offers
        allowed = ", ".join(offer.text for offer in offers)
        if self.ended:
            end = len(self._text)
            read = " ".join(self._text.split())
            cause = f'filter: something is missing after "{_shortened(read)}"' if read else "filter: it is empty"
            return FilterError(cause, f"there may stand {allowed}", end, end)
        token = self._tokens[self._at]
        near = self._nearest([offer.text for offer in offers if not offer.hint])
        return FilterError(
            f'filter, character {token.start + 1}: "{_shortened(token.text)}" cannot stand there',
            f"the nearest is {near}; there may stand {allowed}" if near else f"there may stand {allowed}",
            token.start,
            token.stop,
        )

    def _begun(self, offers: list[Offer]) -> list[Offer]:
        """Go past the words that begin some of these offers, and return how those may go on; empty if none is begun."""
        started = {offer: self._same_words(offer) for offer in offers}
        most = max(started.values(), default=0)
        if most == 0:
            return []
        self._at += most
        going_on = (Offer(" ".join(offer.text.split()[most:])) for offer, same in started.items() if same == most)
        return list(dict.fromkeys(going_on))

    def _same_words(self, offer: Offer) -> int:
        """Return how many words of an offer stand here before one that is another, or is missing."""
        words = [] if offer.hint else offer.text.split()
        here = [token.text.casefold() if token.kind == "word" else "" for token in self._tokens[self._at :]]
        return next((n for n, (word, own) in enumerate(zip_longest(words, here)) if word != own), len(words))

    def _nearest(self, words: list[str]) -> str:
        """Return the words that look most like what stands here, in quotes; nothing where none do."""
        near: list[str] = []
        for written in (self._words_from_here(), self._tokens[self._at].text.casefold()):
            near = near or get_close_matches(written, words, n=1)
        return "".join(f'"{word}"' for word in near)

    def _words_from_here(self) -> str:
        return " ".join(token.text.casefold() for token in self._tokens[self._at : self._at + 2])


def _units_of(unit: str) -> tuple[str, ...]:
    return _UNITS.get(unit, (unit, f"m{unit}", f"µ{unit}"))


def _shortened(text: str) -> str:
    return text if len(text) <= 40 else f"… {text[-40:]}"
