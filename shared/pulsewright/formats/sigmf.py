"""SigMF, the open Signal Metadata Format: real samples of any number of channels, captures as records.

Forms: the SigMF specification, version 1.2 (core namespace); tests compare with its own Python package both ways.
"""

from __future__ import annotations

import hashlib
import json
import re
import tarfile
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource
from pulsewright.errors import RecordingError
from pulsewright.formats.byte_sources import ByteSource, FileBytes, FilePart
from pulsewright.formats.concluding import Found, conclude, records_in
from pulsewright.formats.option_values import whole_number
from pulsewright.formats.sample_types import StoredType, sample_type
from pulsewright.formats.session_facts import MOST_BYTES, checked_facts, found_by
from pulsewright.formats.strided_source import PlacedSource, StridedSource
from pulsewright.formats.understanding import Ledger, Reading
from pulsewright.minus import quoted
from pulsewright.watched_file import WatchedFile

NAME = "SigMF"
SUFFIXES = (".sigmf-meta", ".sigmf-data", ".sigmf")
FACTS_FIELD = "pulsewright:facts"

_TYPE = re.compile(r"(?P<real>[rc])(?P<kind>[fiu])(?P<bits>8|16|32|64)(?P<order>_le|_be)?")
_FRACTION = re.compile(r"^(.*T\d\d:\d\d:\d\d)(\.\d+)?(Z|[+-]\d\d:\d\d)?$")
_MOST_CAPTURES = 1 << 20
_MOST_TOLD = 100
_COMPARED = 64 << 20
"""Bytes up to which the checksum that the metadata carry is compared at once."""


