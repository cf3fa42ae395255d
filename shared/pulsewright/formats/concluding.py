"""From what a file says and what a person gives to a session: the part that all formats share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource
from pulsewright.errors import RecordingError
from pulsewright.formats.option_values import (
    for_each,
    parse_ends,
    parse_rate,
    show_ends,
    show_rate,
    shown_for_each,
    whole_number,
)
from pulsewright.formats.sample_types import NO_END_CODE, usual_end_codes
from pulsewright.formats.understanding import Ledger, Reading
from pulsewright.quantity import parse_number
from pulsewright.session import Channel, Floats, Session

MOST_RECORDS = 1 << 22
_OWN, _UNKNOWN, _EVERY = "the file's own", "not known", "every "


@dataclass
class Found:
    """What a file itself says; None wherever it says nothing.

    Attributes
    ----------
    source : BlockSource
        The samples, cut into records.
    stored : dtype or None
        The type of a sample in the file, where it is not that of the source.
    names, modules, units, scales, offsets, delays, end_codes
        One for each channel.
    guesses : dict
        For some of these names, what to take rather than the usual guess, and why.
    module_order : sequence of str or None
        Modules in order, where channels do not tell it.
    sample_rate : float or None
        Hertz.
    pre_trigger : int or None
        Samples.
    trigger_time, trigger_offset
        As for `Session`.
    time_origin : Fraction
        The first trigger by the file's own clock, seconds; what `trigger_time` counts from.
    title, notes, origin, created : str
        Text that the file carries.
    complete : bool
        Whether the file says everything that a session needs, so that what it leaves open is not known.
    """

    source: BlockSource
    stored: np.dtype[Any] | None = None
    names: Sequence[str] | None = None
    modules: Sequence[str] | None = None
    units: Sequence[str] | None = None
    scales: Sequence[float] | None = None
    offsets: Sequence[float] | None = None
    delays: Sequence[float] | None = None
    end_codes: Sequence[tuple[int, int]] | None = None
    guesses: dict[str, tuple[Any, str]] = field(default_factory=dict)
    module_order: Sequence[str] | None = None
    sample_rate: float | None = None
    pre_trigger: int | None = None
    trigger_time: Floats | None = None
    trigger_offset: Floats | None = None
    time_origin: Fraction = Fraction(0)
    title: str = ""
    notes: str = ""
    origin: str = ""
    created: str = ""
    complete: bool = False


def records_in(ledger: Ledger, total: int, in_file: int | None = None) -> tuple[int, int]:
    """Return how many records a continuous stretch of samples is cut into, and their length.

    Parameters
    ----------
    ledger : Ledger
        Asked for the record length.
    total : int
        Samples on each channel.
    in_file : int, optional
        Record length that the file says.

    Returns
    -------
    int, int
        Records and record length; samples left over at the end are told as odd.

    Raises
    ------
    RecordingError
        If there is not even one record.
    """
    length = ledger.decide(
        "record_length", whole_number, in_file=in_file, guess=total, why="nothing divides the samples into records"
    )
    assert length is not None
    if length < 1:
        raise RecordingError(
            f"{ledger.file_name}: no record has 0 samples", "give another record length", "record_length"
        )
    if length > total:
        raise RecordingError(
            f"{ledger.file_name}: holds {total:,} samples on each channel, less than a record of {length:,}",
            "give another record length",
            "record_length",
        )
    left = total % length
    if left:
        ledger.odd.append(f"{left:,} samples at its end make no whole record of {length:,} and are left out")
    return total // length, length


def conclude(ledger: Ledger, path: Path, format_name: str, found: Found) -> Reading:
    """Return the reading of a file whose samples have been found.

    Parameters
    ----------
    ledger : Ledger
        Asked for everything that a session needs.
    path : Path
        The file.
    format_name : str
        What a person calls its format.
    found : Found
        What the file says.

    Raises
    ------
    RecordingError
        If an option cannot be used.
    """
    records, _, length = found.source.shape
    if records > MOST_RECORDS:  # every record has times of its own in memory, however short it is
        raise RecordingError(
            f"{ledger.file_name}: makes {records:,} records of {length:,} samples, more than {MOST_RECORDS:,}",
            "say what its axes are, or give a longer record length",
            "axes" if "axes" not in ledger.options else "record_length",
        )
    rate = ledger.decide(
        "sample_rate", parse_rate, show_rate, in_file=found.sample_rate, **_guess(found, "sample_rate")
    )
    pre_trigger = ledger.decide(
        "pre_trigger",
        whole_number,
        in_file=found.pre_trigger,
        **_guess(found, "pre_trigger", 0, "nothing says that a record begins before its trigger"),
    )
    assert pre_trigger is not None
    if pre_trigger > length:
        raise RecordingError(
            f"{ledger.file_name}: {pre_trigger:,} samples before the trigger, but a record has only {length:,}",
            "give fewer",
            "pre_trigger",
        )
    channels = _channels(ledger, found)
    time, offset = _triggers(ledger, found, records)
    title = ledger.decide("title", str, in_file=found.title or ("" if found.complete else None), guess="",
                          why="the file has none")  # fmt: skip
    session = Session(
        found.source,
        channels,
        1.0 if rate is None else rate,
        pre_trigger,
        modules=_module_order(found, channels),
        trigger_time=time,
        trigger_offset=offset,
        title=title or "",
        notes=found.notes,
        origin=found.origin or path.name,
        created=found.created,
        file=path,
    )
    told = tuple(ledger.assumptions), tuple(ledger.odd), tuple(ledger.problems)
    return Reading(path, format_name, session, *told, found.time_origin)


def _guess(found: Found, name: str, guess: Any = None, why: str = "") -> dict[str, Any]:
    value, reason = found.guesses.get(name, (guess, why))
    return {"guess": value, "why": reason}


def _module_order(found: Found, channels: Sequence[Channel]) -> Sequence[str] | None:
    used = {channel.module for channel in channels}
    if found.module_order is not None and used <= set(found.module_order):
        return found.module_order
    return None


def _channels(ledger: Ledger, found: Found) -> list[Channel]:
    count = found.source.shape[1]

    def each(name: str, parse: Callable[[str, int], Any], in_file: Any, usual: Any, why: str, show: Any = str) -> Any:
        guess, reason = found.guesses.get(name, (usual, why))
        values = ledger.decide(
            name,
            lambda text: for_each(text, names, parse),
            lambda values: shown_for_each([show(value) for value in values]),
            in_file=None if in_file is None else list(in_file),
            guess=guess if isinstance(guess, list) else [guess] * count,
            why=reason,
        )
        assert values is not None
        return _by_channel(ledger, name, names, values, parse, show)

    names = [f"C{place + 1:0{max(2, len(str(count)))}d}" for place in range(count)]
    names = each("names", _name, found.names, names, "the file names none")
    _check_names(ledger, names)
    renamed = _renamed(ledger, names)
    _check_names(ledger, renamed)
    modules = each("module_names", _name, found.modules, "M1", "one module, if nobody says otherwise")
    units = each("unit", lambda text, _: text, found.units, "V", "the file names none")
    scales = each(
        "scale",
        lambda text, place: parse_number(text, units[place], "scale"),
        found.scales, 1.0, "a code counts as one unit", repr,
    )  # fmt: skip
    if any(not np.isfinite(scale) or scale == 0 for scale in scales):
        raise RecordingError(f"{ledger.file_name}: a scale is 0 or not finite", "give units for each code", "scale")
    offsets = each(
        "offset",
        lambda text, place: parse_number(text, units[place], "offset"),
        found.offsets, 0.0, "code 0 counts as 0 units", repr,
    )  # fmt: skip
    delays = each("delay", lambda text, _: parse_number(text, "s", "delay"), found.delays, 0.0, "none is known",
                  lambda value: f"{value!r} s")  # fmt: skip
    usual = usual_end_codes(found.stored or found.source.dtype, found.source.dtype)
    why = "those of the sample type" if usual[1] < NO_END_CODE else "samples are no codes: none counts as clipped"
    ends = each("end_codes", lambda text, _: parse_ends(text), found.end_codes, usual, why, show_ends)
    rows = zip(renamed, modules, units, scales, offsets, (end[0] for end in ends), (end[1] for end in ends), delays,
               strict=True)  # fmt: skip
    return [Channel(*row) for row in rows]


def _by_channel(
    ledger: Ledger, name: str, names: Sequence[str], values: list[Any], parse: Callable[[str, int], Any], show: Any
) -> list[Any]:
    """Return the values with those in place that a person gave for single channels by name."""
    given = {place: ledger.channels[known][name] for place, known in enumerate(names)
             if name in ledger.channels.get(known, {})}  # fmt: skip
    if not given or name == "names":
        return values
    changed = [parse(given[place], place) if place in given else value for place, value in enumerate(values)]
    ledger.note(name, shown_for_each([show(value) for value in changed]), "option")
    return changed


def _renamed(ledger: Ledger, names: list[str]) -> list[str]:
    unknown = [name for name in ledger.channels if name not in names]
    if unknown:
        raise RecordingError(
            f"{ledger.file_name}: has no channel {unknown[0]!r}", f"its channels are {', '.join(names)}", "names"
        )
    renamed = [ledger.channels.get(name, {}).get("names", name) for name in names]
    if renamed != names:
        ledger.note("names", ",".join(renamed), "option")
    return renamed


def _check_names(ledger: Ledger, names: Sequence[str]) -> None:
    seen: set[str] = set()
    for place, name in enumerate(names):
        known = name in seen
        seen.add(name)
        if not name.strip() or known:
            raise RecordingError(
                f"{ledger.file_name}: channel {place + 1} is called {name!r}, as is another or as none may be",
                "name every channel differently",
                "names",
            )


def _triggers(ledger: Ledger, found: Found, records: int) -> tuple[Floats | None, Floats | None]:
    own = found.trigger_time is not None and bool(np.isfinite(found.trigger_time).any())
    told = ledger.decide(
        "trigger_times",
        _parse_times,
        in_file=_OWN if own else _UNKNOWN if found.complete else None,
        guess=_UNKNOWN,
        why="the file has none",
        choices=(_OWN, _UNKNOWN, "every 1 ms") if own else (_UNKNOWN, "every 1 ms"),
    )
    assert told is not None
    if told == _OWN and not own:
        raise RecordingError(f"{ledger.file_name}: has no trigger times", 'write "every 1 ms"', "trigger_times")
    if told == _OWN:
        return found.trigger_time, found.trigger_offset
    if told == _UNKNOWN:
        # a file that knows none still says whether one column would serve all modules
        return (None if own else found.trigger_time), found.trigger_offset
    every: Floats = np.arange(records, dtype=np.float64) * parse_number(told.removeprefix(_EVERY), "s")
    return every, found.trigger_offset


def _parse_times(text: str) -> str:
    if text.startswith(_EVERY):
        if parse_number(text.removeprefix(_EVERY), "s", "trigger times") <= 0:
            raise ValueError(text)
        return text
    if text not in (_OWN, _UNKNOWN):
        raise ValueError(text)
    return text


def _name(text: str, _: int) -> str:
    return text
