"""What a filter of records becomes once it is understood: conditions that say yes, no, or not known of each record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from pulsewright_analysis.record_table import RecordTable
from pulsewright_analysis.record_words import Measure, State, Texts
from pulsewright_analysis.results import Bools, Floats


@dataclass(frozen=True)
class Judged:
    """For every record: whether a condition holds for certain, and whether it is certain not to hold.

    Where something is not known both are False, so that neither a condition nor its opposite matches the record
    (Kleene's strong logic of three values).

    Attributes
    ----------
    yes : bool array (records,)
        Whether the condition holds for certain.
    no : bool array (records,)
        Whether it is certain not to hold.
    """

    yes: Bools
    no: Bools


class Condition(Protocol):
    """Anything that judges the rows of a record table."""

    def judge(self, table: RecordTable) -> Judged:
        """Return for every record whether it holds.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        ...


@dataclass(frozen=True)
class Bound:
    """A number to compare with, in the measure's unit or in its own standard uncertainties.

    Attributes
    ----------
    number : float
        In the measure's unit, or a multiple of its standard uncertainty.
    in_u : bool
        Whether `number` counts standard uncertainties.
    """

    number: float
    in_u: bool = False

    def of(self, measure: Measure, table: RecordTable) -> Floats | float:
        """Return the bound of every record.

        Parameters
        ----------
        measure : Measure
            What is compared with the bound.
        table : RecordTable

        Returns
        -------
        float or array (records,)
            In the measure's unit: an array where the bound follows the measure's u, otherwise one number for all.
        """
        if not self.in_u or measure.u is None:
            return self.number
        return self.number * measure.u(table)


COMPARISONS: dict[str, Callable[[Floats, Floats | float], Bools]] = {
    ">": np.greater,
    "<": np.less,
    ">=": np.greater_equal,
    "<=": np.less_equal,
    "=": np.equal,
    "!=": np.not_equal,
}


@dataclass(frozen=True)
class Compared:
    """A measure against a bound.

    Attributes
    ----------
    measure : Measure
        Stands on the left of the sign.
    comparison : str
        A key of `COMPARISONS`.
    bound : Bound
        Stands on the right of the sign.
    """

    measure: Measure
    comparison: str
    bound: Bound

    def judge(self, table: RecordTable) -> Judged:
        """Compare; what is not a number is not known, and neither is anything against a bound that is not.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        value, bound = self.measure.value(table), self.bound.of(self.measure, table)
        holds = COMPARISONS[self.comparison](value, bound)
        return _judged(holds, np.isfinite(value) & np.isfinite(bound))


@dataclass(frozen=True)
class Within:
    """A measure from one bound to another, both included.

    Attributes
    ----------
    measure : Measure
    low, high : Bound
        The ends of the range.
    """

    measure: Measure
    low: Bound
    high: Bound

    def judge(self, table: RecordTable) -> Judged:
        """Compare with both ends.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        value = self.measure.value(table)
        low, high = self.low.of(self.measure, table), self.high.of(self.measure, table)
        known = np.isfinite(value) & np.isfinite(low) & np.isfinite(high)
        return _judged((value >= low) & (value <= high), known)


@dataclass(frozen=True)
class Known:
    """Whether a measure is known.

    Attributes
    ----------
    measure : Measure
        Known where it is a finite number.
    """

    measure: Measure

    def judge(self, table: RecordTable) -> Judged:
        """Look for numbers.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        known = np.isfinite(self.measure.value(table))
        return Judged(known, ~known)


@dataclass(frozen=True)
class Is:
    """Something that a record is, or is not.

    Attributes
    ----------
    state : State
        What is asked of each record.
    """

    state: State

    def judge(self, table: RecordTable) -> Judged:
        """Ask the table.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        return _judged(self.state.holds(table), self.state.known(table))


@dataclass(frozen=True)
class Has:
    """Words in what a person wrote, in small or capital letters.

    Attributes
    ----------
    texts : Texts
        Which texts are looked through.
    words : str
        What must stand in them, in this order.
    """

    texts: Texts
    words: str

    def judge(self, table: RecordTable) -> Judged:
        """Look through the texts.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        found = np.zeros(len(table), dtype=bool)
        wanted = self.words.casefold()
        for record, text in self.texts.texts(table).items():
            if 0 <= record < len(table) and wanted in text.casefold():
                found[record] = True
        return Judged(found, ~found)


@dataclass(frozen=True)
class Not:
    """The opposite.

    Attributes
    ----------
    inner : Condition
        The condition that is turned round.
    """

    inner: Condition

    def judge(self, table: RecordTable) -> Judged:
        """Exchange yes and no; what is not known stays so.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        judged = self.inner.judge(table)
        return Judged(judged.no, judged.yes)


@dataclass(frozen=True)
class AllOf:
    """Every one of several; of none, every record.

    Attributes
    ----------
    inner : tuple of Condition
        The conditions that must all hold.
    """

    inner: tuple[Condition, ...]

    def judge(self, table: RecordTable) -> Judged:
        """Yes where all say yes, no where one says no.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        yes, no = np.ones(len(table), dtype=bool), np.zeros(len(table), dtype=bool)
        for condition in self.inner:
            judged = condition.judge(table)
            yes, no = yes & judged.yes, no | judged.no
        return Judged(yes, no)


@dataclass(frozen=True)
class AnyOf:
    """One of several.

    Attributes
    ----------
    inner : tuple of Condition
        The conditions of which one must hold.
    """

    inner: tuple[Condition, ...]

    def judge(self, table: RecordTable) -> Judged:
        """Yes where one says yes, no where all say no.

        Parameters
        ----------
        table : RecordTable
            The records to judge.

        Returns
        -------
        Judged
            A row for each record of the table.
        """
        yes, no = np.zeros(len(table), dtype=bool), np.ones(len(table), dtype=bool)
        for condition in self.inner:
            judged = condition.judge(table)
            yes, no = yes | judged.yes, no & judged.no
        return Judged(yes, no)


def _judged(holds: Bools, known: Bools) -> Judged:
    return Judged(known & holds, known & ~holds)
