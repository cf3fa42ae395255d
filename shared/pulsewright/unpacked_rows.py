"""Chunked samples unpacked once: rows of chunks, each into a file of its own that is read where the samples lie."""

from __future__ import annotations

import os
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pulsewright.block_source import BlockSource, Codes, Room
from pulsewright.long_columns import write_all

if TYPE_CHECKING:
    from pulsewright.file_blocks import FileSource

Open = Callable[[Path, tuple[int, int, int]], "FileSource"]
"""Opens a file of samples in one piece, given where it is and its shape."""
Shape = tuple[int, int, int]

MOST_BYTES = 1 << 30
"""Of all rows that are kept, in temporary files: what is read again of them is not unpacked again."""
FEWEST_ROWS = 3
"""Rows that are kept however large they are: the desk reads at several places at once."""


class UnpackedRows:
    """The samples of a chunked dataset, by rows: all chunks that hold the same records.

    HDF5 unpacks a whole chunk for whatever is read of it, and remembers only as many as fit into its memory: read block
    by block, large chunks are unpacked many times over. A row is unpacked chunk by chunk, in their order, into a
    temporary file, which takes room where the system keeps those, mostly on the disk, and goes when it is no longer
    kept.

    Parameters
    ----------
    dataset : h5py.Dataset
        Chunked; records × channels × record length.
    open_piece : callable
        Opens what was unpacked.
    """

    def __init__(self, dataset: Any, open_piece: Open) -> None:
        self._dataset, self._open = dataset, open_piece
        self._shape: Shape = dataset.shape
        self._step = int(dataset.chunks[0])
        row_bytes = self._step * self._shape[1] * self._shape[2] * dataset.dtype.itemsize
        self._most = max(FEWEST_ROWS, MOST_BYTES // max(row_bytes, 1))
        self._rows: OrderedDict[int, BlockSource] = OrderedDict()
        self._lock = threading.Lock()
        """Of the rows that are kept; held for a moment only."""
        self._unpacking = threading.Lock()
        """Held as long as a row is unpacked: two at once would take twice the room, and HDF5 lets in one alone."""
        self._closed = False

    def part(self, room: Room, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        room : Room
            To read into.
        records, channels, samples : range
            As for `BlockSource.part`.

        Raises
        ------
        OSError
            If there is no room on the disk.
        EOFError
            If it was closed meanwhile.
        Exception
            Whatever HDF5 raises for a chunk that is damaged.
        """
        if not len(records):
            return np.empty((0, len(channels), len(samples)), self._dataset.dtype)
        parts = [self._of_row(row, room, records, channels, samples) for row in self._rows_of(records)]
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    def _rows_of(self, records: range) -> range:
        return range(records.start // self._step, (records.stop - 1) // self._step + 1)

    def _of_row(self, row: int, room: Room, records: range, channels: range, samples: range) -> Codes:
        first = row * self._step
        inside = range(max(records.start, first) - first, min(records.stop, first + self._step) - first)
        source = self._row(row)
        if len(inside) < len(records):  # of several rows, none may take the place of another
            return source.part(inside, channels, samples)
        return source.part_in(room, inside, channels, samples)

    def _row(self, row: int) -> BlockSource:
        """Return a row; unpack it first if it is not kept. Only who needs one that is not kept waits meanwhile."""
        source = self._kept(row)
        if source is not None:
            return source
        with self._unpacking:
            source = self._kept(row)  # whoever came before may have needed it too
            if source is None:
                source = self._unpack(row)
                with self._lock:
                    self._rows[row] = source
                    while len(self._rows) > self._most:
                        self._rows.popitem(last=False)  # who still reads it keeps it until then
        return source

    def _kept(self, row: int) -> BlockSource | None:
        with self._lock:
            source = self._rows.get(row)
            if source is not None:
                self._rows.move_to_end(row)
            return source

    def _unpack(self, row: int) -> BlockSource:
        records, channels, length = self._shape
        own = range(row * self._step, min((row + 1) * self._step, records))
        number, name = tempfile.mkstemp(prefix="pulsewright-", suffix=".row")
        with os.fdopen(number, "r+b", buffering=0) as file:
            try:
                os.truncate(file.fileno(), len(own) * channels * length * self._dataset.dtype.itemsize)
                source = self._open(Path(name), (len(own), channels, length))
            finally:
                Path(name).unlink()  # before it is filled: its room is given back however this process ends
            for wanted_channels, wanted_samples in self._grid():
                if self._closed:
                    raise EOFError("the session has been closed")
                block = self._dataset[own.start : own.stop, wanted_channels, wanted_samples]
                _put(file, np.ascontiguousarray(block), (channels, length), wanted_channels, wanted_samples)
            source.take_as_opened(os.fstat(file.fileno()))
        return source

    def _grid(self) -> Iterator[tuple[slice, slice]]:
        """Yield the chunks of a row, as the channels and the samples that each of them holds."""
        _, channels, length = self._shape
        _, channel_step, sample_step = self._dataset.chunks
        for c in range(0, channels, channel_step):
            for s in range(0, length, sample_step):
                yield slice(c, min(c + channel_step, channels)), slice(s, min(s + sample_step, length))

    def close(self) -> None:
        """Give back every row; one that is being unpacked is given up at its next chunk, and not waited for."""
        self._closed = True
        with self._lock:
            self._rows.clear()


def _put(file: Any, block: Codes, of_row: tuple[int, int], channels: slice, samples: slice) -> None:
    """Write a chunk of a row to where its samples lie record by record."""
    count, length = of_row
    size = block.dtype.itemsize
    whole_traces = samples.stop - samples.start == length
    if whole_traces and channels.stop - channels.start == count:
        _write(file, 0, block)
        return
    for record, of_record in enumerate(block):
        if whole_traces:
            _write(file, (record * count + channels.start) * length * size, of_record)
            continue
        for channel, trace in enumerate(of_record, start=channels.start):
            _write(file, ((record * count + channel) * length + samples.start) * size, trace)


def _write(file: Any, position: int, samples: Codes) -> None:
    file.seek(position)
    write_all(file, samples)
