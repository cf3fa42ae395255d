"""Blocks of samples out of a file: by positioned reads where samples lie in one piece, else through HDF5."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.block_source import BlockSource, Codes, Room, altered_meanwhile, slice_of
from pulsewright.errors import SessionFileError
from pulsewright.unpacked_rows import UnpackedRows
from pulsewright.watched_file import Change, change_of, clause_of, was_written_to

_POSITIONED_READ: Callable[..., int] | None = getattr(os, "preadv", None)
_BINARY = getattr(os, "O_BINARY", 0)
SMALL_ROW = 4 << 20
"""Bytes of the chunks that hold the same records: HDF5's memory keeps several rows that are no larger."""
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES, errno.ENOENT)
"""Why no temporary file can be written; damage in HDF5 has other numbers, or none."""
WORTH_SKIPPING = 16 << 10
"""Bytes of a record's other channels from which on reading each record by itself is faster than reading them too."""


def can_read_at() -> bool:
    """Say whether this machine reads at a position without moving a shared one."""
    return _POSITIONED_READ is not None


class _Descriptor:
    """An open file that closes when its last user lets go, so that closing never pulls it from under a reader."""

    def __init__(self, path: Path) -> None:
        self.number = -1
        self.number = os.open(path, os.O_RDONLY | _BINARY)

    def __del__(self) -> None:
        if self.number >= 0:
            os.close(self.number)


