"""The SHA-256 of a file, by which a review and an evidence sheet know their session again."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from pulsewright.errors import SessionFileError

_STEP = 4 << 20  # bytes; some 4 ms of hashing, so that a cancel is heard well within 20 ms


class DigestCancelled(Exception):  # noqa: N818 - nothing went wrong: it was asked for
    """Hashing was stopped because `cancelled` said so."""


def sha256_of(path: str | Path, cancelled: Callable[[], bool] | None = None) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits.

    Parameters
    ----------
    path : str or Path
        The file; it is read in steps of 4 MB.
    cancelled : callable, optional
        Asked before every step; hashing ends when it returns True.

    Raises
    ------
    SessionFileError
        If the file cannot be read.
    DigestCancelled
        If `cancelled` returned True.
    """
    digest = hashlib.sha256()
    name = Path(path).name
    try:
        with Path(path).open("rb", buffering=0) as stream:
            while True:
                if cancelled is not None and cancelled():
                    raise DigestCancelled
                piece = stream.read(_STEP)
                if not piece:
                    return digest.hexdigest()
                digest.update(piece)
    except OSError as error:
        raise SessionFileError(
            f"{name}: cannot be read ({error.strerror})", "see whether the file is there and you may read it"
        ) from error
    except ValueError as error:  # a NUL in the path
        raise SessionFileError(f"{name!r}: is not a file name", "give a session file") from error
