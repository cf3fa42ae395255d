"""``pulsewright describe``: what a session file holds, and whether it is whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pulsewright.errors import PulsewrightError
from pulsewright.formats.sample_types import NO_END_CODE
from pulsewright.quantity import engineering
from pulsewright.session import Channel, Session
from pulsewright_app.wording import ORIGINS

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

    from pulsewright_app.survey import ChannelSurvey, Survey

MOST_TOLD = 5
"""How many of a kind are told one by one."""


def run_describe(file: Path, options: dict[str, str]) -> int:
    """Read the whole file, print what is in it, and return the exit code.

    Raises
    ------
    PulsewrightError
        If it is damaged, or cannot be understood.
    """
    from pulsewright.formats.recognising import is_session_file

    if options or not is_session_file(file):
        from pulsewright_app.recording_description import describe_recording

        return describe_recording(file, options)
    from pulsewright.opening import open_session
    from pulsewright_app.printing import page, progress_on_stderr
    from pulsewright_app.survey import survey

    with open_session(file) as session:
        with progress_on_stderr("Reading") as progress:
            result = survey(session, progress)
        print_description(session, file, result, page(), list(delays_given(session, file, result.sha256)))
    return 0


def delays_given(session: Session, file: Path, sha256: str) -> Iterable[str]:
    """Yield a sentence for each cable delay that the review or the claims file puts in place of the file's."""
    from pulsewright_app.inputs import settings_beside

    try:
        settings = settings_beside(file, sha256)
        measured = session.with_delays(settings.delays)
    except PulsewrightError as error:
        yield f"which cable delays are taken off when it is measured cannot be told: {error.sentence.removesuffix('.')}"
        return
    for own, now in zip(session.channels, measured.channels, strict=True):
        if own.delay != now.delay:
            origin = ORIGINS[settings.delay_origin(own.name)]
            yield (
                f"{own.name} is measured with a cable delay of {_delay(now)}, from the {origin}, "
                f"in place of the file's {_delay(own)}"
            )


def print_description(session: Session, file: Path, found: Survey, out: Console, delays: Sequence[str] = ()) -> None:
    """Print what a session holds, its channels, which other cable delays count, and what is odd about it."""
    from pulsewright_app.printing import pairs

    rows = [*session_rows(session, file), *trigger_rows(session, found)]  # first: the file may be gone by now
    out.print(session.title or file.name, style="bold")
    if session.notes:
        out.print(session.notes)
    out.print(pairs(rows))
    out.print()
    out.print(channel_table(session, found))
    for sentence in delays:
        out.print(f"{sentence[:1].upper()}{sentence[1:]}.")
    out.print()
    odd = list(odd_things(session, found))
    if not odd:
        out.print("The file is whole, and nothing in it is odd.")
        return
    out.print("The file is whole. Odd in it:")
    for sentence in odd:
        out.print(f"! {sentence}.")


def odd_things(session: Session, found: Survey) -> Iterable[str]:
    """Yield a sentence for everything in a whole file that a person should know before measuring."""
    for channel, entry in zip(session.channels, found.channels, strict=True):
        if entry.constant:
            yield f"{channel.name} holds the same value in every sample"
        if entry.beyond_ends:
            yield f"{channel.name} goes beyond its end codes: they are not the converter's"
        if entry.flat_samples:
            yield (
                f"{channel.name} stays at an extreme for {entry.flat_samples} samples without being at an end code: "
                "the end codes may be wrong"
            )
        if entry.clipped_samples:
            records = _records(entry.clipped_records)
            yield f"{channel.name} has {entry.clipped_samples} clipped samples, in {records}"
    for module, numbers in found.repeated_times.items():
        yield f"on {module} the trigger time of the record before is repeated in {_records(numbers)}"
    for module, numbers in found.unknown_times.items():
        if len(numbers) < session.records:
            yield f"on {module} the trigger time is not known in {_records(numbers)}"
    for record, gap in found.long_gaps[:MOST_TOLD]:
        yield f"after record {record} the next trigger comes {engineering(gap, 's', 6)} later"
    if len(found.long_gaps) > MOST_TOLD:
        yield f"{len(found.long_gaps) - MOST_TOLD} more records are followed by as long a wait"
    for first, again in found.repeated_records:
        yield f"record {again} holds the same samples as record {first}"


