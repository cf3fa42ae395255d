"""Makes one session of the recordings that are imported, each file the channels of one module. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from pulsewright.errors import PulsewrightError, SettingError
from pulsewright.quantity import parse_number
from pulsewright.session import Session

Progress = Callable[[float, str], None]
Cancelled = Callable[[], bool]


class CalledOff(Exception):  # noqa: N818 - nothing went wrong: it was asked for
    """Writing was cancelled; no file was made."""


@dataclass(frozen=True)
class Part:
    """One file and how it is understood.

    Attributes
    ----------
    path : Path
    options : mapping of str to str
        What a person gave.
    """

    path: Path
    options: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Plan:
    """Files that become one session.

    Attributes
    ----------
    parts : dict of str to Part
        By module. Where there is one file alone its channels may say themselves to which module they belong.
    tolerance : str
        How far apart the trigger times of records that belong together may be; empty: they are matched by number.
    """

    parts: Mapping[str, Part]
    tolerance: str = ""


@contextmanager
def opened_together(plan: Plan, progress: Progress, cancelled: Cancelled) -> Iterator[tuple[Session, tuple[str, ...]]]:
    """Yield the session that a plan comes to, lazy, and what was matched, cut off and left out.

    Raises
    ------
    PulsewrightError
        If a file cannot be read as it is understood, or the files do not go together.
    """
    from pulsewright.formats.combining import combine
    from pulsewright.formats.recognising import open_recording

    alone = len(plan.parts) == 1
    with ExitStack() as files:
        readings = {}
        for module, part in plan.parts.items():
            options = dict(part.options) if alone else {**part.options, "module_names": module}
            reading = open_recording(part.path, options, progress=progress, cancelled=cancelled)
            readings[module] = files.enter_context(reading)
        if alone:
            (reading,) = readings.values()
            session = reading.checked()
            if reading.assumed:
                session.notes = "\n".join(filter(None, (session.notes, reading.notes)))
            yield session, ()
            return
        tolerance = _seconds(plan.tolerance)
        combination = combine(readings, "time" if plan.tolerance else "number", tolerance)
        session, told = combination.session, combination.told
        session.notes = "\n".join([session.notes, *(f"! {clause}." for clause in told)])
        yield session, told


def _seconds(tolerance: str) -> float:
    seconds = parse_number(tolerance or 0.0, "s", "tolerance")
    if seconds < 0:
        raise SettingError(f"tolerance: {tolerance!r} is below 0", 'write it like "10 us"')
    return seconds


def how_they_go_together(plan: Plan, progress: Progress, cancelled: Cancelled) -> tuple[str, tuple[str, ...]]:
    """Return why the files of a plan do not go together, in a sentence that is empty if they do, and what is told."""
    try:
        with opened_together(plan, progress, cancelled) as (_, told):
            return "", told
    except PulsewrightError as error:
        return error.sentence, ()


def make_session(plan: Plan, target: Path, progress: Progress, cancelled: Cancelled) -> None:
    """Write the files of a plan as one session file.

    Raises
    ------
    PulsewrightError
        As `opened_together` does, or if the file cannot be written.
    CalledOff
        If `cancelled` returned True.
    """
    from pulsewright.store import save_session

    def told(share: float, doing: str) -> None:
        if cancelled():
            raise CalledOff
        progress(share, doing)

    with opened_together(plan, progress, cancelled) as (session, _):
        save_session(target, session, progress=told)
