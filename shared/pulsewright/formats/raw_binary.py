"""Raw binary: samples at regular places, as a small TOML file describes them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.errors import RecordingError
from pulsewright.formats.byte_sources import FileBytes
from pulsewright.formats.concluding import Found, conclude
from pulsewright.formats.option_values import whole_number
from pulsewright.formats.option_words import OPTIONS
from pulsewright.formats.sample_types import INT24, INT24_BIG, StoredType, sample_type
from pulsewright.formats.small_toml import read_small_toml
from pulsewright.formats.strided_source import StridedSource
from pulsewright.formats.understanding import Ledger, Reading
from pulsewright.quantity import parse_number
from pulsewright.session import Floats

NAME = "raw binary"
SUFFIXES: tuple[str, ...] = ()
TYPES = ("int8", "uint8", "int16", "uint16", "int24", "int32", "uint32", "int64", "uint64", "float16", "float32",
         "float64")  # fmt: skip

_COUNTS = {"channels": 1, "header_bytes": 0, "record_header_bytes": 0, "gap_bytes": 0, "records": 0,
           "record_length": 0}  # fmt: skip
_WORDS = {"type": TYPES, "byte_order": ("little", "big"), "interleaving": ("sample", "channel")}


def recognises(head: bytes, path: Path) -> bool:
    """Say that no file can be told to be raw binary: a person says so, by giving a description.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    return False


def read(path: Path, ledger: Ledger) -> Reading:
    """Open a file of raw binary by its description.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for the description, and for what that does not say.

    Raises
    ------
    RecordingError
        If the description cannot be used, or does not fit the file.
    """
    told = _description(ledger)
    data = FileBytes(path)
    try:
        return conclude(ledger, path, NAME, _found(ledger, told, data))
    except BaseException:
        data.close()
        raise


def _description(ledger: Ledger) -> dict[str, Any]:
    file = Path(ledger.given("raw") or "")
    ledger.note("raw", str(file), "option")
    told = read_small_toml(file, "raw")
    for key, value in told.items():
        if key in _COUNTS:
            if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1 << 62:
                raise _wrong(file, key, value, "a whole number, 0 or more")
        elif key in _WORDS:
            if value not in _WORDS[key]:
                raise _wrong(file, key, value, "one of " + ", ".join(_WORDS[key]))
        elif key == "trigger_time":
            _check_trigger(file, value)
        elif key == "trigger_times" and isinstance(value, list):
            if not all(isinstance(second, int | float) and not isinstance(second, bool) for second in value):
                raise _wrong(file, key, "a list", "numbers of seconds")
        elif key in OPTIONS and key != "raw" and isinstance(value, str | int | float | list):
            parts = value if isinstance(value, list) else [value]
            ledger.said[key] = ",".join(str(part) for part in parts)
        else:
            known = ", ".join([*_WORDS, *_COUNTS, "trigger_time", "trigger_times", "sample_rate", "names", "scale"])
            raise RecordingError(f"{file.name}: {key} has no meaning there", f"choose from {known} …", "raw")
    if "type" not in told:
        raise RecordingError(f"{file.name}: does not say the type of a sample", 'write type = "int16"', "raw")
    return {**_COUNTS, "byte_order": "little", "interleaving": "sample", **told, "file": file.name}


def _check_trigger(file: Path, value: Any) -> None:
    right = isinstance(value, dict) and set(value) == {"at", "type", "unit"} and value["type"] in TYPES
    if not right or isinstance(value["at"], bool) or not isinstance(value["at"], int) or value["at"] < 0:
        raise _wrong(file, "trigger_time", value, '{ at = 8, type = "uint32", unit = "10 ns" }')
    if value["type"] == "int24":
        raise _wrong(file, "trigger_time", value, "a type other than int24")


def _wrong(file: Path, key: str, value: Any, right: str) -> RecordingError:
    return RecordingError(f"{file.name}: {key} is {str(value)[:80]!r}", f"write {right}", "raw")


def _stored(word: str, order: str) -> StoredType:
    if word == "int24":
        return INT24 if order == "little" else INT24_BIG
    return StoredType(np.dtype(word).newbyteorder("<" if order == "little" else ">"))