class FileSource(BlockSource):
    """What both sources share: shape, type, and the error for a file that changes while it is read.

    Parameters
    ----------
    name : str
        The file's name, for errors.
    shape : tuple of int
        Records, channels, record length.
    stored_dtype : dtype
        The type of a sample in the file, in the file's byte order.
    """

    def __init__(self, name: str, shape: tuple[int, int, int], stored_dtype: np.dtype[Any]) -> None:
        self._name = name
        self._shape = shape
        self._stored_dtype = stored_dtype
        self._dtype = stored_dtype.newbyteorder("=")
        self._path = Path(name)
        self._opened: os.stat_result | None = None

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._shape

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample, in this machine's byte order."""
        return self._dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.

        Raises
        ------
        SessionFileError
            If the file cannot be read, has become shorter or is damaged there, was written to since it was opened, or
            has been closed.
        """
        return self.part_in(Room(), records, channels, samples)

    def _remember(self, path: Path) -> None:
        """Keep in mind how the file is, for `altered`."""
        self._path, self._opened = path.absolute(), self.file_status()

    def altered(self) -> str:
        """Return what has become of the file since it was opened, as a clause; empty where it is as it was."""
        return clause_of(self._name, self.change())

    def change(self) -> Change | None:
        """Return what has become of the file since it was opened; None where it is as it was."""
        now, then = self.file_status(), self._opened
        return None if now is None or then is None else change_of(self._path, then, now)

    def take_as_opened(self, status: os.stat_result) -> None:
        """Take a file that was written to for the one that was opened, as it holds the same again.

        Parameters
        ----------
        status : os.stat_result
            Its state before it was looked at.
        """
        self._opened = status

    def _require_own(self, now: os.stat_result | None) -> None:
        """Refuse what was just read of a file that somebody wrote to: other samples may lie there.

        Of one that was cut, what is left is as it was.
        """
        then = self._opened
        if now is not None and then is not None and was_written_to(then, now):
            raise altered_meanwhile(clause_of(self._name, Change.WRITTEN))

    def _failed(self, records: range, why: object) -> SessionFileError:
        reason = " ".join(str(why).split())
        return SessionFileError(
            f"{self._name}: /samples cannot be read in records {records.start} to {records.stop - 1} ({reason})",
            "copy the file again",
        )


class PositionedSource(FileSource):
    """Samples in one piece, read where they lie: any number of threads at once, at the speed of memory.

    Not by memory map: a file that shrinks would end the process, and mapped pages count as resident memory.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        Its name, for errors.
    start : int
        The first sample's place, bytes from the start of the file.
    shape, stored_dtype
        As for `FileSource`.
    """

    def __init__(
        self, path: Path, name: str, start: int, shape: tuple[int, int, int], stored_dtype: np.dtype[Any]
    ) -> None:
        super().__init__(name, shape, stored_dtype)
        self._start = start
        self._descriptor: _Descriptor | None = _Descriptor(path)
        self._remember(path)

    def part_in(self, room: Room, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples as `part` does, read into the room given.

        Parameters
        ----------
        room, records, channels, samples
            As for `BlockSource.part_in`.

        Raises
        ------
        SessionFileError
            As for `part`.
        """
        _, count, length = self._shape
        size = self._stored_dtype.itemsize
        unwanted = count * length - len(channels) * len(samples)
        if unwanted * size < WORTH_SKIPPING:
            whole = room.array((len(records), count, length), self._stored_dtype)
            codes = self._filled(records, [(whole, self._place(records.start, 0))], whole)
            return codes[:, slice_of(channels), slice_of(samples)]
        block = room.array((len(records), len(channels), len(samples)), self._stored_dtype)
        skipped = samples.start * size
        if len(samples) == length:  # a record's neighbouring channels lie in one piece
            pieces = [(block[i], self._place(r, channels.start)) for i, r in enumerate(records)]
        else:
            pieces = [
                (block[i, k], self._place(r, c) + skipped)
                for i, r in enumerate(records)
                for k, c in enumerate(channels)
            ]
        return self._filled(records, pieces, block)

    def read_pieces(self, record: int, channel: int, pieces: NDArray[np.int64], room: Room) -> Codes:
        """Return some pieces of one record on one channel one after another, each read where it lies.

        Parameters
        ----------
        record, channel, pieces, room
            As for `BlockSource.read_pieces`.

        Raises
        ------
        SessionFileError
            As for `part`.
        """
        size, start = self._stored_dtype.itemsize, self._place(record, channel)
        block = room.array((int((pieces[:, 1] - pieces[:, 0]).sum()),), self._stored_dtype)
        wanted, done = [], 0
        for begin, end in pieces.tolist():
            wanted.append((block[done : done + end - begin], start + begin * size))
            done += end - begin
        codes = self._filled(range(record, record + 1), wanted, block)
        codes.flags.writeable = False
        return codes

    def _place(self, record: int, channel: int) -> int:
        """Return where a record's samples on a channel begin, bytes from the start of the file."""
        _, channels, length = self._shape
        return self._start + (record * channels + channel) * length * self._stored_dtype.itemsize

    def _filled(self, records: range, pieces: list[tuple[Codes, int]], block: Codes) -> Codes:
        """Read every piece of a block from its place in the file, and return the block in this machine's byte order."""
        descriptor = self._descriptor
        if descriptor is None:
            raise self._failed(records, "the session has been closed")
        try:
            for piece, position in pieces:
                self._fill(descriptor.number, piece, position)
            now = os.fstat(descriptor.number)
        except (OSError, EOFError) as error:
            raise self._failed(records, error) from error
        self._require_own(now)
        return block.astype(self._dtype, copy=False)

    @staticmethod
    def _fill(number: int, block: Codes, position: int) -> None:
        assert _POSITIONED_READ is not None
        room = block.reshape(-1).view(np.uint8)
        done = 0
        while done < len(room):  # one call reads 2 GB at most
            count = _POSITIONED_READ(number, [room[done:]], position + done)
            if count == 0:
                raise EOFError("the file has become shorter")
            done += count

    def file_status(self) -> os.stat_result | None:
        """Return the state of the file that is open; None once it was closed."""
        descriptor = self._descriptor
        return None if descriptor is None else os.fstat(descriptor.number)

    def close(self) -> None:
        """Give back the file, once reads under way have ended."""
        self._descriptor = None


