"""Says whether a session is on another desk already, in this process or in another. No Qt.

The lock is the operating system's own, on a small file in the user's data folder: it ends with the process that holds
it, however that ends, so a file that a crash left behind locks nothing. Nothing is written beside the session.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pulsewright.review_places import data_folder

_TRIES = 5


@dataclass(frozen=True)
class Holder:
    """Who has a session open: the process, and since when, seconds since the epoch; 0 where it does not say."""

    process: int
    since: float

    @property
    def words(self) -> str:
        """Where the session is open, in words."""
        where = "in another window" if self.process == os.getpid() else f"in another desk (process {self.process})"
        if not self.process:
            where = "in another desk"
        when = time.strftime("%H:%M", time.localtime(self.since)) if self.since else ""
        return f"{where}, since {when}" if when else where


class SessionLock:
    """The mark of one desk on one session.

    Parameters
    ----------
    session_path : Path
        The session's file; by whatever name it is reached, the lock is the same.

    Attributes
    ----------
    holder : Holder or None
        Who else has the session open, if this lock was not to be had.
    """

    def __init__(self, session_path: Path) -> None:
        self.session = session_path.resolve()
        name = hashlib.sha256(os.fsencode(self.session)).hexdigest()[:32]
        self._path = data_folder() / "locks" / f"{name}.json"
        self._handle: int | None = None
        self.holder: Holder | None = None

    @property
    def held(self) -> bool:
        """Whether the session is marked as on this desk."""
        return self._handle is not None

    def take(self) -> Holder | None:
        """Mark the session; return who else has it open, if somebody does.

        Where no lock can be had at all (no such folder, a file system without locks) nobody is told anything: a review
        that changes under the desk's hands is noticed when it is saved.
        """
        for _ in range(_TRIES):
            try:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                handle = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o600)
            except OSError:
                return None
            locked = _lock(handle)
            if locked and _still_there(handle, self._path):
                self._handle, self.holder = handle, None
                _write(handle, {"process": os.getpid(), "since": time.time(), "session": str(self.session)})
                return None
            os.close(handle)
            if locked is None:
                return None
            if not locked:
                self.holder = _read(self._path)
                return self.holder
        return None

    def release(self) -> None:
        """Take the mark away; harmless where there is none."""
        if self._handle is None:
            return
        handle, self._handle = self._handle, None
        with suppress(OSError):  # elsewhere an open file cannot be removed; it locks nothing once it is closed
            self._path.unlink()
        os.close(handle)


def _lock(handle: int) -> bool | None:
    """Return whether the file could be locked; None where locks do not work."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(handle, 1 << 20, os.SEEK_SET)  # far behind what is written, so that others can read it
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return None
    return True


def _still_there(handle: int, path: Path) -> bool:
    """Return whether the locked file is still the one of that name: another desk may just have removed it."""
    try:
        return os.path.samestat(os.fstat(handle), path.stat())
    except OSError:
        return False


def _write(handle: int, content: dict[str, Any]) -> None:
    with suppress(OSError):
        os.ftruncate(handle, 0)
        os.lseek(handle, 0, os.SEEK_SET)
        os.write(handle, json.dumps(content).encode())


def _read(path: Path) -> Holder:
    try:
        content = json.loads(path.read_text())
        return Holder(int(content["process"]), float(content["since"]))
    except (OSError, ValueError, TypeError, KeyError):
        return Holder(0, 0.0)
