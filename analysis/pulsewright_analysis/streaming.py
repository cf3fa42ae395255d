"""Streams a session's samples through work on all cores; what comes out depends on neither blocks nor threads."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Codes, Session

Ints = NDArray[np.int64]
Check = Callable[[], None]
Given = TypeVar("Given")
Made = TypeVar("Made")

BLOCK_BYTES = 2 << 20
"""As stored: what one thread works on at a time. The slowest kernel needs a few milliseconds for it."""
WHOLE_RECORD_BYTES = 32 << 20
"""A record of more bytes is read channel by channel; a smaller one at once: its channels may be packed together."""
POLL_SECONDS = 0.01
"""How often it is asked whether to stop while threads work."""


def unchecked() -> None:
    """Never stop the work: what takes the place of a check where nobody can call the work off."""


def threads() -> int:
    """Return how many threads work side by side: ``PULSEWRIGHT_THREADS``, else the cores that this process may use."""
    given = os.environ.get("PULSEWRIGHT_THREADS", "")
    if given.isdecimal() and int(given) > 0:
        return int(given)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@dataclass(frozen=True)
class Piece:
    """Samples of some neighbouring records, on all the channels asked for or on one of them.

    Attributes
    ----------
    first : int
        Number of the first record.
    rows : int array (rows,)
        Which of the piece's records take part, counted from `first`.
    places : slice
        Which of the channels asked for are here, by their place among them.
    columns : int array (channels,)
        Where they are in `codes`.
    codes : array (records, columns, samples)
        As stored.
    """

    first: int
    rows: Ints
    places: slice
    columns: Ints
    codes: Codes


def pieces(session: Session, channels: Sequence[int], records: Ints) -> Iterator[Piece]:
    """Yield the samples of some records, by record and then by channel; records longer than a block channel by channel.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels asked for.
    records : int array
        Numbers of the records, rising.

    Yields
    ------
    Piece
    """
    every = np.array(channels, dtype=np.int64)
    a_record = max(1, len(session.channels) * session.record_length * session.dtype.itemsize)
    if a_record <= BLOCK_BYTES:
        step = BLOCK_BYTES // a_record
        for first in range(int(records[0]), int(records[-1]) + 1, step):
            rows = records[np.searchsorted(records, first) : np.searchsorted(records, first + step)] - first
            if len(rows):
                codes = session.codes(first, first + int(rows[-1]) + 1)
                yield Piece(first, rows, slice(0, len(every)), every, codes)
        return
    row, column = np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    for record in records.tolist():
        whole = session.codes(record, record + 1) if a_record <= WHOLE_RECORD_BYTES else None
        for place, channel in enumerate(channels):
            if whole is not None:
                codes = whole[:, channel : channel + 1]
            else:
                codes = session.stretch_codes(record, 0, session.record_length, slice(channel, channel + 1))[None]
            yield Piece(record, row, slice(place, place + 1), column, codes)


def for_each(
    given: Iterator[Given], work: Callable[[Given], Made], take: Callable[[Given, Made], None], check: Check = unchecked
) -> None:
    """Do some work on every piece, several at a time, and take the results one by one in the order of the pieces.

    Parameters
    ----------
    given : iterator
        The pieces; read in the thread that calls.
    work : callable
        Of one piece; on other threads where there are several.
    take : callable
        Given a piece and what the work made of it, in the thread that calls.
    check : callable
        Called before each piece and every few milliseconds while threads work; may raise to stop. What is being worked
        on is then finished, and nothing else begun.
    """
    number = threads()
    if number == 1:
        for one in given:
            check()
            take(one, work(one))
        return
    waiting: deque[tuple[Given, Future[Made]]] = deque()

    def collect(most: int) -> None:
        while len(waiting) > most:
            while not wait([waiting[0][1]], POLL_SECONDS).done:
                check()
            one, made = waiting.popleft()
            take(one, made.result())

    with ThreadPoolExecutor(number) as pool:
        try:
            for one in given:
                check()
                waiting.append((one, pool.submit(work, one)))
                collect(number)
            collect(0)
        finally:
            for _, future in waiting:
                future.cancel()
