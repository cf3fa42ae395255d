"""A session as WAV: records one after another, channels taking turns, the session's facts in a chunk of their own."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

from pulsewright.atomic import replacing
from pulsewright.errors import RecordingError
from pulsewright.formats.session_facts import bounded_text, facts_of
from pulsewright.formats.wav import EXTENSIBLE, FACTS_CHUNK, FLOAT, PCM, shift_of, stored_for
from pulsewright.formats.writing import Progress, interleaved, pieces_to_write
from pulsewright.session import Session

_WIDE = 0xFFFFFFFF
_REST_OF_SUBTYPE = bytes.fromhex("000000001000800000aa00389b71")


def write(session: Session, to: Path, progress: Progress | None = None) -> None:
    """Write a session as WAV; beyond 4 GB as RF64.

    Parameters
    ----------
    session : Session
        Open.
    to : Path
        The file to make.
    progress : callable, optional
        As for `writing.write_out`.

    Raises
    ------
    RecordingError
        If it has more channels than WAV can hold, or a sample is no finite number.
    OSError
        If it cannot be written.
    """
    stored, shift = stored_for(session.dtype), shift_of(session.dtype)
    frame = len(session.channels) * stored.size
    if frame > 65_535:
        raise RecordingError(f"{to.name}: WAV has no room for {len(session.channels):,} channels", "write .npz")
    facts = bounded_text(facts_of(session), to.name).encode()
    size = session.records * session.record_length * frame
    with replacing(to) as temporary, temporary.open("wb") as stream:
        stream.write(_head(session, stored.size, frame, facts, size))
        for _, _, codes in pieces_to_write(session, progress):
            moved = codes if not shift else (codes.astype(np.int32) + shift).astype(stored.natural)
            stream.write(interleaved(moved))
        stream.write(b"\0" * (size % 2))


def _head(session: Session, sample_bytes: int, frame: int, facts: bytes, size: int) -> bytes:
    code = FLOAT if session.dtype.kind == "f" else PCM
    rate = int(min(max(round(session.sample_rate), 1), _WIDE))  # whole numbers only: the facts have it exactly
    per_second = min(rate * frame, _WIDE)
    bits = 8 * sample_bytes
    form = struct.pack("<HHIIHH", EXTENSIBLE, len(session.channels), rate, per_second, frame, bits)
    form += struct.pack("<HHIH", 22, bits, 0, code) + _REST_OF_SUBTYPE
    chunks = _chunk(b"fmt ", form) + _chunk(FACTS_CHUNK, facts)
    whole = 4 + len(chunks) + 8 + size + size % 2
    if whole + 36 <= _WIDE - 1:
        return b"RIFF" + struct.pack("<I", whole) + b"WAVE" + chunks + b"data" + struct.pack("<I", size)
    count = session.records * session.record_length
    long_sizes = struct.pack("<QQQI", whole + 36, size, count, 0)
    return (b"RF64" + struct.pack("<I", _WIDE) + b"WAVE" + _chunk(b"ds64", long_sizes) + chunks
            + b"data" + struct.pack("<I", _WIDE))  # fmt: skip


def _chunk(mark: bytes, content: bytes) -> bytes:
    return mark + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)
