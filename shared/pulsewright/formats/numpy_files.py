"""NumPy's .npy and .npz, read in place; what would have to be unpickled is refused."""

from __future__ import annotations

import struct
import zipfile
from io import BytesIO
from pathlib import Path
from typing import IO, Any

import numpy as np

from pulsewright.errors import RecordingError
from pulsewright.formats.array_axes import NamedArray, strided_array
from pulsewright.formats.byte_sources import ByteSource, FileBytes, FilePart, PackedBytes
from pulsewright.formats.concluding import conclude
from pulsewright.formats.named_arrays import understand
from pulsewright.formats.packing import check_ratio
from pulsewright.formats.sample_types import StoredType
from pulsewright.formats.session_facts import MOST_BYTES, found_by, read_facts
from pulsewright.formats.understanding import Ledger, Reading, unreadable

NAME = "NumPy"
SUFFIXES = (".npy", ".npz")
FACTS_MEMBER = "pulsewright"
"""The array in which a session's facts travel, as bytes of text."""

_MAGIC = b"\x93NUMPY"
_MOST_HEADER = 64 << 10
_MOST_MEMBERS = 4096


def recognises(head: bytes, path: Path) -> bool:
    """Say whether the first bytes of a file are NumPy's, alone or in a ZIP archive.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    if head.startswith(_MAGIC):
        return True
    return head.startswith(b"PK\x03\x04") and (b".npy" in head or path.suffix.lower() == ".npz")


def read(path: Path, ledger: Ledger) -> Reading:
    """Open a .npy or .npz file.

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
        if data.read_at(0, min(6, data.length)) == _MAGIC:
            return understand(ledger, path, NAME, _arrays(data, path.name, "array"))
        return _archive(data, path, ledger)
    except BaseException:
        data.close()
        raise


def _archive(data: FileBytes, path: Path, ledger: Ledger) -> Reading:
    arrays: list[NamedArray] = []
    try:
        with zipfile.ZipFile(path) as archive:
            members = [entry for entry in archive.infolist() if entry.filename.endswith(".npy")]
    except (zipfile.BadZipFile, NotImplementedError) as error:
        raise unreadable(path.name, error) from error
    if len(members) > _MOST_MEMBERS:
        raise RecordingError(f"{path.name}: holds {len(members):,} arrays", f"keep at most {_MOST_MEMBERS:,}")
    for member in members:
        arrays += _arrays(_bytes_of(member, data, path), path.name, member.filename.removesuffix(".npy"))
    named = {array.name: array for array in arrays}
    if FACTS_MEMBER in named and "samples" in named:
        return _own(named, path, ledger)
    return understand(ledger, path, NAME, arrays)


def _own(named: dict[str, NamedArray], path: Path, ledger: Ledger) -> Reading:
    """Return the reading of an archive that Pulsewright wrote."""
    written = named[FACTS_MEMBER]
    if written.size > MOST_BYTES or written.stored.natural != np.dtype(np.uint8):
        raise RecordingError(f"{path.name}: carries the facts of a session, but not as text", "write it out again")
    facts = read_facts(written.values().tobytes(), path.name)
    samples = named["samples"]
    if len(samples.shape) != 3 or samples.stored.natural.name != facts["sample_type"]:
        raise RecordingError(f"{path.name}: carries the facts of a session, but other samples", "write it out again")
    from pulsewright.formats.array_axes import AXES, AxesLayout

    shape = (samples.shape[0], samples.shape[1], samples.shape[2])
    source = samples.source(AxesLayout(AXES, shape, cut=False), np.dtype(facts["sample_type"]))
    return conclude(ledger, path, NAME, found_by(facts, source, path.name))


def _bytes_of(member: zipfile.ZipInfo, data: FileBytes, path: Path) -> ByteSource:
    if member.flag_bits & 1:
        raise RecordingError(f"{path.name}: {member.filename} is encrypted", "save it without a password")
    if member.compress_type == zipfile.ZIP_STORED:
        head = data.read_at(member.header_offset, 30)
        if head[:4] != b"PK\x03\x04":
            raise RecordingError(f"{path.name}: {member.filename} is not where its index says", "copy the file again")
        start = member.header_offset + 30 + sum(struct.unpack("<HH", head[26:30]))
        return FilePart(data, start, member.file_size, path.name)
    if member.compress_type != zipfile.ZIP_DEFLATED:
        raise RecordingError(f"{path.name}: {member.filename} is packed in an unusual way", "save it with NumPy")
    check_ratio(path.name, member.file_size, member.compress_size)

    def reopen() -> IO[bytes]:
        return zipfile.ZipFile(path).open(member.filename)

    return PackedBytes(path.name, reopen, member.file_size)


def _arrays(data: ByteSource, file_name: str, name: str) -> list[NamedArray]:
    """Return the array of a .npy stream; each field of a structured one by itself."""
    shape, by_column, dtype, start = _header(data, file_name, name)
    needed = start + dtype.itemsize * int(np.prod([int(size) for size in shape], dtype=object))
    if needed > data.length:
        raise RecordingError(
            f"{file_name}: {name} should hold {needed:,} bytes, but there are only {data.length:,}",
            "copy the file again",
        )
    if 0 in shape:
        return []
    sizes = shape or (1,)
    strides: list[int] = []
    step = dtype.itemsize
    for size in sizes if by_column else reversed(sizes):
        strides.append(step)
        step *= size
    ordered = tuple(strides if by_column else reversed(strides))
    if dtype.names is None:
        if dtype.kind not in "biufc" or len(sizes) > 3:
            return []
        return [strided_array(data, file_name, name, start, sizes, ordered, StoredType(dtype))]
    fields = [(key, *dtype.fields[key][:2]) for key in dtype.names] if dtype.fields else []
    return [
        strided_array(data, file_name, key, start + at, sizes, ordered, StoredType(kind))
        for key, kind, at in fields if kind.kind in "biuf" and len(sizes) <= 3
    ]  # fmt: skip


def _header(data: ByteSource, file_name: str, name: str) -> tuple[tuple[int, ...], bool, np.dtype[Any], int]:
    from numpy.lib import format as npy

    stream = BytesIO(data.read_at(0, min(_MOST_HEADER, data.length)))
    try:
        version = npy.read_magic(stream)
        reader = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
        shape, by_column, dtype = reader(stream)
    except Exception as error:  # a header is a Python literal: what is wrong in it can be of any kind
        raise unreadable(f"{file_name}: {name}", error) from error
    if dtype.hasobject:
        raise RecordingError(
            f"{file_name}: {name} holds Python objects, which would have to be unpickled",
            "save plain numbers: unpickling can run any program",
        )
    if any(not isinstance(size, int) or size < 0 for size in shape):
        raise RecordingError(f"{file_name}: {name} has the shape {shape}", "copy the file again")
    return shape, bool(by_column), dtype, stream.tell()
