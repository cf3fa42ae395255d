"""What the tidy tables of findings are made of: columns of numbers, of quantities and of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import Quantity


@dataclass(frozen=True)
class Table:
    """One tidy table: a row for each observation, a column for each thing observed.

    Attributes
    ----------
    name : str
        Such as ``pulses``.
    rows : structured array (rows,)
        A field for each column; what was not measured is NaN, or empty text.
    units : dict of str to str
        The unit of each column that has one.
    """

    name: str
    rows: NDArray[Any]
    units: dict[str, str]

    @property
    def columns(self) -> tuple[str, ...]:
        """The names of the columns, in order."""
        return tuple(self.rows.dtype.names or ())

    def heading(self, column: str) -> str:
        """Return a column's name with its unit, as ``skew (s)``.

        Parameters
        ----------
        column : str
            The column's name.
        """
        unit = self.units.get(column, "")
        return f"{column} ({unit})" if unit else column


def make_table(name: str, columns: dict[str, Any], units: dict[str, str] | None = None) -> Table:
    """Return a table of columns of one length: arrays, or lists of numbers or of text.

    Parameters
    ----------
    name : str
    columns : dict of str to array or list
    units : dict of str to str, optional
        The unit of each column that has one.
    """
    arrays = {key: _column(values) for key, values in columns.items()}
    length = len(next(iter(arrays.values())))
    rows = np.zeros(length, dtype=[(key, array.dtype) for key, array in arrays.items()])
    for key, array in arrays.items():
        rows[key] = array
    rows.flags.writeable = False
    return Table(name, rows, units or {})


def _column(values: Any) -> NDArray[Any]:
    if isinstance(values, np.ndarray):
        return values
    if not values:
        return np.zeros(0, dtype="U1")
    return np.array(values)


def number_column(values: Iterable[float | None]) -> NDArray[np.float64]:
    """Return numbers as a column; None becomes NaN.

    Parameters
    ----------
    values : iterable of float or None
    """
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def whole_column(values: Iterable[int]) -> NDArray[np.int64]:
    """Return whole numbers as a column.

    Parameters
    ----------
    values : iterable of int
    """
    return np.array(list(values), dtype=np.int64)


def quantity_columns(name: str, quantities: Sequence[Quantity | None]) -> dict[str, NDArray[np.float64]]:
    """Return the columns of quantities: value, u, degrees of freedom, and both ends of the 95 % interval.

    Parameters
    ----------
    name : str
        Of the column of values; the others begin with it.
    quantities : sequence of Quantity or None
    """
    ends = [(np.nan, np.nan) if q is None else q.interval95 for q in quantities]
    return {
        name: number_column(None if q is None else q.value for q in quantities),
        f"{name}_u": number_column(None if q is None else q.u for q in quantities),
        f"{name}_dof": number_column(None if q is None else (np.inf if q.dof is None else q.dof) for q in quantities),
        f"{name}_low": number_column(low for low, _ in ends),
        f"{name}_high": number_column(high for _, high in ends),
    }
