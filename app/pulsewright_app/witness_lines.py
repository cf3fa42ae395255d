"""What lies behind a missed trigger: what each witness saw in the two records beside the gap."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pulsewright.quantity import engineering
from pulsewright_analysis.results import Findings

_SIGNS = {1: "positive", -1: "negative"}


def witness_lines(findings: Findings, after_record: int) -> Iterator[str]:
    """Yield a line for each witness that can say something of the gap after a record.

    Parameters
    ----------
    findings : Findings
    after_record : int
        The last record before the gap.

    Yields
    ------
    str
        Time, then position, then polarity; a witness without a word in one of the two records is passed over.
    """
    records = findings.records
    place = int(np.searchsorted(records, after_record))
    if place + 1 >= len(records) or records[place] != after_record:
        return
    before, after = after_record, int(records[place + 1])
    yield from _by_time(findings, before, after)
    yield from _by_position(findings, before, after)
    yield from _by_polarity(findings, before, after)


def _by_time(findings: Findings, before: int, after: int) -> Iterator[str]:
    timing, period = findings.timing, findings.sequence.period
    gaps = timing.gap[timing.gap_after == before]
    if period and len(gaps) and np.isfinite(gaps[0]):
        gap = float(gaps[0])
        told = engineering(gap, "s", 7)
        yield f"Time: {told} from the trigger of record {before} to that of {after}, {gap / period:.3f} trigger periods"


def _by_position(findings: Findings, before: int, after: int) -> Iterator[str]:
    sequence = findings.sequence
    stood, stands = int(sequence.stop[before]), int(sequence.stop[after])
    if sequence.increment is None or stood < 0 or stands < 0:
        return
    due = stood + 1 if not sequence.cycle else (stood + 1) % sequence.cycle
    yield f"Position: stop {stood} in record {before}, stop {stands} in record {after}, where stop {due} was due"


def _by_polarity(findings: Findings, before: int, after: int) -> Iterator[str]:
    sequence = findings.sequence
    if sequence.channel is None or not sequence.alternates:
        return
    signs = [_SIGNS.get(int(findings.polarity.sign[record, sequence.channel])) for record in (before, after)]
    if all(signs):
        how = "although it changes at each trigger" if signs[0] == signs[1] else "as it would with none missing"
        yield f"Polarity: {signs[0]} in record {before}, {signs[1]} in record {after}, {how}"