def recognises(head: bytes, path: Path) -> bool:
    """Say whether a file is SigMF's metadata, its samples, or an archive of both.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    suffix = path.suffix.lower()
    if suffix == ".sigmf-data":
        return True
    if suffix == ".sigmf" and head[257:262] == b"ustar":
        return True
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    return start.startswith(b"{") and (suffix == ".sigmf-meta" or b'"core:datatype"' in head)


@dataclass(frozen=True)
class _Capture:
    """Where a capture begins, in samples and in bytes, and when."""

    start: int
    place: int
    date: str
    index: int | None


def read(path: Path, ledger: Ledger) -> Reading:
    """Open a SigMF recording, given by its metadata, its samples or its archive.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for what the metadata do not say.

    Raises
    ------
    RecordingError
        If the metadata are damaged, lead out of their folder, or promise samples that are not there.
    """
    watched: tuple[WatchedFile, ...] = ()
    if path.suffix.lower() == ".sigmf":
        meta, data = _archive(path)
    else:
        meta = _metadata(path.with_suffix(".sigmf-meta") if path.suffix.lower() == ".sigmf-data" else path, path.name)
        samples = _samples_beside(path, meta)
        watched, data = (WatchedFile(samples),), FileBytes(samples)
    try:
        reading = conclude(ledger, path, NAME, _found(ledger, meta, data))
    except BaseException:
        data.close()
        raise
    reading.session.source.watched = watched
    return reading


def _metadata(path: Path, name: str) -> dict[str, Any]:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RecordingError(f"{name}: its metadata are larger than {MOST_BYTES:,} bytes", "split the recording")
        return _parsed(path.read_bytes(), name)
    except OSError as error:
        raise RecordingError(
            f"{name}: {path.name} cannot be read ({error.strerror})", "keep the metadata beside the samples"
        ) from error


def _parsed(content: bytes, name: str) -> dict[str, Any]:
    try:
        meta = json.loads(content.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise RecordingError(f"{name}: its metadata are no JSON ({error})", "copy the file again") from error
    if not isinstance(meta, dict) or not isinstance(meta.get("global"), dict):
        raise RecordingError(f"{name}: its metadata have no global object", "copy the file again")
    for key in ("captures", "annotations"):
        entries = meta.setdefault(key, [])
        if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
            raise RecordingError(f"{name}: its {key} are no list of objects", "copy the file again")
    return meta


def _samples_beside(path: Path, meta: dict[str, Any]) -> Path:
    """Return the file of samples; its name in the metadata leads to no other folder."""
    if meta["global"].get("core:metadata_only") is True:
        raise RecordingError(f"{path.name}: says that it has metadata only", "give a recording with samples")
    named = meta["global"].get("core:dataset")
    beside = path.with_suffix(".sigmf-data")
    if named is not None:
        if not isinstance(named, str) or named in ("", ".", "..") or re.search(r"[/\\:\0]", named):
            raise RecordingError(
                f"{path.name}: keeps its samples at {named!r}, outside its folder, which is not followed",
                "put them beside the metadata",
            )
        beside = path.parent / named
    if not beside.is_file():
        raise RecordingError(f"{path.name}: there is no {beside.name} with its samples", "put it beside the metadata")
    if beside.resolve().parent != path.parent.resolve():
        raise RecordingError(
            f"{path.name}: {beside.name} is a link out of its folder, which is not followed", "copy the samples there"
        )
    return beside


def _archive(path: Path) -> tuple[dict[str, Any], ByteSource]:
    """Return metadata and samples of the first recording in an archive; nothing is unpacked."""
    data = FileBytes(path)
    try:
        with tarfile.open(path, "r:") as archive:
            members = [member for member, _ in zip(archive, range(1000), strict=False) if member.isreg()]
        metas = [member for member in members if member.name.endswith(".sigmf-meta")]
        if not metas:
            raise RecordingError(f"{path.name}: holds no metadata", "copy the file again")
        if metas[0].size > MOST_BYTES:
            raise RecordingError(f"{path.name}: its metadata are larger than {MOST_BYTES:,} bytes", "split it")
        stem = metas[0].name.removesuffix(".sigmf-meta")
        samples = next((member for member in members if member.name == f"{stem}.sigmf-data"), None)
        if samples is None:
            raise RecordingError(f"{path.name}: holds no samples for {metas[0].name}", "copy the file again")
        meta = _parsed(FilePart(data, metas[0].offset_data, metas[0].size, path.name).read_at(0, metas[0].size),
                       path.name)  # fmt: skip
        return meta, FilePart(data, samples.offset_data, samples.size, path.name)
    except tarfile.TarError as error:
        data.close()
        raise RecordingError(f"{path.name}: is a damaged archive ({error})", "copy the file again") from error
    except BaseException:
        data.close()
        raise


def _stored(meta: dict[str, Any], name: str) -> StoredType:
    told = meta["global"].get("core:datatype")
    form = _TYPE.fullmatch(told) if isinstance(told, str) else None
    if form is None:
        raise RecordingError(f"{name}: says no sample type that SigMF knows ({told!r})", "copy the file again")
    if form["real"] == "c":
        raise RecordingError(f"{name}: its samples are complex ({told})", "only real samples are read")
    if form["kind"] == "f" and form["bits"] in ("8", "16"):
        raise RecordingError(f"{name}: says no sample type that SigMF knows ({told!r})", "copy the file again")
    order = ">" if form["order"] == "_be" else "<"
    return StoredType(np.dtype(f"{order}{form['kind']}{int(form['bits']) // 8}"))


def _count(holder: dict[str, Any], key: str, usual: int, name: str) -> int:
    value = holder.get(key, usual)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1 << 62:
        raise RecordingError(f"{name}: {key} is {quoted(value)}, no count", "copy the file again")
    return value


def _found(ledger: Ledger, meta: dict[str, Any], data: ByteSource) -> Found:
    name, told = ledger.file_name, meta["global"]
    stored = _stored(meta, name)
    channels = _count(told, "core:num_channels", 1, name)
    if not 1 <= channels <= 65_536:
        raise RecordingError(f"{name}: says that it has {channels:,} channels", "copy the file again")
    frame = channels * stored.size
    captures = _captures(meta, frame, name)
    headers = captures[-1].place - captures[-1].start * frame if captures else 0
    usable = data.length - headers - _count(told, "core:trailing_bytes", 0, name)
    total, left = divmod(max(0, usable), frame)
    if left:
        ledger.odd.append(f"{left} bytes at its end make no whole sample on every channel and are left out")
    if total == 0 or (captures and captures[-1].start >= total):
        raise RecordingError(f"{name}: its samples end before its last capture begins", "copy the file again")
    _compare_checksum(ledger, told, data)
    facts = checked_facts(told[FACTS_FIELD], name) if FACTS_FIELD in told else None
    if facts is not None:
        return _own(ledger, facts, data, captures, total, channels, stored)
    source = _source(ledger, data, captures, total, channels, stored)
    found = Found(source, stored=stored.natural, sample_rate=_rate(told))
    found.title, found.notes, found.origin = _texts(meta)
    if len(captures) == source.shape[0] > 1:
        _take_times(ledger, captures, found)
    return found


def _own(
    ledger: Ledger, facts: dict[str, Any], data: ByteSource, captures: list[_Capture], total: int, channels: int,
    stored: StoredType,
) -> Found:  # fmt: skip
    length = facts["record_length"]
    if stored.natural.name != facts["sample_type"] or not length or total % length:
        raise RecordingError(f"{ledger.file_name}: carries the facts of a session, but of other samples",
                             "write it out again")  # fmt: skip
    frame = channels * stored.size
    source = StridedSource(
        data, ledger.file_name, captures[0].place if captures else 0, (total // length, channels, length),
        (frame * length, stored.size, frame), stored, np.dtype(facts["sample_type"]),
    )  # fmt: skip
    return found_by(facts, source, ledger.file_name)


def _captures(meta: dict[str, Any], frame: int, name: str) -> list[_Capture]:
    if len(meta["captures"]) > _MOST_CAPTURES:
        raise RecordingError(f"{name}: has more than {_MOST_CAPTURES:,} captures", "split the recording")
    captures: list[_Capture] = []
    headers, before = 0, -1
    for entry in meta["captures"]:
        start = _count(entry, "core:sample_start", 0, name)
        if start <= before:
            raise RecordingError(f"{name}: its captures do not begin one after another", "copy the file again")
        before = start
        headers += _count(entry, "core:header_bytes", 0, name)
        date = entry.get("core:datetime", "")
        index = entry.get("core:global_index")
        whole = isinstance(index, int) and not isinstance(index, bool) and 0 <= index < 1 << 62
        captures.append(_Capture(start, start * frame + headers, date if isinstance(date, str) else "",
                                 index if whole else None))  # fmt: skip
    return captures


def _source(
    ledger: Ledger, data: ByteSource, captures: list[_Capture], total: int, channels: int, stored: StoredType
) -> BlockSource:
    frame, name = channels * stored.size, ledger.file_name
    dtype = sample_type(ledger, stored)
    if len(captures) < 2:
        start = captures[0].start if captures else 0
        place = captures[0].place if captures else 0
        records, length = records_in(ledger, total - start)
        strides = (frame * length, stored.size, frame)
        return StridedSource(data, name, place, (records, channels, length), strides, stored, dtype)
    ends = [capture.start for capture in captures[1:]] + [total]
    lengths = [end - capture.start for capture, end in zip(captures, ends, strict=True)]
    shortest = min(lengths)
    length_told = ledger.decide("record_length", whole_number, in_file=shortest)
    assert length_told is not None
    if not 1 <= length_told <= shortest:
        raise RecordingError(f"{name}: its shortest capture has {shortest:,} samples", "give no more",
                             "record_length")  # fmt: skip
    if max(lengths) > length_told:
        ledger.odd.append(
            f"its {len(lengths):,} captures have {shortest:,} to {max(lengths):,} samples: "
            f"the first {length_told:,} of each are taken"
        )
    return PlacedSource(data, name, [capture.place for capture in captures], channels, length_told,
                        (stored.size, frame), stored, dtype)  # fmt: skip


def _rate(told: dict[str, Any]) -> float | None:
    rate = told.get("core:sample_rate")
    if isinstance(rate, bool) or not isinstance(rate, int | float) or not 0 < rate < 1e300 or not 1 / rate < 1e300:
        return None
    return float(rate)


def _texts(meta: dict[str, Any]) -> tuple[str, str, str]:
    """Return title, notes and origin from what the metadata say in words; annotations become notes."""

    def text(key: str) -> str:
        value = meta["global"].get(key)
        return value if isinstance(value, str) else ""

    lines = []
    for entry in meta["annotations"][:_MOST_TOLD]:
        start, count = entry.get("core:sample_start"), entry.get("core:sample_count")
        where = f"sample {start}" + (f", {count} long" if isinstance(count, int) else "")
        words = [entry[key] for key in ("core:label", "core:comment") if isinstance(entry.get(key), str)]
        lines.append(f"Annotation at {where}: {'; '.join(words)[:500]}")
    more = len(meta["annotations"]) - _MOST_TOLD
    if more > 0:
        lines.append(f"{more} more annotations are in the file")
    description = text("core:description")
    title = description if "\n" not in description and len(description) < 200 else ""
    notes = "\n".join([*([] if title else [description]), *lines]).strip()
    return title, notes, text("core:hw") or text("core:recorder")


def _take_times(ledger: Ledger, captures: list[_Capture], found: Found) -> None:
    """Let captures say when they began, by date or by their place in the whole stream, unless they go back."""
    seconds = [_seconds(capture.date) for capture in captures]
    known = [second for second in seconds if second is not None]
    rate = found.sample_rate
    if len(known) < len(captures):
        known = [Fraction(capture.index) / Fraction(rate) for capture in captures
                 if capture.index is not None and rate is not None]  # fmt: skip
    if len(known) < len(captures):
        return
    if any(later < earlier for earlier, later in pairwise(known)):
        ledger.odd.append("the dates of its captures go back: they are not taken for trigger times")
        return
    found.time_origin = known[0]
    found.trigger_time = np.array([float(second - known[0]) for second in known])


def _seconds(date: str) -> Fraction | None:
    """Return seconds since the first of January 1970, to the last digit that is written."""
    found = _FRACTION.match(date) if len(date) <= 80 else None
    if found is None:
        return None
    try:
        whole = datetime.fromisoformat(f"{found[1]}{(found[3] or 'Z').replace('Z', '+00:00')}")
    except ValueError:
        return None
    since = whole - datetime.fromisoformat("1970-01-01T00:00:00+00:00")
    return Fraction(since.days * 86_400 + since.seconds) + Fraction(f"0{found[2]}" if found[2] else "0")


def _compare_checksum(ledger: Ledger, told: dict[str, Any], data: ByteSource) -> None:
    promised = told.get("core:sha512")
    if not isinstance(promised, str):
        return
    if data.length > _COMPARED:
        ledger.odd.append("its checksum was not compared, for it is large")
        return
    if hashlib.sha512(data.read_at(0, data.length)).hexdigest() != promised.lower():
        ledger.odd.append("its samples are not those that its checksum (core:sha512) was made of")
