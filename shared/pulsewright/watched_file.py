"""What has become of a file since it was opened: told by its length, the time of its last change, and its name."""

from __future__ import annotations

import os
from pathlib import Path


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
        """Return what has become of it, as `clause_of_change` does."""
        try:
            now = self._path.stat()
        except OSError:
            return ""
        same = (now.st_dev, now.st_ino) == (self._then.st_dev, self._then.st_ino)
        return clause_of_change(self._path, self._then, now if same else self._then)


def clause_of_change(path: Path, then: os.stat_result, now: os.stat_result) -> str:
    """Return what has become of a file since it was opened, as a clause; empty where it is as it was.

    A file whose name was removed is still whole for whoever has it open, and not altered.

    Parameters
    ----------
    path : Path
        Its name when it was opened.
    then, now : os.stat_result
        Of the file that is open: when it was opened, and now.
    """
    if now.st_size < then.st_size:
        return f"{path.name}: it has become shorter"
    if (now.st_size, now.st_mtime_ns) != (then.st_size, then.st_mtime_ns):
        return f"{path.name}: it has been written to"
    try:
        named = path.stat()
    except OSError:
        return ""
    taken = (named.st_dev, named.st_ino) != (then.st_dev, then.st_ino)
    return f"{path.name}: another file has taken its place" if taken else ""
