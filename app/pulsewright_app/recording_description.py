"""``pulsewright describe`` for what is no session file: what is in it, what is odd, and how it would be read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from pulsewright.formats.understanding import Reading
    from pulsewright_app.survey import Survey


def describe_recording(file: Path, options: dict[str, str]) -> int:
    """Read the whole file as it would be converted, print what is in it, and return the exit code.

    Raises
    ------
    PulsewrightError
        If it cannot be understood at all.
    """
    from pulsewright.formats.recognising import open_recording
    from pulsewright_app.printing import page, progress_on_stderr
    from pulsewright_app.survey import survey

    with progress_on_stderr("Reading") as progress, open_recording(file, options, progress=progress) as reading:
        found = survey(reading.session, progress)
        print_recording(reading, found, page())
    return 0


def print_recording(reading: Reading, found: Survey, out: Console) -> None:
    """Print what a recording holds, how it would be read, what is odd, and what stands in the way."""
    from pulsewright_app.convert_command import print_understanding
    from pulsewright_app.describe_command import channel_table, odd_things, session_rows, trigger_rows
    from pulsewright_app.printing import pairs

    session = reading.session
    rows = [("Format", reading.format), *session_rows(session, reading.path), *trigger_rows(session, found)]
    out.print(session.title or reading.path.name, style="bold")
    unknown = {told.label for told in reading.assumptions if told.origin == "missing"}
    out.print(pairs([(name, "not known" if name in unknown else value) for name, value in rows]))
    out.print()
    out.print(channel_table(session, found))
    out.print()
    print_understanding(reading, "", out)
    for sentence in odd_things(session, found):
        out.print(f"! {sentence}.")
    for problem in reading.problems:
        out.print(f"It cannot be converted so: {problem.sentence}")
