"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def replacing(target: Path) -> Iterator[Path]:
    """Hand out a temporary path beside `target` that takes its place once the block ends without an error.

    Parameters
    ----------
    target : Path
        The file to make or to replace; a reader sees the old one or the new one, never a part.

    Yields
    ------
    Path
        An empty file in the same folder; it is removed if the block raises.

    Raises
    ------
    OSError
        If the folder cannot be written to.
    """
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        temporary.chmod(_usual_mode(target))
        _flush(temporary)
        temporary.replace(target)
        _flush_folder(target.parent)
    finally:
        with suppress(FileNotFoundError):
            temporary.unlink()


def _usual_mode(target: Path) -> int:
    """Return the permissions that `target` has, or that a new file would get: mkstemp's are for its owner only."""
    with suppress(OSError):
        return target.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _flush(path: Path) -> None:
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _flush_folder(folder: Path) -> None:
    """Make the new name itself last; where folders cannot be opened the file system sees to it."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
