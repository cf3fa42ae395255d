"""``pulsewright convert``: brings recordings in and writes sessions out, and tells what was understood."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pulsewright.errors import PulsewrightError, RecordingError
from pulsewright.quantity import parse_number
from pulsewright_app.ending import ended_between_steps

if TYPE_CHECKING:
    from pulsewright.formats.how_file import How
    from pulsewright.formats.understanding import Reading
    from pulsewright.session import Session

ONE_FILE = ""
"""Stands for the module where there is one file, whose channels say themselves to which they belong."""


def run_convert(
    files: Sequence[Path],
    to: Path,
    modules: Sequence[str],
    how_file: Path | None,
    match: str,
    tolerance: str | None,
    options: dict[str, str],
) -> int:
    """Open what is given, write it in the form that `to` names, print what was understood, and return the exit code.

    Raises
    ------
    PulsewrightError
        If a file cannot be understood, or the new one cannot be written.
    """
    from pulsewright.formats.writing import check_target, write_out
    from pulsewright_app.printing import page, progress_on_stderr

    check_target(to)
    given = _by_module(files, modules)
    hows = _hows(given, how_file, options)
    with ExitStack() as open_files, progress_on_stderr("Reading") as told_to, ended_between_steps(told_to) as progress:
        readings = {}
        for module, file in given.items():
            readings[module] = open_files.enter_context(_opened(file, module, hows[module], progress))
        session, told = _session(readings, match, _seconds(match, tolerance))
        write_out(session, to, progress)
        out = page()
        for module, reading in readings.items():
            print_understanding(reading, module, out)
        for clause in told:
            out.print(f"! {clause}.")
        out.print(f"{_shape(session)} written to {to}")
    return 0


def _shape(session: Session) -> str:
    records = "1 record" if session.records == 1 else f"{session.records:,} records"
    channels = "1 channel" if len(session.channels) == 1 else f"{len(session.channels)} channels"
    return f"{records} of {session.record_length:,} samples on {channels}"


def _by_module(files: Sequence[Path], modules: Sequence[str]) -> dict[str, Path]:
    if files and modules:
        raise PulsewrightError("files and --module: only one way of giving files can be used", "leave one of them out")
    if len(files) == 1:
        return {ONE_FILE: files[0]}
    if not files and not modules:
        raise PulsewrightError("no file is given", "name one, or give --module NAME=FILE twice or more")
    pairs = [(file.name.split(".")[0], str(file)) for file in files]
    for text in modules:
        name, equals, file = text.partition("=")
        if not equals or not name.strip() or not file:
            raise PulsewrightError(f"--module: {text!r} is no module with its file", 'write it like "A=left.npz"')
        pairs.append((name.strip(), file))
    given = {name: Path(file) for name, file in pairs}
    if len(given) < len(pairs):
        raise PulsewrightError("two modules have one name", "name them with --module NAME=FILE")
    return given


def _hows(given: dict[str, Path], how_file: Path | None, options: dict[str, str]) -> dict[str, How]:
    """Return how each module's file is understood: options count more than the TOML file."""
    from pulsewright.formats.how_file import How, read_how

    everywhere, single = (How(), {}) if how_file is None else read_how(how_file)
    for name in single:
        if name not in given:
            raise RecordingError(f"{how_file}: there is no module {name!r}", f"modules are {', '.join(given)}")
    return {module: everywhere.under(single.get(module, How())).under(How(options)) for module in given}


def _opened(file: Path, module: str, how: How, progress: Any) -> Reading:
    from pulsewright.formats.recognising import open_recording

    options = dict(how.options) if module == ONE_FILE else {"module_names": module, **how.options}
    return open_recording(file, options, progress=progress, channels=how.channels)


def _seconds(match: str, tolerance: str | None) -> float:
    if tolerance is not None and match != "time":
        raise PulsewrightError("--tolerance has no meaning without --match time", "leave it out")
    if match == "time" and tolerance is None:
        raise PulsewrightError("--match time needs a tolerance", 'give it like --tolerance "10 us"')
    seconds = parse_number(tolerance or 0.0, "s", "tolerance")
    if seconds < 0:
        raise PulsewrightError("the tolerance is below 0", 'give it like --tolerance "10 us"')
    return seconds


def _session(readings: dict[str, Reading], match: str, tolerance: float) -> tuple[Session, Sequence[str]]:
    from pulsewright.formats.combining import combine

    if len(readings) > 1:
        combination = combine(readings, "time" if match == "time" else "number", tolerance)
        session, told = combination.session, combination.told
        session.notes = "\n".join([session.notes, *(f"! {clause}." for clause in told)])
        return session, told
    reading = next(iter(readings.values()))
    session = reading.checked()
    if reading.assumed:
        session.notes = "\n".join(filter(None, (session.notes, reading.notes)))
    return session, ()


def print_understanding(reading: Reading, module: str, out: Any) -> None:
    """Print how a file was understood: every assumption, where from, and the option that changes it."""
    from pulsewright_app.printing import columns

    name = f"Module {module}: {reading.path.name}" if module else reading.path.name
    out.print(f"{name} ({reading.format}), understood as:", style="bold")
    rows = []
    for told in reading.assumptions:
        origin = _ORIGINS[told.origin] + (f": {told.why}" if told.why else "")
        rows.append((told.label, told.value or "–", origin, f"--{told.name.replace('_', '-')}"))
    out.print(columns(("What", "Value", "Where from", "To change it"), rows))
    for clause in reading.odd:
        out.print(f"! {clause}.")


_ORIGINS = {"file": "the file", "option": "given", "guessed": "guessed", "missing": "not known"}
