"""The digests by which a review and an evidence sheet know their session again: of the whole file, and a quick one."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from pulsewright.errors import SessionFileError

_STEP = 4 << 20  # bytes; some 4 ms of hashing, so that a cancel is heard well within 20 ms


_PIECES, _PIECE = 16, 256 << 10
"""What the quick digest looks at: so many pieces of so many bytes, the file's beginning and end among them."""


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
    except (OSError, ValueError) as error:
        raise _unreadable(name, error) from error


def quick_digest_of(path: str | Path) -> str:
    """Return a digest that takes some milliseconds on a file of any size, as 64 hexadecimal digits.

    It is the SHA-256 of the file's length and of 16 pieces of 256 KiB spread evenly over it. Two files whose quick
    digests differ are different; a change between the pieces is seen only by `sha256_of`.

    Parameters
    ----------
    path : str or Path
        The file.

    Raises
    ------
    SessionFileError
        If the file cannot be read.
    """
    name = Path(path).name
    try:
        with Path(path).open("rb", buffering=0) as stream:
            length = stream.seek(0, 2)
            digest = hashlib.sha256(str(length).encode())
            last = max(length - _PIECE, 0)
            for place in sorted({last * piece // (_PIECES - 1) for piece in range(_PIECES)}):
                stream.seek(place)
                digest.update(stream.read(_PIECE))
            return digest.hexdigest()
    except (OSError, ValueError) as error:
        raise _unreadable(name, error) from error


def _unreadable(name: str, error: OSError | ValueError) -> SessionFileError:
    if isinstance(error, OSError):
        return SessionFileError(
            f"{name}: cannot be read ({error.strerror})", "see whether the file is there and you may read it"
        )
    return SessionFileError(f"{name!r}: is not a file name", "give a session file")  # a NUL in the path
