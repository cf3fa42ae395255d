"""What comes onto a desk: a session to show, recordings to import, sessions for further windows. No Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pulsewright.errors import PulsewrightError
from pulsewright_app.desk.importing.previewing import is_recording
from pulsewright_app.desk.opening import Opened, open_for_desk
from pulsewright_app.desk.session_lock import SessionLock

_BESIDE = (".claims.toml", ".review.json")
"""What the names of claims files and reviews end in."""


@dataclass(frozen=True)
class Arrived:
    """What some files are to a desk.

    Attributes
    ----------
    opened : Opened or None
        The first session among them.
    recordings : tuple of Path
        Those of other formats, in their order.
    further : tuple of Path
        The sessions behind the first.
    told : str
        Why the first session cannot be opened, in a sentence; empty if it can, or if there is none.
    """

    opened: Opened | None
    recordings: tuple[Path, ...]
    further: tuple[Path, ...]
    told: str = ""


def open_or_import(paths: Sequence[Path], own_lock: SessionLock | None) -> Arrived:
    """Sort files into recordings and sessions, and open the first session.

    Parameters
    ----------
    paths : sequence of Path
        At least one.
    own_lock : SessionLock, optional
        As for `open_for_desk`.
    """
    beside = [path for path in paths if path.name.lower().endswith(_BESIDE)]
    files = [path for path in paths if path not in beside]  # with their session they come by themselves
    recordings = tuple(path for path in files if is_recording(path))
    sessions = [path for path in files if path not in recordings]
    opened = None
    told = (
        "" if files else f"{beside[0].name}: is no recording; it counts beside the session of its name: open that one."
    )
    try:
        opened = open_for_desk(sessions[0], own_lock) if sessions else None
    except PulsewrightError as error:
        told = error.sentence
    return Arrived(opened, recordings, tuple(sessions[1:]), told)