def channel_table(session: Session, found: Survey) -> Table:
    """Return a row for each channel: its range, what was seen of it, clipped samples, delay."""
    from pulsewright_app.printing import columns

    headings = ("Channel", "Range", "Lowest seen", "Highest seen", "Clipped", "Delay")
    rows = [_channel_row(session, number, entry) for number, entry in enumerate(found.channels)]
    return columns(headings, rows, right=range(1, 6))


def session_rows(session: Session, file: Path) -> list[tuple[str, str]]:
    """Return what a session is made of, name and value."""
    duration = engineering(session.record_duration, "s", 6)
    rows = [
        ("File", f"{file} ({file.stat().st_size:,} bytes)"),
        ("Records", f"{session.records:,}"),
        ("Record length", f"{session.record_length:,} samples, {duration}; {session.pre_trigger:,} pre-trigger"),
        ("Sample rate", engineering(session.sample_rate, "S/s", 9)),
        ("Samples", f"{session.dtype} on {len(session.channels)} channels"),
    ]
    for module in session.modules:
        names = [channel.name for channel in session.channels if channel.module == module]
        rows.append((f"Module {module}", ", ".join(names)))
    rows += [("Origin", session.origin)] if session.origin else []
    rows += [("Created", session.created)] if session.created else []
    return rows


def trigger_rows(session: Session, found: Survey) -> list[tuple[str, str]]:
    """Return what is known of its triggers, name and value."""
    period = "not known" if found.period is None else engineering(found.period, "s", 6)
    if found.gap_range is not None and found.gap_range[0] < found.gap_range[1]:
        shortest, longest = (engineering(gap, "s", 6) for gap in found.gap_range)
        period += f" (median; from {shortest} to {longest})"
    how = "one for all modules" if session.shared_time else "for each module"
    known = found.offsets_known
    total = session.records * len(session.modules)
    offsets = "known for every record" if known == total else "not known: ±half a sample interval"
    if 0 < known < total:
        offsets = f"known for {known} of {total} (records × modules)"
    return [
        ("Trigger period seen", period),
        ("Trigger times", how if found.times_known else "not known"),
        ("Trigger offsets", offsets),
        ("SHA-256", found.sha256 or "not a file"),
    ]


def _channel_row(session: Session, number: int, entry: ChannelSurvey) -> tuple[str, ...]:
    channel = session.channels[number]
    ends = (
        channel.lowest_code * channel.scale + channel.offset,
        channel.highest_code * channel.scale + channel.offset,
    )
    low, high = (engineering(value, channel.unit) for value in sorted(ends))
    reach = "no end codes" if channel.highest_code >= NO_END_CODE else f"{low} .. {high}"
    seen = [
        engineering(value * channel.scale + channel.offset, channel.unit) for value in (entry.lowest, entry.highest)
    ]
    if channel.scale < 0:
        seen.reverse()
    return (channel.name, reach, *seen, str(entry.clipped_samples), _delay(channel))


def _delay(channel: Channel) -> str:
    return engineering(channel.delay, "s") if channel.delay else "0 s"


def _records(numbers: Iterable[int]) -> str:
    """Write record numbers, the first few of them one by one."""
    chosen = list(numbers)
    told = ", ".join(str(number) for number in chosen[:MOST_TOLD])
    more = f" and {len(chosen) - MOST_TOLD} more" if len(chosen) > MOST_TOLD else ""
    return f"record {told}" if len(chosen) == 1 else f"records {told}{more}"
