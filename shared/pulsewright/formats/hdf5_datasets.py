"""Any HDF5 file, MATLAB 7.3 among them: a data set by its path; no link leads out of the file."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from pulsewright.block_source import BlockSource, Codes
from pulsewright.errors import PulsewrightError, RecordingError
from pulsewright.formats.array_axes import AXES, AxesLayout, NamedArray
from pulsewright.formats.named_arrays import RATE_NAMES, understand
from pulsewright.formats.packing import ALWAYS_ALLOWED
from pulsewright.formats.sample_types import StoredType, as_type
from pulsewright.formats.understanding import Ledger, Reading
from pulsewright.hdf5_checks import CheckedFile, guarded

NAME = "HDF5"
SUFFIXES = (".h5", ".hdf5", ".hdf", ".he5")

_SIGNATURE = b"\x89HDF\r\n\x1a\n"
_MOST_DATASETS = 10_000
_MOST_DEPTH = 32


def recognises(head: bytes, path: Path) -> bool:
    """Say whether a file is HDF5; its signature may come after a block of the user's own, as in MATLAB 7.3.

    Parameters
    ----------
    head : bytes
        The file's first bytes.
    path : Path
        The file.
    """
    return any(head[place : place + 8] == _SIGNATURE for place in (0, 512, 1024, 2048, 4096, 8192, 16384, 32768))


def read(path: Path, ledger: Ledger) -> Reading:
    """Open an HDF5 file.

    Parameters
    ----------
    path : Path
        The file.
    ledger : Ledger
        Asked for what the file does not say.

    Raises
    ------
    PulsewrightError
        If it is damaged, or holds nothing that could be samples.
    """
    import h5py

    with guarded(path.name, "the file"):
        file = h5py.File(path, "r", locking="best-effort", rdcc_nbytes=32 << 20)
    try:
        checked = CheckedFile(file, path, path.name, path.stat().st_size)
        arrays = [_array(checked, place, dataset) for place, dataset in _datasets(checked, ledger)]
        return understand(ledger, path, NAME, arrays)
    except BaseException:
        with guarded(path.name, "the file"):
            file.close()
        raise


def _datasets(checked: CheckedFile, ledger: Ledger) -> Iterator[tuple[str, Any]]:
    """Yield every data set of plain numbers by hard links, each once, and tell which others were asked for in vain."""
    import h5py

    found = 0
    groups: list[tuple[str, Any, int]] = [("", checked.file, 0)]
    seen: set[Any] = set()
    while groups:
        place, group, depth = groups.pop(0)
        with guarded(checked.name, place or "/"):
            names = list(group)
            for name in names:
                here = f"{place}/{name}"
                if not isinstance(group.get(name, getlink=True), h5py.HardLink) or name == "#refs#":
                    continue
                entry = group[name]
                info = h5py.h5o.get_info(entry.id)
                if (info.fileno, info.addr) in seen:
                    continue
                seen.add((info.fileno, info.addr))
                if isinstance(entry, h5py.Group) and depth < _MOST_DEPTH:
                    groups.append((here, entry, depth + 1))
                elif isinstance(entry, h5py.Dataset) and entry.shape is not None and checked.is_number(entry):
                    found += 1
                    if found > _MOST_DATASETS:
                        raise RecordingError(
                            f"{checked.name}: holds more than {_MOST_DATASETS:,} data sets", "export those that matter"
                        )
                    yield here, entry
    yield from _asked_for(checked, ledger)


def _asked_for(checked: CheckedFile, ledger: Ledger) -> Iterator[tuple[str, Any]]:
    """Yield data sets that a person names and that only a soft link leads to; a link out of the file is refused."""
    import h5py

    for name in (ledger.options.get("dataset") or "").split(","):
        if name.strip():
            entry = checked.find(name.strip())
            if isinstance(entry, h5py.Dataset) and entry.shape is not None and checked.is_number(entry):
                yield name.strip(), entry


def _array(checked: CheckedFile, place: str, dataset: Any) -> NamedArray:
    with guarded(checked.name, place):
        shape = tuple(int(size) for size in dataset.shape) or (1,)
        stored = StoredType(dataset.dtype)
        rate = _rate(dataset)

    def check() -> None:
        checked.check_storage(place, dataset)
        with guarded(checked.name, place):
            chunk = 0 if dataset.chunks is None else math.prod(dataset.chunks) * dataset.dtype.itemsize
        if chunk > max(ALWAYS_ALLOWED, checked.length):
            checked.fail(place, f"is kept in pieces of {chunk:,} bytes", "write it in smaller chunks")

    def source(layout: AxesLayout, dtype: np.dtype[Any]) -> BlockSource:
        check()
        return Hdf5Source(checked, place, dataset, layout, dtype)

    def values() -> Codes:
        check()
        with guarded(checked.name, place):
            return np.asarray(dataset[()]).astype(stored.natural, copy=False)

    return NamedArray(place, shape, stored, source, values, rate)


def _rate(dataset: Any) -> float | None:
    """Return a sample rate that stands as an attribute beside the data set, or on the groups around it."""
    from h5py import h5a, h5t

    for node in (dataset, dataset.parent, dataset.file):
        for index in range(min(h5a.get_num_attrs(node.id), 64)):
            attribute = h5a.open(node.id, index=index)
            if attribute.name.decode("utf-8", "replace").lower() not in RATE_NAMES:
                continue
            if attribute.get_type().get_class() in (h5t.INTEGER, h5t.FLOAT) and attribute.shape in ((), (1,)):
                value = float(np.asarray(node.attrs[attribute.name.decode("utf-8", "replace")]).reshape(-1)[0])
                if value > 0 and math.isfinite(value) and math.isfinite(1 / value):
                    return value
    return None


class Hdf5Source(BlockSource):
    """A block source over a data set of any axes.

    Parameters
    ----------
    checked : CheckedFile
        The open file; closed with the source.
    place : str
        Path of the data set.
    dataset : h5py.Dataset
        Its storage has been checked.
    layout : AxesLayout
        What its axes are.
    dtype : dtype
        The type to hand out.
    """

    def __init__(
        self, checked: CheckedFile, place: str, dataset: Any, layout: AxesLayout, dtype: np.dtype[Any]
    ) -> None:
        self._checked, self._place, self._dataset = checked, place, dataset
        self._layout, self._dtype = layout, dtype

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return self._layout.shape

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as it is handed out."""
        return self._dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.

        Raises
        ------
        RecordingError
            If a chunk is damaged, or the file has been closed.
        """
        ranges = (records, channels, samples)
        counts = [len(axis) for axis in ranges]
        if 0 in counts:
            return np.empty(counts, self._dtype)
        if not self._layout.cut:
            block = self._hyperslab({axis: (r.start, r.stop) for axis, r in zip(AXES, ranges, strict=True)})
            return self._typed(block.reshape(counts))
        length, wanted = self.shape[2], (channels.start, channels.stop)
        if counts[2] == length:  # whole records lie one after another
            block = self._hyperslab({"channels": wanted, "samples": (records.start * length, records.stop * length)})
            return self._typed(block.reshape(counts[1], counts[0], length).transpose(1, 0, 2))
        rows = []
        for record in records:
            stretch = (record * length + samples.start, record * length + samples.stop)
            rows.append(self._hyperslab({"channels": wanted, "samples": stretch}).reshape(counts[1:]))
        return self._typed(np.stack(rows))

    def _hyperslab(self, wanted: dict[str, tuple[int, int]]) -> Codes:
        """Return a part of the data set with its axes in the order of a session."""
        axes = self._layout.axes
        if not self._checked.file:
            raise RecordingError(f"{self._checked.name}: has been closed", "open it again")
        try:
            index = tuple(slice(*wanted[axis]) for axis in axes)
            block = np.asarray(self._dataset[index] if self._dataset.shape else self._dataset[()].reshape(1))
        except PulsewrightError:
            raise
        except Exception as error:  # h5py answers damage with nearly any type of exception
            said = " ".join(str(error).split())
            raise RecordingError(
                f"{self._checked.name}: {self._place} cannot be read ({said})", "copy the file again"
            ) from error
        order = [axes.index(axis) for axis in AXES if axis in axes]
        return block.transpose(order)

    def _typed(self, codes: Codes) -> Codes:
        natural = codes.astype(codes.dtype.newbyteorder("="), copy=False)
        return np.ascontiguousarray(as_type(natural, self._dtype, self._checked.name))

    def close(self) -> None:
        """Give back the file."""
        self._checked.file.close()
