"""Names that stand beside records: the channels that clip in each, the modules that are out of step. No Qt."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright_analysis.results import Ints


def marks(records: int, columns: Sequence[Iterable[int] | Ints]) -> NDArray[np.bool_]:
    """Return which records are named in which column, shape (records, columns); what lies outside is left away."""
    marked = np.zeros((records, len(columns)), dtype=bool)
    for place, named in enumerate(columns):
        numbers = np.asarray(named if isinstance(named, np.ndarray) else list(named), dtype=np.int64)
        marked[numbers[(numbers >= 0) & (numbers < records)], place] = True
    return marked


def names_by_record(marked: NDArray[np.bool_], names: Sequence[str]) -> dict[int, str]:
    """Return by record the names of the columns that it is marked in: of a hundred thousand, many have the same ones.

    Parameters
    ----------
    marked : bool array (records, names)
    names : sequence of str
    """
    records = np.flatnonzero(marked.any(axis=1))
    packed: NDArray[Any] = np.packbits(marked[records], axis=1)
    # as one item each, which sort much faster than rows
    rows = np.ascontiguousarray(packed).view(np.dtype((np.void, max(packed.shape[1], 1)))).reshape(-1)
    _, first, which = np.unique(rows, return_index=True, return_inverse=True)
    texts = [", ".join(names[n] for n in np.flatnonzero(marked[records[at]]).tolist()) for at in first.tolist()]
    return dict(zip(records.tolist(), [texts[place] for place in which.reshape(-1).tolist()], strict=True))
