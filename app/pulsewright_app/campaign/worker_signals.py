"""Loaded by each local worker as it starts: Ctrl+C reaches all processes of a terminal, and one alone acts on it."""

from __future__ import annotations

import signal
from typing import Any


def dask_setup(worker: Any) -> None:
    """Let a worker pass over Ctrl+C: whoever started it ends it. Dask calls this by its name.

    Parameters
    ----------
    worker : distributed.Worker
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