class ChunkedSource(FileSource):
    """Chunked or compressed samples, through HDF5, whose own lock lets one thread read at a time.

    Chunks so large that a row of them would crowd HDF5's memory are unpacked row by row into temporary files. Neither
    closing it nor asking how its file is waits for a read that is under way.

    Parameters
    ----------
    file : h5py.File
        Open for reading; closed with the source.
    dataset : h5py.Dataset
        The samples.
    name, shape
        As for `FileSource`.
    """

    def __init__(self, file: Any, dataset: Any, name: str, shape: tuple[int, int, int]) -> None:
        super().__init__(name, shape, dataset.dtype)
        self._file = file
        self._dataset = dataset
        self._rows = self._rows_of(dataset)
        self._lock = threading.Lock()
        self._readers, self._closed = 0, False
        self._number = _descriptor_of(file)
        self._remember(Path(os.fsdecode(file.filename)))

    def _rows_of(self, dataset: Any) -> UnpackedRows | None:
        _, channels, length = self._shape
        if dataset.chunks is None or not can_read_at():
            return None
        if dataset.chunks[0] * channels * length * dataset.dtype.itemsize <= SMALL_ROW:
            return None
        return UnpackedRows(dataset, self._piece)

    def _piece(self, path: Path, shape: tuple[int, int, int]) -> PositionedSource:
        return PositionedSource(path, self._name, 0, shape, self._stored_dtype)

    def part_in(self, room: Room, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples as `part` does, read into the room given where it was unpacked before.

        Chunks that hold other channels or samples too are unpacked whole all the same.

        Parameters
        ----------
        room, records, channels, samples
            As for `BlockSource.part_in`.

        Raises
        ------
        SessionFileError
            If a chunk is damaged, the file was written to since it was opened, or the session has been closed.
        """
        with self._reading(records):
            return self._checked(room, records, channels, samples)

    def _checked(self, room: Room, records: range, channels: range, samples: range) -> Codes:
        try:
            codes = self._unpacked(room, records, channels, samples).astype(self._dtype, copy=False)
        except SessionFileError:
            raise
        except Exception as error:  # h5py answers damage with nearly any type of exception
            self._require_own(self.file_status())
            raise self._failed(records, error) from error
        self._require_own(self.file_status())
        return codes

    def _unpacked(self, room: Room, records: range, channels: range, samples: range) -> Codes:
        rows = self._rows  # once: another thread may find no room meanwhile
        if rows is not None:
            try:
                return rows.part(room, records, channels, samples)
            except OSError as error:
                if error.errno not in _NO_ROOM:
                    raise
                self._rows = None  # slower, and in memory, but right
        return np.asarray(self._dataset[slice_of(records), slice_of(channels), slice_of(samples)])

    def file_status(self) -> os.stat_result | None:
        """Return the state of the file that is open; None where HDF5 does not tell, or once it was closed."""
        try:  # by its number: HDF5 itself would answer only once it has unpacked what it is at
            return None if self._closed or self._number is None else os.fstat(self._number)
        except OSError:
            return None

    @contextmanager
    def _reading(self, records: range) -> Iterator[None]:
        with self._lock:
            if self._closed:
                raise self._failed(records, "the session has been closed")
            self._readers += 1
        try:
            yield
        finally:
            with self._lock:
                self._readers -= 1
                last = self._closed and not self._readers
            if last:
                self._file.close()

    def close(self) -> None:
        """Give back the file; where it is being read, whoever reads it last does that."""
        if self._rows is not None:
            self._rows.close()
        with self._lock:
            idle = not self._closed and not self._readers
            self._closed = True
        if idle:
            self._file.close()


def _descriptor_of(file: Any) -> int | None:
    """Return the number of an HDF5 file's descriptor; None where HDF5 does not tell."""
    try:
        return int(file.id.get_vfd_handle())
    except Exception:  # h5py answers with nearly any type of exception
        return None
