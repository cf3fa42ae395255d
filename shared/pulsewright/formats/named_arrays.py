"""Files that hold arrays by name: which of them are samples, which are times, and what their axes are."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource
from pulsewright.errors import RecordingError
from pulsewright.formats.array_axes import AxesLayout, NamedArray, StackedSource, guessed_axes, parse_axes
from pulsewright.formats.concluding import Found, conclude, records_in
from pulsewright.formats.sample_times import TimeWatch, triggers_from
from pulsewright.formats.sample_types import StoredType, sample_type
from pulsewright.formats.understanding import Ledger, Reading
from pulsewright.session import Floats

RATE_NAMES = ("sample_rate", "samplerate", "sampling_rate", "samplingrate", "sampling_frequency", "fs", "rate")
INTERVAL_NAMES = ("sample_interval", "sampling_interval", "interval", "dt", "ts", "tinterval")
TIME_NAMES = ("t", "time", "times", "seconds", "time_s")
TRIGGER_NAMES = ("trigger_time", "trigger_times", "triggers", "timestamps")
SAMPLE_NAMES = ("samples", "data", "waveforms", "waveform", "values", "traces", "y")
_TIMES_AT_ONCE = 1 << 20
_MOST_LISTED = 8


def understand(ledger: Ledger, path: Path, format_name: str, arrays: Sequence[NamedArray]) -> Reading:
    """Return the reading of a file that holds arrays by name.

    Parameters
    ----------
    ledger : Ledger
        Asked for what the file does not say.
    path : Path
        The file.
    format_name : str
        What a person calls its format.
    arrays : sequence of NamedArray
        Every array of numbers in it.

    Raises
    ------
    RecordingError
        If none of them can hold samples, or an option cannot be used.
    """
    chosen = _chosen(ledger, arrays)
    shape = chosen[0].shape
    guess, why = guessed_axes(shape)
    axes = ledger.decide("axes", lambda text: parse_axes(text, len(shape)), ",".join, guess=guess, why=why)
    assert axes is not None
    layout = _layout(ledger, shape, axes)
    dtype = sample_type(ledger, _widest(ledger, chosen))
    sources = [array.source(layout, dtype) for array in chosen]
    source: BlockSource = sources[0] if len(sources) == 1 else StackedSource(sources, dtype, ledger.file_name)
    found = Found(source, stored=chosen[0].stored.natural, sample_rate=_rate(arrays, chosen[0]))
    if len(chosen) > 1 and layout.shape[1] == 1:
        found.names = [array.name.rsplit("/", 1)[-1] for array in chosen]
        if len(set(found.names)) < len(chosen):
            found.names = [array.name for array in chosen]
    _take_times(ledger, arrays, chosen, found)
    _take_triggers(arrays, found)
    return conclude(ledger, path, format_name, found)


def _layout(ledger: Ledger, shape: tuple[int, ...], axes: tuple[str, ...]) -> AxesLayout:
    sizes: dict[str, int] = dict(zip(axes, shape, strict=True))
    channels, length = sizes.get("channels", 1), sizes["samples"]
    if "records" in sizes:
        return AxesLayout(axes, (sizes["records"], channels, length), cut=False)
    records, length = records_in(ledger, length)
    return AxesLayout(axes, (records, channels, length), cut=True)


def _widest(ledger: Ledger, chosen: Sequence[NamedArray]) -> StoredType:
    kinds = {array.stored.natural for array in chosen}
    if len(kinds) == 1:
        return chosen[0].stored
    if any(kind.kind not in "biuf" for kind in kinds):
        raise RecordingError(f"{ledger.file_name}: its channels are of different types", "choose others", "dataset")
    return StoredType(np.result_type(*kinds))


def _chosen(ledger: Ledger, arrays: Sequence[NamedArray]) -> list[NamedArray]:
    """Return the arrays that hold samples: those asked for, or the largest and all that look like it."""
    able = {array.name: array for array in arrays if 1 <= len(array.shape) <= 3 and array.size > 1}
    names = tuple(able)
    if not able:
        raise RecordingError(f"{ledger.file_name}: holds no array of numbers with one to three axes", "give another")
    largest = max(able.values(), key=lambda array: (array.size, array.name.lower() in SAMPLE_NAMES))
    alike = [
        array for array in able.values()
        if array.shape == largest.shape and array.name.rsplit("/", 1)[-1].lower() not in TIME_NAMES + TRIGGER_NAMES
    ]  # fmt: skip
    guess = alike if alike and len(largest.shape) < 3 else [largest]
    several = f"{len(guess)} of the same shape" if len(guess) > 1 else "the largest"
    told = ledger.decide(
        "dataset",
        lambda text: [able[_known(part.strip(), able)] for part in text.split(",")],
        lambda values: ",".join(array.name for array in values),
        guess=guess,
        why="the only one" if len(able) == 1 else several,
        choices=names[:_MOST_LISTED],
    )
    assert told is not None
    if any(array.shape != told[0].shape for array in told):
        raise RecordingError(f"{ledger.file_name}: the chosen arrays differ in shape", "choose others", "dataset")
    return told


def _known(name: str, able: dict[str, NamedArray]) -> str:
    for written in (name, f"/{name}", name.removeprefix("/")):
        if written in able:
            return written
    more = f" and {len(able) - _MOST_LISTED} more" if len(able) > _MOST_LISTED else ""
    raise RecordingError(
        f"there is no array of numbers called {name!r}", f"choose from {', '.join(list(able)[:_MOST_LISTED])}{more}"
    )


def _scalar(arrays: Sequence[NamedArray], names: Sequence[str]) -> float | None:
    for array in arrays:
        if array.size == 1 and array.name.rsplit("/", 1)[-1].lower() in names and array.stored.natural.kind in "iuf":
            value = float(array.values().reshape(-1)[0])
            if value > 0 and math.isfinite(value) and math.isfinite(1 / value):
                return value
    return None


def _rate(arrays: Sequence[NamedArray], samples: NamedArray) -> float | None:
    if samples.rate is not None:
        return samples.rate
    rate = _scalar(arrays, RATE_NAMES)
    if rate is not None:
        return rate
    interval = _scalar(arrays, INTERVAL_NAMES)
    return None if interval is None else 1 / interval


def _take_times(ledger: Ledger, arrays: Sequence[NamedArray], chosen: Sequence[NamedArray], found: Found) -> None:
    """Let an array of sample times, as long as a record, say sample rate and trigger."""
    records, _, length = found.source.shape
    whole = length if len(chosen[0].shape) > 1 and records > 1 else records * length
    able = {
        array.name: array for array in arrays
        if array not in chosen and array.size in (length, whole) and array.size > 1
        and max(array.shape) == array.size and array.stored.natural.kind in "iuf"
    }  # fmt: skip
    likely = [name for name in able if name.rsplit("/", 1)[-1].lower() in TIME_NAMES]
    if not able and "times_from" not in ledger.options:
        return
    name = ledger.decide(
        "times_from",
        lambda text: "none" if text == "none" else _known(text, able),
        guess=likely[0] if likely else "none",
        why="its name and its length" if likely else "no array is called time",
        choices=("none", *able),
    )
    if name is None or name == "none":
        return
    _watch(ledger, found, able[name], length)


def _watch(ledger: Ledger, found: Found, times: NamedArray, length: int) -> None:
    others = iter(("records", "channels"))
    axes = tuple("samples" if size == times.size else next(others) for size in times.shape)
    source = times.source(AxesLayout(axes, (1, 1, times.size), cut=False), times.stored.natural)
    watch = TimeWatch()
    for record in range(times.size // length):
        for first in range(0, length, _TIMES_AT_ONCE):
            stop = min(first + _TIMES_AT_ONCE, length)
            stretch: Floats = source.read_stretch(0, record * length + first, record * length + stop)[0]
            seconds = stretch.astype(np.float64)
            if not np.isfinite(seconds).all():
                raise RecordingError(
                    f"{ledger.file_name}: {times.name} holds times that are not finite", "choose none", "times_from"
                )
            if source.dtype == np.float32:
                watch.resolution = max(watch.resolution, float(np.abs(seconds).max()) * 2.0**-24)
            if first == 0:
                watch.begin(float(seconds[0]))
            watch.feed(seconds[1:] if first == 0 else seconds)
    watch.finish()
    watch.judge(ledger, "times_from")
    if watch.rate is not None and found.sample_rate is None:
        found.sample_rate = watch.rate
    if found.sample_rate is not None and watch.starts:
        known = triggers_from(watch.starts, found.sample_rate, length)
        found.pre_trigger = known.get("pre_trigger")
        records = found.source.shape[0]
        for key in ("trigger_time", "trigger_offset"):
            if key in known and len(known[key]) in (1, records):
                setattr(found, key, np.broadcast_to(known[key], (records,)).copy())


def _take_triggers(arrays: Sequence[NamedArray], found: Found) -> None:
    records = found.source.shape[0]
    for array in arrays:
        if array.name.rsplit("/", 1)[-1].lower() in TRIGGER_NAMES and array.size == records:
            values: Any = array.values().reshape(-1).astype(np.float64)
            known = values[np.isfinite(values)]
            if len(known) and bool(np.all(np.diff(known) >= 0)):
                found.trigger_time = values - known[0]
                found.time_origin = Fraction(float(known[0]))
