"""Pulses of a long run, put together batch by batch: a night's hundreds of thousands need not be held in memory."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.long_columns import LongColumn
from pulsewright_analysis.results import Pulses

Tables = tuple[NDArray[np.int64], NDArray[np.float64]]
"""A whole-number and a real table of pulses; see `pulse_columns`."""

BATCH = 16_384
"""Pulses that are made out of tables at once."""


class Growing:
    """Takes tables of pulses in the order of the records, and hands out the pulses at the end.

    Parameters
    ----------
    make : callable
        Makes the pulses of some tables; pulse by pulse, so that they may be cut between any two records.
    """

    def __init__(self, make: Callable[[NDArray[np.int64], NDArray[np.float64]], Pulses]) -> None:
        self._make = make
        self._waiting: list[Tables] = []
        self._number = 0
        self._columns: dict[tuple[str, str], LongColumn] = {}
        self._one: Pulses | None = None

    def add(self, whole: NDArray[np.int64], real: NDArray[np.float64]) -> None:
        """Add the tables of some more pulses.

        Parameters
        ----------
        whole : int array (pulses, WHOLE_COLUMNS)
        real : array (pulses, REAL_COLUMNS)
        """
        self._waiting.append((whole, real))
        self._number += len(whole)
        if self._number >= BATCH:
            self._take()

    def _take(self) -> None:
        if not self._waiting:
            return
        whole, real = (np.concatenate([tables[kind] for tables in self._waiting]) for kind in (0, 1))
        self._waiting, self._number = [], 0
        made = self._one = self._make(whole, real)
        for name, key, values in _columns_of(made):
            self._columns.setdefault((name, key), LongColumn()).add(values)

    def pulses(self) -> Pulses:
        """Return all pulses."""
        self._take()
        assert self._one is not None, "there is a table for each piece, if it is empty"
        joined: dict[str, Any] = {field.name: getattr(self._one, field.name) for field in fields(Pulses)}
        for name in {name for name, key in self._columns if key}:
            joined[name] = {}
        for (name, key), column in self._columns.items():
            if key:
                joined[name][key] = column.whole()
            else:
                joined[name] = column.whole()
        return Pulses(**joined)


def _columns_of(pulses: Pulses) -> list[tuple[str, str, NDArray[Any]]]:
    """Return the columns: name of the field, key in it where there are several, values."""
    found: list[tuple[str, str, NDArray[Any]]] = []
    for field in fields(Pulses):
        value = getattr(pulses, field.name)
        if isinstance(value, np.ndarray):
            found.append((field.name, "", value))
        elif isinstance(value, dict):
            found += [(field.name, key, values) for key, values in value.items()]
    return found
