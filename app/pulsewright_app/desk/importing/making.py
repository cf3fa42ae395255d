"""Makes the session file of the recordings that are imported. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path


class CalledOff(Exception):  # noqa: N818 - nothing went wrong: it was asked for
    """Writing was cancelled; no file was made."""


def make_session(
    parts: Sequence[tuple[Path, Mapping[str, str]]],
    target: Path,
    progress: Callable[[float, str], None],
    cancelled: Callable[[], bool],
) -> None:
    """Write recordings, each understood by its options, as one session file.

    Raises
    ------
    PulsewrightError
        If a recording cannot be read as it is understood, or the file cannot be written.
    CalledOff
        If `cancelled` returned True.
    """
    from pulsewright.formats.recognising import open_recording
    from pulsewright.store import save_session

    def told(share: float, doing: str) -> None:
        if cancelled():
            raise CalledOff
        progress(share, doing)

    ((path, options),) = parts
    with open_recording(path, options, progress=progress, cancelled=cancelled) as reading:
        session = reading.checked()
        session.notes = reading.notes
        save_session(target, session, progress=told)
