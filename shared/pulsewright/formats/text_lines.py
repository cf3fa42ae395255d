"""Lines of a text file, packed or not, in any of the usual encodings: block by block, from any place in it."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

from pulsewright.errors import RecordingError
from pulsewright.formats.byte_sources import FileBytes
from pulsewright.formats.packing import Unpacking, packed_how

BLOCK = 1 << 20
HEAD = 64 << 10
LONGEST_LINE = 1 << 20
_WIDE = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}
_UTF8_MARK = b"\xef\xbb\xbf"


class _Stream(Protocol):
    def read(self, count: int) -> bytes:
        """Return up to `count` bytes."""

    @property
    def share(self) -> float:
        """How much of the file has been read, 0 … 1."""


class _Plain:
    """A file's own bytes, one after another."""

    def __init__(self, data: FileBytes, place: int) -> None:
        self._data, self._place = data, place

    def read(self, count: int) -> bytes:
        piece = self._data.read_at(self._place, min(count, self._data.length - self._place))
        self._place += len(piece)
        return piece

    @property
    def share(self) -> float:
        return self._place / max(1, self._data.length)


class TextFile:
    """A text file as bytes in UTF-8 or in a code that keeps digits as they are.

    Parameters
    ----------
    path : Path
        The file.
    encoding : str, optional
        What its letters are stored in; found out if left out.

    Attributes
    ----------
    packing : str or None
        gzip, bzip2 or xz.
    encoding : str
        As given, or as found.
    share : float
        How much of the file the last look through it has read, 0 … 1.
    head : bytes
        The first 64 KiB, unpacked, in UTF-8 if the file has two bytes a letter.

    Raises
    ------
    RecordingError
        If it is no text.
    """

    def __init__(self, path: Path, encoding: str | None = None) -> None:
        self.name = path.name
        self.share = 0.0
        self._data = FileBytes(path)
        try:
            first = self._data.read_at(0, min(6, self._data.length))
            self.packing = packed_how(first)
            raw = self._raw(0).read(HEAD)
            self.encoding = encoding or _encoding_of(raw, self.name)
            self._wide = codecs.lookup(self.encoding).name.startswith("utf-16")
            self.head = self._opened(0).read(HEAD)
        except BaseException:
            self._data.close()
            raise

    def _raw(self, place: int) -> _Stream:
        if self.packing is None:
            return _Plain(self._data, place)
        return Unpacking(self._data, 0, self._data.length, self.packing, self.name)

    def _opened(self, place: int) -> _Stream:
        """Return the text from a place on, which counts bytes as this object hands them out."""
        if self.packing is None and not self._wide:
            return _Plain(self._data, place)
        stream: _Stream = self._raw(0)
        if self._wide:
            stream = _Narrowed(stream, self.encoding, self.name)
        left = place
        while left:
            skipped = len(stream.read(min(left, BLOCK)))
            if not skipped:
                raise RecordingError(f"{self.name}: has become shorter", "copy the file again")
            left -= skipped
        return stream

    def blocks(self, place: int = 0) -> Iterator[tuple[int, bytes]]:
        """Yield (place, whole lines) from a place on that a line begins at, some 1 MiB at a time.

        Parameters
        ----------
        place : int
            0, or the place of a block.

        Yields
        ------
        int, bytes
            Where the block begins, and its lines, each with its end.

        Raises
        ------
        RecordingError
            If a line is longer than any row of numbers.
        """
        stream = self._opened(place)
        rest = b""
        while piece := stream.read(BLOCK):
            text = rest + piece
            cut = text.rfind(b"\n") + 1
            if not cut and b"\r" in text:
                cut = text.rfind(b"\r", 0, -1) + 1
            if not cut:
                if len(text) > LONGEST_LINE:
                    raise RecordingError(f"{self.name}: has a line of more than {LONGEST_LINE:,} bytes", "is it text?")
                rest = text
                continue
            rest = text[cut:]
            self.share = stream.share
            yield place, text[:cut]
            place += cut
        if rest:
            yield place, rest

    def close(self) -> None:
        """Give back the file."""
        self._data.close()


class _Narrowed:
    """A stream of two-byte letters as UTF-8."""

    def __init__(self, stream: _Stream, encoding: str, name: str) -> None:
        self._stream, self._name = stream, name
        self._decoder = codecs.getincrementaldecoder(encoding)()
        self._waiting = b""

    def read(self, count: int) -> bytes:
        while len(self._waiting) < count:
            piece = self._stream.read(BLOCK)
            try:
                text = self._decoder.decode(piece, final=not piece)
            except UnicodeError as error:
                raise RecordingError(f"{self._name}: is not {self._decoder!r} text", "save it as UTF-8") from error
            self._waiting += text.lstrip("\ufeff").encode("utf-8", "replace")
            if not piece:
                break
        found, self._waiting = self._waiting[:count], self._waiting[count:]
        return found

    @property
    def share(self) -> float:
        return self._stream.share


def _encoding_of(raw: bytes, name: str) -> str:
    for mark, encoding in _WIDE.items():
        if raw.startswith(mark):
            return encoding
    unmarked = _wide_without_mark(raw)
    if unmarked is not None:
        return unmarked
    if b"\0" in raw:
        raise RecordingError(
            f"{name}: is not text", "describe its bytes in a TOML file and give that with --raw", "raw"
        )
    if raw.startswith(_UTF8_MARK):
        return "utf-8-sig"
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError as error:
        if error.start < len(raw) - 3:
            return "latin-1"
    return "utf-8"


def _wide_without_mark(raw: bytes) -> str | None:
    """Return which code of two bytes a letter a text seems to be in, by its digits and commas; None for no such."""
    start = raw[:1024]
    low, high = start[::2], start[1::2]
    for letters, zeros, encoding in ((low, high, "utf-16-le"), (high, low, "utf-16-be")):
        if len(zeros) > 3 and zeros.count(0) > 0.7 * len(zeros) and 0 not in letters and looks_like_text(letters):
            return encoding
    return None


def looks_like_text(head: bytes) -> bool:
    """Say whether bytes could be the beginning of a text file.

    Parameters
    ----------
    head : bytes
        The file's first bytes, unpacked.
    """
    if any(head.startswith(mark) for mark in _WIDE) or (b"\0" in head[:1024] and _wide_without_mark(head)):
        return True
    control = sum(byte < 9 or 13 < byte < 32 for byte in head[:4096])
    return control == 0 and any(48 <= byte <= 57 for byte in head)
