"""WAV files: 8 to 32 bit integers and floating numbers, interleaved; RF64 where 4 GB are not enough.

Forms of the chunks: Multimedia Programming Interface and Data Specifications 1.0 (RIFF, fmt, data), EBU Tech 3306
(RF64, ds64); from memory, and tried against two other writers.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource, Codes
from pulsewright.errors import RecordingError
from pulsewright.formats.byte_sources import FileBytes
from pulsewright.formats.concluding import Found, conclude, records_in
from pulsewright.formats.sample_types import INT24, StoredType, sample_type
from pulsewright.formats.session_facts import MOST_BYTES, found_by, read_facts
from pulsewright.formats.strided_source import StridedSource
from pulsewright.formats.understanding import Ledger, Reading

NAME = "WAV"
SUFFIXES = (".wav", ".wave", ".rf64")
FACTS_CHUNK = b"plsw"
"""The chunk in which a session's facts travel; other readers step over what they do not know."""

PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
_UNKNOWN_SIZE = 0xFFFFFFFF
_MOST_CHUNKS = 10_000
_TYPES = {
    (PCM, 8): StoredType(np.dtype("u1")),
    (PCM, 16): StoredType(np.dtype("<i2")),
    (PCM, 24): INT24,
    (PCM, 32): StoredType(np.dtype("<i4")),
    (FLOAT, 32): StoredType(np.dtype("<f4")),
    (FLOAT, 64): StoredType(np.dtype("<f8")),
}


@dataclass(frozen=True)
class _Head:
    """What stands before the samples.

    Attributes
    ----------
    channels, rate, bits : int
    stored : StoredType
    start, size : int
        Where the samples lie, bytes.
    facts : bytes or None
        A session's facts, if the file carries them.
    """

    channels: int
    rate: int
    bits: int
    stored: StoredType
    start: int
    size: int
    facts: bytes | None


