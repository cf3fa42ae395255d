"""Records whose samples are those of an earlier one: a buffer that was read twice."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Session

Ints = NDArray[np.int64]


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


def find_repeats(session: Session, channels: list[int], records: Ints) -> Repeats:
    """Compare every record of every module with all earlier ones.

    Parameters
    ----------
    session : Session
    channels : list of int
        Places of the channels that take part.
    records : int array
        Numbers of the records that take part, rising.

    Returns
    -------
    Repeats
        A module whose samples are all one code repeats nothing: it has nothing to repeat.
    """
    own = [[c for c in channels if session.module_of[c] == m] for m in range(len(session.modules))]
    seen: list[dict[bytes, int]] = [{} for _ in own]
    stale = np.zeros((len(records), len(own)), dtype=bool)
    pairs: dict[tuple[int, int], None] = {}
    row = {int(record): i for i, record in enumerate(records)}
    for start, codes in session.blocks(int(records[0]), int(records[-1]) + 1):
        for i in range(len(codes)):
            if start + i not in row:
                continue
            for module, places in enumerate(own):
                samples = np.ascontiguousarray(codes[i, places])
                if samples.size == 0 or np.all(samples == samples.flat[0]):
                    continue
                digest = hashlib.blake2b(samples.data, digest_size=16).digest()
                first = seen[module].setdefault(digest, start + i)
                if first != start + i:
                    stale[row[start + i], module] = True
                    pairs[(first, start + i)] = None
    return Repeats(tuple(sorted(pairs, key=lambda pair: pair[1])), stale)
