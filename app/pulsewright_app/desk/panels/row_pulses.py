"""The pulse that a row of the records stands for: the first one of its record on the current channel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import repeat

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.results import Findings
from pulsewright_app.desk.additions import PulsePlace
from pulsewright_app.desk.document import Document


class RowPulses:
    """Where the first pulse of every record lies, and which of them are rejected or can be.

    Parameters
    ----------
    findings : Findings or None
    channel : int
        The current channel.
    """

    def __init__(self, findings: Findings | None, channel: int) -> None:
        self._channel = channel
        self._sample: NDArray[np.int64] = np.zeros(0, dtype=np.int64)
        if findings is not None:
            pulses = findings.pulses
            first = np.flatnonzero((pulses.channel == channel) & (pulses.order == 0))
            self._sample = np.full(findings.session.records, -1, dtype=np.int64)
            self._sample[pulses.record[first]] = pulses.extreme_sample[first]

    def to_reject(self, document: Document, records: list[int]) -> list[PulsePlace]:
        """Return the first pulses of some records, those that are rejected already left aside."""
        rejected = document.rejected
        return [place for place in self._first(records) if place not in rejected]

    def any_to_reject(self, document: Document, records: list[int]) -> bool:
        """Return whether `to_reject` would return any."""
        return not all(map(document.rejected.__contains__, self._first(records)))

    def _first(self, records: list[int]) -> Iterator[PulsePlace]:
        """Return the first pulses of some records."""
        numbers = np.array(records, dtype=np.int64)
        numbers = numbers[numbers < len(self._sample)]
        numbers = numbers[self._sample[numbers] >= 0]
        return zip(numbers.tolist(), repeat(self._channel), self._sample[numbers].tolist(), strict=False)

    def rejected(self, document: Document, records: Iterable[int]) -> list[PulsePlace]:
        """Return the pulses of some records on the channel that are rejected."""
        return list(self._rejected(document, records))

    def any_rejected(self, document: Document, records: Iterable[int]) -> bool:
        """Return whether `rejected` would return any."""
        return next(self._rejected(document, records), None) is not None

    def _rejected(self, document: Document, records: Iterable[int]) -> Iterator[PulsePlace]:
        chosen = set(records) if document.rejected else set()
        return (place for place in document.rejected if place[0] in chosen and place[1] == self._channel)
