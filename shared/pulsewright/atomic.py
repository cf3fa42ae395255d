"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import secrets
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
    temporary = target.parent / f".pulsewright-{secrets.token_hex(8)}.part"
    temporary.touch(exist_ok=False)
    try:
        yield temporary
        with suppress(OSError):  # a new file keeps the usual permissions, a replaced one those it had
            temporary.chmod(target.stat().st_mode & 0o777)
        _flush(temporary)
        temporary.replace(target)
        _flush_folder(target.parent)
    finally:
        with suppress(OSError):
            temporary.unlink()


def _flush(path: Path) -> None:
    with path.open("r+b") as stream:
        os.fsync(stream.fileno())


def _flush_folder(folder: Path) -> None:
    """Make the new name itself last; where folders cannot be opened the file system sees to it."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
