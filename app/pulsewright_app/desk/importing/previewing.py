"""What a recording is understood to be, and the beginning of its first record as it would be drawn. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pulsewright.errors import PulsewrightError, RecordingError
from pulsewright.formats.understanding import Assumption, Reading
from pulsewright.quantity import engineering
from pulsewright.session import Session
from pulsewright_app.wording import count

Progress = Callable[[float, str], None]
Cancelled = Callable[[], bool]
Floats = NDArray[np.float64]

SAMPLES_LOOKED_AT = 2_000_000
"""Of the first record, on all channels together."""
COLUMNS = 1000
HDF5_BEGINS = b"\x89HDF\r\n\x1a\n"


@dataclass(frozen=True, eq=False)
class Trace:
    """One channel of the first record, reduced to what a small picture shows.

    Attributes
    ----------
    name, unit : str
    time, value : array (points,)
        Seconds from the trigger, and values in the unit.
    """

    name: str
    unit: str
    time: Floats
    value: Floats


@dataclass(frozen=True, eq=False)
class Preview:
    """The first record of a recording.

    Attributes
    ----------
    traces : tuple of Trace
    window : (float, float)
        From the first sample to the last one looked at, seconds.
    told : str
        What the recording holds, in a line.
    rate_known : bool
        Whether the times are seconds; else they are samples.
    """

    traces: tuple[Trace, ...]
    window: tuple[float, float]
    told: str
    rate_known: bool


@dataclass(frozen=True, eq=False)
class Understood:
    """A file as it is understood with the options that were given, or why it is not.

    Attributes
    ----------
    format : str
        What a person calls its format; empty where that is not known.
    assumptions : tuple of Assumption
    odd : tuple of str
        What is odd in it, each a clause.
    problems : dict of str to str
        What stands in the way of importing it: option to sentence; the option is empty where none would mend it.
    preview : Preview or None
    """

    format: str = ""
    assumptions: tuple[Assumption, ...] = ()
    odd: tuple[str, ...] = ()
    problems: Mapping[str, str] = field(default_factory=dict)
    preview: Preview | None = None


def is_recording(path: Path) -> bool:
    """Return whether a file must be imported before the desk can show it: it is of a format known here, and no session.

    A file that cannot be read is left to whoever opens it, who says why.
    """
    from pulsewright.formats import session_file
    from pulsewright.formats.recognising import HEAD_BYTES, formats
    from pulsewright.store import SESSION_SUFFIXES

    try:
        if not path.is_file():
            return False
        with path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except (OSError, ValueError):
        return False
    if not head or session_file.recognises(head, path):
        return False
    others = [one for one in formats() if one.NAME != session_file.NAME]
    suffix = path.suffix.lower()
    if suffix in SESSION_SUFFIXES and not head.startswith(HDF5_BEGINS):
        return False  # a damaged file that is called like a session is for the session's reader to tell of
    return any(one.recognises(head, path) or suffix in one.SUFFIXES for one in others)


def suffixes() -> tuple[str, ...]:
    """Return the endings that files of the formats known here usually have."""
    from pulsewright.formats.recognising import formats

    return tuple(dict.fromkeys(suffix for one in formats() for suffix in one.SUFFIXES))


def understand(path: Path, options: Mapping[str, str], progress: Progress, cancelled: Cancelled) -> Understood:
    """Return how a file is understood; what is wrong with it or with an option is part of the answer."""
    from pulsewright.formats.recognising import open_recording

    try:
        with open_recording(path, options, progress=progress, cancelled=cancelled) as reading:
            problems = {problem.option: problem.sentence for problem in reversed(reading.problems)}
            return Understood(reading.format, reading.assumptions, reading.odd, problems, _preview(reading))
    except RecordingError as error:
        return Understood(problems={error.option: error.sentence})
    except PulsewrightError as error:
        return Understood(problems={"": error.sentence})


def _preview(reading: Reading) -> Preview:
    session = reading.session
    known = not any(problem.option == "sample_rate" for problem in reading.problems)
    seen = max(2, min(session.record_length, SAMPLES_LOOKED_AT // len(session.channels)))
    codes = session.stretch_codes(0, 0, seen)
    starts = session.first_sample_times(0)
    traces = []
    for place, channel in enumerate(session.channels):
        values = codes[place].astype(np.float64) * channel.scale + channel.offset
        sample, value = _reduced(values)
        traces.append(Trace(channel.name, channel.unit, starts[place] + sample / session.sample_rate, value))
    window = float(starts.min()), float(starts.max()) + (codes.shape[1] - 1) / session.sample_rate
    return Preview(tuple(traces), window, _told(session, known, seen), known)


def _reduced(values: Floats) -> tuple[Floats, Floats]:
    """Return sample numbers and values to draw: each sample, or the lowest and highest of each column."""
    if len(values) <= 2 * COLUMNS:
        return np.arange(len(values), dtype=np.float64), values
    edges = np.linspace(0, len(values), COLUMNS + 1).astype(np.int64)
    low, high = np.fmin.reduceat(values, edges[:-1]), np.fmax.reduceat(values, edges[:-1])
    middle = np.repeat((edges[:-1] + edges[1:] - 1) / 2, 2)
    return middle, np.stack([low, high], axis=1).ravel()


def _told(session: Session, known: bool, seen: int) -> str:
    """Return what a recording holds, and what of it is drawn."""
    length = f"{session.record_length:,} samples"
    if known:
        length += f" ({engineering(session.record_duration, 's', 5)} at {engineering(session.sample_rate, 'S/s', 6)})"
    parts = f"{count(session.records, 'record')} of {length}, {count(len(session.channels), 'channel')}"
    drawn = "" if seen >= session.record_length else f" Drawn are the first {seen:,} samples."
    return f"{parts}. Record 0 as it would be understood:{drawn}"
