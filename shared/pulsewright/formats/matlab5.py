"""MATLAB's own files up to version 7, the "Level 5 MAT-File", its arrays read in place.

SciPy's reader takes a whole array into memory and believes the sizes that a file promises; recordings are larger than
memory, and a damaged file promises anything. So the elements are walked here, and tests compare with SciPy what comes
out. Forms: "MAT-File Format", Level 5 (from memory, and tried against SciPy's writer).
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import IO, cast

import numpy as np

from pulsewright.errors import RecordingError
from pulsewright.formats.array_axes import NamedArray, strided_array
from pulsewright.formats.byte_sources import ByteSource, FileBytes, PackedBytes
from pulsewright.formats.named_arrays import understand
from pulsewright.formats.packing import Unpacking, check_ratio
from pulsewright.formats.sample_types import StoredType
from pulsewright.formats.understanding import Ledger, Reading

NAME = "MATLAB 5"
SUFFIXES = (".mat",)

_HEADER = 128
_MATRIX, _COMPRESSED = 14, 15
_TYPES = {1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8"}
_NUMERIC_CLASSES = range(6, 16)
_COMPLEX = 0x0800
_MOST_ELEMENTS = 10_000
_MOST_HEAD = 4096
"""Bytes of a variable before its numbers: flags, shape and name."""


def recognises(head: bytes, path: Path) -> bool:
    """Say whether a file's first bytes are MATLAB's, of version 5 to 7.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    return len(head) >= _HEADER and head[126:128] in (b"IM", b"MI") and head[:10] == b"MATLAB 5.0"


def read(path: Path, ledger: Ledger) -> Reading:
    """Open a MATLAB file.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for what the file does not say.

    Raises
    ------
    RecordingError
        If it is damaged, or holds nothing that could be samples.
    """
    data = FileBytes(path)
    try:
        order = "<" if data.read_at(126, 2) == b"IM" else ">"
        arrays = [array for array in _arrays(data, path, order) if array is not None]
        return understand(ledger, path, NAME, arrays)
    except BaseException:
        data.close()
        raise


def _arrays(data: FileBytes, path: Path, order: str) -> Iterator[NamedArray | None]:
    place = _HEADER
    for _ in range(_MOST_ELEMENTS):
        if place + 8 > data.length:
            return
        kind, size = struct.unpack(order + "II", data.read_at(place, 8))
        place += 8
        if place + size > data.length:
            raise RecordingError(
                f"{path.name}: the variable at byte {place:,} should end at byte {place + size:,}, "
                f"but the file has only {data.length:,}",
                "copy the file again",
            )
        if kind == _MATRIX:
            yield _variable(data, place, size, path.name, order)
            place += (8 - size % 8) % 8
        elif kind == _COMPRESSED:
            yield _packed_variable(data, place, size, path, order)
        place += size
    raise RecordingError(f"{path.name}: has more than {_MOST_ELEMENTS:,} variables", "save those that matter")


def _packed_variable(data: FileBytes, place: int, size: int, path: Path, order: str) -> NamedArray | None:
    def reopen() -> IO[bytes]:
        return cast("IO[bytes]", Unpacking(data, place, place + size, "zlib", path.name))

    head = reopen().read(8)
    if len(head) < 8:
        return None
    kind, length = struct.unpack(order + "II", head)
    if kind != _MATRIX:
        return None
    check_ratio(path.name, length, size)
    unpacked = PackedBytes(path.name, reopen, 8 + length)
    return _variable(unpacked, 8, length, path.name, order)


def _variable(data: ByteSource, place: int, size: int, name: str, order: str) -> NamedArray | None:
    """Return a variable of plain numbers that lies from `place` on; None for text, structures and the like."""
    head = BytesIO(data.read_at(place, min(size, _MOST_HEAD)))
    flags = _small(head, order, name)
    if len(flags) < 8:
        raise RecordingError(f"{name}: the variable at byte {place:,} has no flags", "copy the file again")
    bits = struct.unpack(order + "I", flags[:4])[0]
    if bits & 0xFF not in _NUMERIC_CLASSES:
        return None
    shape = [int(side) for side in np.frombuffer(_small(head, order, name), order + "i4")]
    title = _small(head, order, name).decode("utf-8", "replace")
    if bits & _COMPLEX or min(shape, default=0) < 1 or not 1 <= len(shape) <= 3:
        return None
    kind, count, inside = _tag(head, order, name)
    code = _TYPES.get(kind)
    if code is None:
        raise RecordingError(f"{name}: {title} holds numbers of an unknown type {kind}", "copy the file again")
    stored = StoredType(np.dtype(order + code))
    at = place + inside
    if count != math.prod(shape) * stored.size or inside + count > size:
        raise RecordingError(
            f"{name}: {title} has {count:,} bytes for the shape {' × '.join(map(str, shape))}", "copy the file again"
        )
    strides = [stored.size]
    for side in shape[:-1]:
        strides.append(strides[-1] * side)
    return strided_array(data, name, title, at, tuple(shape), tuple(strides), stored)


def _tag(stream: BytesIO, order: str, name: str) -> tuple[int, int, int]:
    """Return type and bytes of the next element, and where its content begins; small ones hold both in one word."""
    word = stream.read(4)
    if len(word) < 4:
        raise RecordingError(f"{name}: a variable ends before its numbers", "copy the file again")
    first = struct.unpack(order + "I", word)[0]
    if first >> 16:
        return first & 0xFFFF, first >> 16, stream.tell()
    more = stream.read(4)
    if len(more) < 4:
        raise RecordingError(f"{name}: a variable ends before its numbers", "copy the file again")
    return first, struct.unpack(order + "I", more)[0], stream.tell()


def _small(stream: BytesIO, order: str, name: str) -> bytes:
    """Return the content of the next element, which must be a small one."""
    _, count, place = _tag(stream, order, name)
    content = stream.read(count)
    if len(content) < count:
        raise RecordingError(f"{name}: a variable ends before its numbers", "copy the file again")
    end = place + count
    stream.seek(end + (-end) % 8)
    return content
