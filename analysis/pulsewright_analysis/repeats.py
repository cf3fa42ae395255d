"""Records whose samples are those of an earlier one: a buffer that was read twice."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.long_columns import LongColumn
from pulsewright.session import Codes, Session
from pulsewright_analysis.streaming import Check, Piece, for_each, pieces, unchecked

Ints = NDArray[np.int64]

DIGEST_BYTES = 16
ADDED_AT_ONCE = 4096


@dataclass(frozen=True)
class Repeats:
    """What repeats what.

    Attributes
    ----------
    pairs : tuple of (int, int)
        Records of which at least one module repeats its samples to the last code: the first, and the one that repeats.
    stale : bool array (records, modules)
        Whether the module's samples are those of an earlier record, for each record that was looked at.
    """

    pairs: tuple[tuple[int, int], ...]
    stale: NDArray[np.bool_]


def find_repeats(session: Session, channels: list[int], records: Ints, check: Check = unchecked) -> Repeats:
    """Compare every record of every module with all earlier ones.

    Parameters
    ----------
    session : Session
    channels : list of int
        Places of the channels that take part.
    records : int array
        Numbers of the records that take part, rising.
    check : callable
        As for `streaming.for_each`.

    Returns
    -------
    Repeats
        A module whose samples are all one code repeats nothing: it has nothing to repeat.
    """
    own = [[k for k, c in enumerate(channels) if session.module_of[c] == m] for m in range(len(session.modules))]
    seen = [_Seen() for _ in own]
    # a record that comes channel by channel is complete with its last channel
    traces: list[_Trace] = []

    def take(piece: Piece, found: list[list[_Trace]]) -> None:
        for row, told in zip(piece.rows.tolist(), found, strict=True):
            traces.extend(told)
            if len(traces) < len(channels):
                continue
            record = piece.first + row
            for module, places in enumerate(own):
                whole = _of_module([traces[k] for k in places])
                if whole is not None:
                    seen[module].add(whole, record)
            traces.clear()

    for_each(pieces(session, channels, records), _traces, take, check)
    stale = np.zeros((len(records), len(own)), dtype=bool)
    pairs: dict[tuple[int, int], None] = {}
    for module, mine in enumerate(seen):
        check()
        for first, record in mine.repeated():
            stale[np.searchsorted(records, record), module] = True
            pairs[first, record] = None
    return Repeats(tuple(sorted(pairs, key=lambda pair: pair[1])), stale)


class _Seen:
    """The digests of one module's records: a night's hundreds of thousands lie in a file, until they are compared."""

    def __init__(self) -> None:
        self._digests, self._records = LongColumn(), LongColumn()
        self._new: list[tuple[bytes, int]] = []

    def add(self, digest: bytes, record: int) -> None:
        """Add the digest of a record, in the order of the records."""
        self._new.append((digest, record))
        if len(self._new) >= ADDED_AT_ONCE:
            self._put_down()

    def _put_down(self) -> None:
        self._digests.add(np.frombuffer(b"".join(digest for digest, _ in self._new), dtype=np.uint64))
        self._records.add(np.array([record for _, record in self._new], dtype=np.int64))
        self._new.clear()

    def repeated(self) -> list[tuple[int, int]]:
        """Return the first record of a digest and one that repeats it, for each that does, by the latter's number."""
        self._put_down()
        digests, records = self._digests.whole().reshape(-1, DIGEST_BYTES // 8), self._records.whole()
        rising = np.lexsort((digests[:, 1], digests[:, 0]))  # those of one digest stay in the order of the records
        again = np.zeros(len(rising), dtype=bool)
        again[1:] = np.all(digests[rising[1:]] == digests[rising[:-1]], axis=1)
        first = np.maximum.accumulate(np.where(again, 0, np.arange(len(rising))))[again]
        pairs = zip(records[rising[first]].tolist(), records[rising[again]].tolist(), strict=True)
        return sorted(pairs, key=lambda pair: pair[1])


@dataclass(frozen=True)
class _Trace:
    """A digest of a trace's samples, and the one code that all of them have, None where there are several."""

    digest: bytes
    code: float | None


def _traces(piece: Piece) -> list[list[_Trace]]:
    """Return what tells each trace of a piece from others, by record and channel."""
    return [[_trace(piece.codes[row, column]) for column in piece.columns.tolist()] for row in piece.rows.tolist()]


def _trace(codes: Codes) -> _Trace:
    digest = hashlib.blake2b(np.ascontiguousarray(codes).data, digest_size=DIGEST_BYTES).digest()
    one = len(codes) > 0 and codes[0] == codes[-1] and bool(np.all(codes == codes[0]))
    return _Trace(digest, float(codes[0]) if one else None)


def _of_module(traces: list[_Trace]) -> bytes | None:
    """Return one digest of a module's traces, None where all of its samples are one code."""
    if not traces or (traces[0].code is not None and all(trace.code == traces[0].code for trace in traces)):
        return None
    return hashlib.blake2b(b"".join(trace.digest for trace in traces), digest_size=DIGEST_BYTES).digest()
