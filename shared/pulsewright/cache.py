"""Derived data in the user's cache folder: arrays that are made again in a moment, and found faster.

Nothing depends on it. Its files may be deleted at any time, also while the program runs; several processes may use it
at once; what is damaged, or belongs to another state of the recording, is not used. It is bounded, and what was not
asked for the longest goes first.

An entry is found by the quick digest of the session's file, its length and the time of its last change, and says the
digest of the whole file too. That one takes a second for each 1.2 GB: an entry is used while it is not known, and asked
for again, by the whole digest, once it is.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.atomic import replacing
from pulsewright.digest import quick_digest_of
from pulsewright.errors import SessionFileError
from pulsewright.session import Session

Arrays = Mapping[str, NDArray[Any]]

MOST_BYTES = 1 << 30
"""All that is kept."""
_MAGIC = b"pulsewright cache 1\n"
_LENGTH_DIGITS = 8
_MOST_HEADER = 1 << 16
_ALIGNED = 16
"""Bytes at whose multiples the arrays begin, so that they can be used where they were read."""
_SUFFIX, _UNFINISHED = ".kept", ".pulsewright-*.part"
_LEFT_BEHIND = 3600.0
"""Seconds after which an unfinished file belongs to a process that was ended."""


@dataclass(frozen=True)
class CacheKey:
    """What an entry belongs to, and what it is.

    Attributes
    ----------
    quick_digest : str
        Of the session's file, as `pulsewright.digest.quick_digest_of` has it.
    size, changed_ns : int
        Bytes of the file, and the time of its last change, nanoseconds.
    what : str
        What was derived, and by what settings.
    sha256 : str
        Of the whole file; empty while it is not known.
    """

    quick_digest: str
    size: int
    changed_ns: int
    what: str
    sha256: str = ""

    @property
    def file_name(self) -> str:
        """The name of the entry's file."""
        return hashlib.sha256(f"{self.quick_digest} {self.what}".encode()).hexdigest()[:40] + _SUFFIX


def key_of(session: Session, what: str) -> CacheKey | None:
    """Return the key of something derived from a session; None where its file is no longer the one that is open.

    Parameters
    ----------
    session : Session
        Open.
    what : str
        What is derived, and by what settings.
    """
    opened = session.source.file_status()
    if session.file is None or opened is None:
        return None
    try:
        digest = quick_digest_of(session.file)
        named = session.file.stat()
    except (OSError, SessionFileError):
        return None
    if _state(named) != _state(opened):
        return None  # another file has taken its place, or it was changed meanwhile
    return CacheKey(digest, opened.st_size, opened.st_mtime_ns, what)


def _state(status: os.stat_result) -> tuple[int, int, int, int]:
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def cache_folder() -> Path:
    """Return the user's folder for derived data."""
    import platformdirs

    return Path(platformdirs.user_cache_path("pulsewright", appauthor=False)) / "derived"


