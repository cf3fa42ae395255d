"""What has become of a file since it was opened: told by its length, the time of its last change, and its name."""

from __future__ import annotations

import os
from enum import Enum
from pathlib import Path


class Change(Enum):
    """What may become of a file, as a clause."""

    CUT = "it has become shorter"
    WRITTEN = "it has been written to"
    REPLACED = "another file has taken its place"


class WatchedFile:
    """A file as it was when it was opened, told by its name alone.

    Parameters
    ----------
    path : Path

    Raises
    ------
    OSError
        If it is not there.
    """

    def __init__(self, path: Path) -> None:
        self._path, self._then = path.absolute(), path.stat()

    def altered(self) -> str:
        """Return what has become of it, as a clause that names it; empty where it is as it was."""
        try:
            now = self._path.stat()
        except OSError:
            return ""
        same = (now.st_dev, now.st_ino) == (self._then.st_dev, self._then.st_ino)
        return clause_of(self._path.name, change_of(self._path, self._then, now if same else self._then))


def change_of(path: Path, then: os.stat_result, now: os.stat_result) -> Change | None:
    """Return what has become of a file since it was opened; None where it is as it was.

    A file whose name was removed is still whole for whoever has it open, and not altered.

    Parameters
    ----------
    path : Path
        Its name when it was opened.
    then, now : os.stat_result
        Of the file that is open: when it was opened, and now.
    """
    if now.st_size < then.st_size:
        return Change.CUT
    if was_written_to(then, now):
        return Change.WRITTEN
    try:
        named = path.stat()
    except OSError:
        return None
    return None if (named.st_dev, named.st_ino) == (then.st_dev, then.st_ino) else Change.REPLACED


def was_written_to(then: os.stat_result, now: os.stat_result) -> bool:
    """Return whether a file that is open was written to, and is no shorter; asked at every read, so quick.

    Parameters
    ----------
    then, now : os.stat_result
        As for `change_of`.
    """
    return now.st_size >= then.st_size and (now.st_mtime_ns != then.st_mtime_ns or now.st_size != then.st_size)


def clause_of(name: str, change: Change | None) -> str:
    """Return what became of a file as a clause that names it; empty where it is as it was.

    Parameters
    ----------
    name : str
    change : Change or None
    """
    return "" if change is None else f"{name}: {change.value}"
