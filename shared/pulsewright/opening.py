"""Opening a session, whatever it is called."""

from __future__ import annotations

from pathlib import Path

from pulsewright.session import Session
from pulsewright.store import read_session


def open_session(path: str | Path) -> Session:
    """Open a session for reading only; its format is found by what is in it, not by its name.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Session
        Close it, or use it in a ``with`` block.

    Raises
    ------
    SessionFileError
        One sentence: what is wrong, and where.
    """
    return read_session(Path(path))