class Cache:
    """Arrays kept in a folder.

    Parameters
    ----------
    folder : Path, optional
        The user's cache folder if None; made when something is kept.
    most_bytes : int
        What all entries together may take.
    """

    def __init__(self, folder: Path | None = None, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder if folder is not None else cache_folder()
        self._most_bytes = most_bytes

    def load(self, key: CacheKey) -> dict[str, NDArray[Any]] | None:
        """Return the arrays of an entry, read-only; None where there is none, or one that cannot be used.

        Parameters
        ----------
        key : CacheKey
            Without `sha256` an entry is not checked by it.
        """
        path = self.folder / key.file_name
        try:
            # what is longer than all may be, or no plain file, was never kept, and may not even fit into memory
            raw = path.read_bytes() if path.is_file() and path.stat().st_size <= self._most_bytes else b""
        except OSError:
            return None
        try:
            arrays = _parsed(raw, key)
        except (ValueError, KeyError, TypeError, AttributeError, OverflowError):
            with suppress(OSError):  # it is of no use to anybody, and is made again
                path.unlink()
            return None
        with suppress(OSError):
            os.utime(path)
        return arrays

    def keep(self, key: CacheKey, arrays: Arrays) -> str:
        """Keep arrays, in place of what was kept under this key; return a sentence why that cannot be, or nothing.

        Parameters
        ----------
        key : CacheKey
        arrays : mapping of str to array
            Of integers or floats.
        """
        pieces = _pieces_of(key, arrays)
        size = sum(len(piece) for piece in pieces)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._make_room(size, key.file_name)
            if size > self._most_bytes:
                return ""
            with replacing(self.folder / key.file_name) as temporary, temporary.open("wb") as stream:
                for piece in pieces:
                    stream.write(piece)
        except OSError as error:
            return (
                f"{self.folder}: what was derived cannot be kept ({error.strerror or error}) and is made again "
                "each time; see whether there is room and you may write there."
            )
        return ""

    def _make_room(self, size: int, own: str) -> None:
        """Remove what was not asked for the longest until so many bytes more are within the bound."""
        entries = []
        for path in self.folder.glob(f"*{_SUFFIX}"):
            with suppress(OSError):  # another process may have removed it
                status = path.stat()
                entries.append((status.st_mtime_ns, path, 0 if path.name == own else status.st_size))
        total = size + sum(taken for _, _, taken in entries)
        for _, path, taken in sorted(entries):
            if total <= self._most_bytes:
                break
            if path.name != own:
                with suppress(OSError):
                    path.unlink()
                total -= taken
        for path in self.folder.glob(_UNFINISHED):
            with suppress(OSError):
                if path.stat().st_mtime < time.time() - _LEFT_BEHIND:
                    path.unlink()


def _pieces_of(key: CacheKey, arrays: Arrays) -> list[bytes]:
    """Return an entry as bytes: a line that says what it is, its header with a digest, and the arrays' samples."""
    solid = {name: np.ascontiguousarray(array) for name, array in arrays.items()}
    shapes = [[name, array.dtype.str, list(array.shape)] for name, array in solid.items()]
    body = [array.tobytes() for array in solid.values()]
    header = {"key": asdict(key), "arrays": shapes}
    header["sha256"] = _digest(header, body)
    written = json.dumps(header).encode()
    start = len(_MAGIC) + _LENGTH_DIGITS
    written += b" " * (-(start + len(written)) % _ALIGNED)
    return [_MAGIC, f"{len(written):0{_LENGTH_DIGITS}d}".encode(), written, *body]


def _digest(header: Mapping[str, Any], body: Sequence[bytes | memoryview]) -> str:
    digest = hashlib.sha256(json.dumps([header["key"], header["arrays"]]).encode())
    for piece in body:
        digest.update(piece)
    return digest.hexdigest()


def _parsed(raw: bytes, key: CacheKey) -> dict[str, NDArray[Any]]:
    """Return the arrays of an entry.

    Raises
    ------
    ValueError, KeyError, TypeError, AttributeError, OverflowError
        If it is damaged or belongs to something else.
    """
    start = len(_MAGIC) + _LENGTH_DIGITS
    if not raw.startswith(_MAGIC):
        raise ValueError("not an entry")
    length = int(raw[len(_MAGIC) : start])
    if not 0 < length <= _MOST_HEADER:
        raise ValueError("no header")
    header = json.loads(raw[start : start + length])
    whole = header["key"]["sha256"]
    if header["key"] != asdict(key) | {"sha256": whole} or key.sha256 not in ("", whole):
        raise ValueError("of something else")
    place, body, arrays = start + length, [], {}
    for name, kind, shape in header["arrays"]:
        if str(kind)[1:2] not in tuple("iuf") or any(type(size) is not int or size < 0 for size in shape):
            raise ValueError("no array of numbers")
        dtype = np.dtype(str(kind))
        end = place + math.prod(shape) * dtype.itemsize
        if end > len(raw):
            raise ValueError("cut off")
        body.append(memoryview(raw)[place:end])
        held = np.frombuffer(raw, dtype, math.prod(shape), place).reshape(shape)
        arrays[str(name)] = held.astype(dtype.newbyteorder("="), copy=False)
        place = end
    if place != len(raw) or header["sha256"] != _digest(header, body):
        raise ValueError("damaged")
    return {name: np.require(array, requirements="A") for name, array in arrays.items()}
