"""``pulsewright split``: cuts a continuous capture into records, and tells what became of every trigger."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from pulsewright.errors import RecordingError, SettingError
from pulsewright.quantity import engineering, exact, parse_number
from pulsewright_app.ending import ended_between_steps

if TYPE_CHECKING:
    from pulsewright.session import Session
    from pulsewright_analysis.splitting import Split, SplitSettings

Progress = Callable[[float, str], None]
MOST_TOLD = 5
"""How many lost triggers are told one by one."""


def run_split(
    file: Path,
    to: Path,
    *,
    channel: str,
    level: str,
    rising: bool,
    before: str,
    after: str,
    hold_off: str | None,
    hysteresis: str | None,
) -> int:
    """Cut a capture, write the session, print what was done, and return the exit code.

    Raises
    ------
    PulsewrightError
        If the capture cannot be read, no record comes of it, or the session cannot be written.
    """
    from pulsewright.formats import session_file
    from pulsewright.formats.recognising import open_recording
    from pulsewright.store import check_new_session
    from pulsewright_app.printing import page, pairs, progress_on_stderr

    check_new_session(to)
    with open_recording(file) as reading:
        try:
            capture = reading.checked()
        except RecordingError as error:  # this command has none of the options that its remedy speaks of
            remedy = "bring it in with pulsewright convert first, which takes that as an option"
            raise RecordingError(error.cause, remedy) from error
        if reading.format != session_file.NAME:
            capture.notes = reading.notes
        unit = capture.channels[capture.channel_index(channel)].unit
        settings = _settings(channel, level, rising, before, after, hold_off, hysteresis, unit)
        with progress_on_stderr("Looking for triggers") as told_to, ended_between_steps(told_to) as progress:
            try:
                found = write_split(capture, settings, to, progress)
            except SettingError as error:
                raise SettingError(f"{file.name}: {error.cause}", error.remedy) from error
        page().print(pairs([*told(capture, settings, found), ("Written to", str(to))]))
    return 0


def _settings(
    channel: str,
    level: str,
    rising: bool,
    before: str,
    after: str,
    hold_off: str | None,
    hysteresis: str | None,
    unit: str,
) -> SplitSettings:
    from pulsewright_analysis.splitting import SplitSettings

    return SplitSettings(
        channel,
        parse_number(level, unit, "level"),
        rising,
        exact(before, "s", "before"),
        exact(after, "s", "after"),
        exact(hold_off or "0 s", "s", "hold-off"),
        parse_number(hysteresis or 0.0, unit, "hysteresis"),
    )


def write_split(capture: Session, settings: SplitSettings, to: Path, progress: Progress) -> Split:
    """Cut a capture and write the records as a session file, with what was done in its notes.

    Raises
    ------
    PulsewrightError
        If no record comes of it, or the file cannot be written.
    """
    from pulsewright.store import save_session
    from pulsewright_analysis.splitting import split

    found = split(capture, settings, lambda share, doing: progress(share / 2, doing))
    session = found.session
    sentences = "; ".join(f"{name}: {text}" for name, text in told(capture, settings, found))
    session.notes = "\n".join(filter(None, (capture.notes, f"Split from a continuous capture. {sentences}.")))
    session.origin = session.origin or "pulsewright split"
    save_session(to, session, progress=lambda share, doing: progress((1 + share) / 2, doing))
    return found


def told(capture: Session, settings: SplitSettings, found: Split) -> Iterator[tuple[str, str]]:
    """Yield what a person must know of a split: its records, its trigger, and each sort of trigger that made none."""
    session, interval = found.session, capture.sample_interval
    unit = capture.channels[capture.channel_index(settings.channel)].unit
    way = "rising" if settings.rising else "falling"
    length = engineering(session.record_duration, "s", 6)
    yield (
        "Records",
        f"{session.records:,} of {session.record_length:,} samples, {length}; {session.pre_trigger:,} pre-trigger",
    )
    level = engineering(settings.level, unit, 6)
    yield "Trigger", f"{settings.channel} {way} through {level}, its instant on a straight line between two samples"
    if settings.hold_off:
        passed = f"{_crossings(found.held_off)} passed over"
        yield "Hold-off", f"{engineering(float(settings.hold_off), 's', 6)}; {passed}"
    if settings.hysteresis:
        yield "Hysteresis", engineering(settings.hysteresis, unit, 6)
    lost = found.in_dead_time
    if len(lost):
        places = ", ".join(engineering(sample * interval, "s", 6) for sample in lost[:MOST_TOLD].tolist())
        more = f" and {len(lost) - MOST_TOLD:,} more" if len(lost) > MOST_TOLD else ""
        yield "In dead time", f"{_crossings(len(lost))} made no record, {places}{more} from the capture's first sample"
    else:
        yield "In dead time", "no crossing"
    ends = (("begin before the capture", found.before_start), ("reach past its end", found.past_end))
    for what, count in ends:
        if count:
            yield "Not whole", f"{count:,} {'record' if count == 1 else 'records'} would {what}"


def _crossings(count: int) -> str:
    return f"{count:,} {'crossing' if count == 1 else 'crossings'}"
