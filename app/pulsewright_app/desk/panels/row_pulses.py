"""The pulse that a row of the records stands for: the first one of its record on the current channel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
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
        self._asked: tuple[Mapping[PulsePlace, str], list[int], tuple[bool, bool]] | None = None
        """What was looked up last, and what came of it."""

    def to_reject(self, document: Document, records: list[int]) -> list[PulsePlace]:
        """Return the first pulses of some records, those that are rejected already left aside."""
        rejected = document.rejected
        return [place for place in self._first(records) if place not in rejected]

    def offered(self, document: Document, records: list[int]) -> tuple[bool, bool]:
        """Return whether any first pulse of some records can be rejected, and whether any pulse of them is rejected.

        Looked up once for the same records and rejections: one gesture on very many of them asks several times.
        """
        rejected = document.rejected
        if self._asked is None or self._asked[0] is not rejected or self._asked[1] != records:
            to_reject = not all(map(rejected.__contains__, self._first(records)))
            back = not to_reject and next(self._rejected(document, records), None) is not None
            self._asked = rejected, records, (to_reject, back)
        return self._asked[2]

    def _first(self, records: list[int]) -> Iterator[PulsePlace]:
        """Return the first pulses of some records."""
        numbers = np.array(records, dtype=np.int64)
        numbers = numbers[numbers < len(self._sample)]
        numbers = numbers[self._sample[numbers] >= 0]
        return zip(numbers.tolist(), repeat(self._channel), self._sample[numbers].tolist(), strict=False)

    def rejected(self, document: Document, records: Iterable[int]) -> list[PulsePlace]:
        """Return the pulses of some records on the channel that are rejected."""
        return list(self._rejected(document, records))

    def _rejected(self, document: Document, records: Iterable[int]) -> Iterator[PulsePlace]:
        chosen = set(records) if document.rejected else set()
        return (place for place in document.rejected if place[0] in chosen and place[1] == self._channel)
