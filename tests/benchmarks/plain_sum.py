"""What measuring stands beside in the same run: NumPy's sum over every sample of the same session."""

from __future__ import annotations

import statistics
import time

from pulsewright.session import Session


def seconds_of_a_sum(session: Session, repeats: int = 3) -> float:
    """Return the processor seconds, as a median, in which all samples are read block by block and summed."""
    taken = []
    for _ in range(repeats):
        begin = time.process_time()
        for _, block in session.blocks():
            block.sum()
        taken.append(time.process_time() - begin)
    return statistics.median(taken)