def recognises(head: bytes, path: Path) -> bool:
    """Say whether the first bytes of a file are those of WAV.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    return head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE"


def read(path: Path, ledger: Ledger) -> Reading:
    """Open a WAV file.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for what the file does not say.

    Raises
    ------
    RecordingError
        If it is damaged, or of a kind that holds no plain samples.
    """
    data = FileBytes(path)
    try:
        head = _head(data, path.name, ledger)
        found = _found(data, head, path.name, ledger)
        return conclude(ledger, path, NAME, found)
    except BaseException:
        data.close()
        raise


def _found(data: FileBytes, head: _Head, name: str, ledger: Ledger) -> Found:
    facts = None if head.facts is None else read_facts(head.facts, name)
    frame = head.channels * head.stored.size
    total, left = divmod(head.size, frame)
    if total == 0:
        raise RecordingError(f"{name}: holds no samples", "record it again")
    if left:
        ledger.odd.append(f"{left} bytes at its end make no whole sample on every channel and are left out")
    records, length = records_in(ledger, total, facts["record_length"] if facts else None)
    kept = np.dtype(facts["sample_type"]) if facts else sample_type(ledger, head.stored)
    source = StridedSource(
        data, name, head.start, (records, head.channels, length),
        (frame * length, head.stored.size, frame), head.stored, kept if facts is None else head.stored.natural,
    )  # fmt: skip
    if facts is not None:
        if length == facts["record_length"]:
            return found_by(facts, _Shifted(source, kept, name), name)
        ledger.odd.append("it carries the facts of a session, which are not used with another record length")
    unit_for_full_scale = 1.0 if head.stored.natural.kind == "f" else 0.5 ** (head.bits - 1)
    middle = -(0.5 ** (head.bits - 1)) * 128 if head.bits == 8 else 0.0
    why = "full scale counts as 1"
    return Found(
        source,
        stored=None if head.bits != 24 else np.dtype(np.int32),
        sample_rate=float(head.rate) if head.rate else None,
        guesses={
            "scale": (unit_for_full_scale, why),
            "offset": (middle, "8-bit samples are counted from 128" if head.bits == 8 else "code 0 counts as 0 units"),
            **({"end_codes": ((-(1 << 23), (1 << 23) - 1), "those of the sample type")} if head.bits == 24 else {}),
        },
    )


class _Shifted(BlockSource):
    """Samples of types that WAV does not have, which were moved by half their range to fit."""

    def __init__(self, source: StridedSource, dtype: np.dtype[Any], name: str) -> None:
        self._source, self._dtype, self._shift = source, dtype, shift_of(dtype)
        if stored_for(dtype).natural != source.dtype:
            raise RecordingError(
                f"{name}: carries the facts of a session with {dtype} samples, but has others", "write it out again"
            )

    @property
    def shape(self) -> tuple[int, int, int]:
        return self._source.shape

    @property
    def dtype(self) -> np.dtype[Any]:
        return self._dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        codes = self._source.part(records, channels, samples)
        return codes if self._shift == 0 else (codes.astype(np.int32) - self._shift).astype(self._dtype)

    def close(self) -> None:
        self._source.close()


def shift_of(dtype: np.dtype[Any]) -> int:
    """Return what is added to samples to fit WAV: its 8 bits count from 0 up, its 16 bits do not.

    Parameters
    ----------
    dtype : dtype
        Of the session's samples.
    """
    return {"int8": 128, "uint16": -32768}.get(dtype.name, 0)


def stored_for(dtype: np.dtype[Any]) -> StoredType:
    """Return how WAV stores samples of a session's type.

    Parameters
    ----------
    dtype : dtype
        Of the session's samples.
    """
    codes = {"int8": (PCM, 8), "uint8": (PCM, 8), "int16": (PCM, 16), "uint16": (PCM, 16), "int32": (PCM, 32),
             "float32": (FLOAT, 32)}  # fmt: skip
    return _TYPES[codes[dtype.name]]


def _head(data: FileBytes, name: str, ledger: Ledger) -> _Head:
    form: bytes | None = None
    facts: bytes | None = None
    long_sizes: dict[bytes, int] = {}
    place: tuple[int, int] | None = None
    for mark, start, size in _chunks(data, name, ledger, long_sizes):
        if mark == b"ds64" and size >= 24:
            long_sizes[b"data"] = struct.unpack("<QQQ", data.read_at(start, 24))[1]
        elif mark == b"fmt ":
            form = data.read_at(start, min(size, 40))
        elif mark == b"data" and place is None:
            place = (start, size)
        elif mark == FACTS_CHUNK and size <= MOST_BYTES:
            facts = data.read_at(start, size)
    if form is None or len(form) < 16:
        raise RecordingError(f"{name}: has no fmt chunk that says how its samples are stored", "copy the file again")
    if place is None:
        raise RecordingError(f"{name}: has no data chunk", "copy the file again")
    channels, rate, bits, stored = _form(form, name)
    return _Head(channels, rate, bits, stored, *place, facts)


def _form(form: bytes, name: str) -> tuple[int, int, int, StoredType]:
    code, channels, rate, _, frame, bits = struct.unpack("<HHIIHH", form[:16])
    if code == EXTENSIBLE and len(form) >= 26:
        code = struct.unpack("<H", form[24:26])[0]
    stored = _TYPES.get((code, bits))
    if stored is None:
        raise RecordingError(
            f"{name}: its samples are of WAV's kind {code} with {bits} bits, which is not read",
            "export plain integers of 8, 16, 24 or 32 bits, or floating numbers",
        )
    if channels == 0 or frame != channels * stored.size:
        raise RecordingError(
            f"{name}: says {channels} channels of {bits} bits and {frame} bytes for each sample on all of them",
            "copy the file again",
        )
    return channels, rate, bits, stored


def _chunks(
    data: FileBytes, name: str, ledger: Ledger, long_sizes: dict[bytes, int]
) -> Iterator[tuple[bytes, int, int]]:
    """Yield each chunk's mark, first byte and size; a size beyond the end of the file is refused."""
    place = 12
    for _ in range(_MOST_CHUNKS):
        if place + 8 > data.length:
            return
        mark, size = struct.unpack("<4sI", data.read_at(place, 8))
        place += 8
        if size == _UNKNOWN_SIZE:
            if mark in long_sizes:
                size = long_sizes[mark]
            elif mark == b"data":
                size = data.length - place
                ledger.odd.append("it does not say how many samples it holds: taken up to the end of the file")
        if place + size > data.length:
            raise RecordingError(
                f"{name}: its chunk {mark.decode('ascii', 'replace').strip()!r} should end at byte {place + size:,}, "
                f"but the file has only {data.length:,}",
                "copy the file again",
            )
        yield mark, place, size
        place += size + size % 2
    raise RecordingError(f"{name}: has more than {_MOST_CHUNKS:,} chunks", "copy the file again")