def _found(ledger: Ledger, told: dict[str, Any], data: FileBytes) -> Found:
    stored = _stored(told["type"], told["byte_order"])
    channels, header = told["channels"], told["header_bytes"]
    extra = told["record_header_bytes"] + told["gap_bytes"]
    frame = channels * stored.size
    if channels == 0:
        raise RecordingError(f"{told['file']}: channels is 0", "write how many there are", "raw")
    length = _length(ledger, told, (data.length - header - extra) // frame)
    step = length * frame + extra
    fit = max(0, data.length - header + told["gap_bytes"]) // step if step else 0  # the last gap may be missing
    records = told["records"] or fit
    if records < 1 or records > fit:
        raise RecordingError(
            f"{ledger.file_name}: {told['file']} asks for {max(records, 1):,} records of {step:,} bytes after "
            f"{header:,}, but the file has only {data.length:,} bytes",
            "compare header_bytes, channels, type and record_length with the file", "raw",
        )  # fmt: skip
    left = data.length - header - records * step
    if left > 0:
        ledger.odd.append(f"{left:,} bytes at its end belong to no record and are left out")
    by_sample = told["interleaving"] == "sample"
    strides = (step, stored.size if by_sample else length * stored.size, frame if by_sample else stored.size)
    start = header + told["record_header_bytes"]
    dtype = sample_type(ledger, stored)
    source = StridedSource(data, ledger.file_name, start, (records, channels, length), strides, stored, dtype)
    found = Found(source, stored=stored.natural)
    times = _times(told, data, header, step, records, ledger)
    if times is not None:
        found.trigger_time, found.time_origin = times
    return found


def _length(ledger: Ledger, told: dict[str, Any], all_of_it: int) -> int:
    """Return the record length: as described, or all samples in one record."""
    length = ledger.decide(
        "record_length", whole_number, in_file=told["record_length"] or None,
        guess=max(all_of_it, 0), why="nothing divides the samples into records",
    )  # fmt: skip
    if not length:
        raise RecordingError(f"{ledger.file_name}: is too short for {told['file']}", "compare the two", "raw")
    return int(length)


def _times(
    told: dict[str, Any], data: FileBytes, header: int, step: int, records: int, ledger: Ledger
) -> tuple[Floats, Fraction] | None:
    """Return trigger times since the first, and the first: as listed, or as every record's header has them."""
    listed = told.get("trigger_times")
    if isinstance(listed, list):
        if len(listed) != records:
            raise RecordingError(f"{told['file']}: lists {len(listed):,} trigger times for {records:,} records",
                                 "give one for each", "raw")  # fmt: skip
        return _since_first(np.array(listed, dtype=np.float64), ledger)
    where = told.get("trigger_time")
    if where is None:
        return None
    stored = _stored(where["type"], told["byte_order"])
    if where["at"] + stored.size > told["record_header_bytes"]:
        raise RecordingError(f"{told['file']}: trigger_time lies beyond the {told['record_header_bytes']} bytes of a "
                             "record's header", "compare at with record_header_bytes", "raw")  # fmt: skip
    places = StridedSource(data, ledger.file_name, header + where["at"], (records, 1, 1), (step, 0, 0), stored,
                           stored.natural)  # fmt: skip
    counts = places.read(0, records)[:, 0, 0]
    unit = parse_number(where["unit"], "s", "trigger_time")
    if counts.dtype.kind in "iu":  # whole counts are subtracted whole: none of their digits is lost
        first = int(counts[0])
        since = np.array([int(count) - first for count in counts.tolist()], np.float64) * unit
        return _since_first(since, ledger, first * Fraction(unit))
    return _since_first(counts.astype(np.float64) * unit, ledger)


def _since_first(times: Floats, ledger: Ledger, origin: Fraction | None = None) -> tuple[Floats, Fraction] | None:
    if not bool(np.all(np.isfinite(times))) or bool(np.any(np.diff(times) < 0)):
        ledger.odd.append("its trigger times are not in order: they are not taken")
        return None
    return times - times[0], Fraction(float(times[0])) if origin is None else origin
