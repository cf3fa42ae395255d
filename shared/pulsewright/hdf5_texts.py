"""Texts of variable length in an HDF5 file that nobody vouches for: looked over before the library reads them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pulsewright.text_heaps import TextStorage


class StoredTexts:
    """The texts of a file; nothing is opened before one is asked for.

    Parameters
    ----------
    file : h5py.File
        Open for reading.
    path : Path
        Where it lies.
    length : int
        The file's own length, bytes.
    """

    def __init__(self, file: Any, path: Path, length: int) -> None:
        self._file, self._path, self._length = file, path, length
        self._storage: TextStorage | None = None

    def close(self) -> None:
        """Give back what looking over the texts has opened."""
        if self._storage is not None:
            self._storage.close()
            self._storage = None

    def wrong_with(self, source: Any) -> str:
        """Return why the texts of an attribute or a data set cannot be read; empty where they can.

        Parameters
        ----------
        source : str or h5py.Dataset
            The name of an attribute of the file, or a data set.
        """
        if self._storage is None:
            bytes_of_length = self._file.id.get_create_plist().get_sizes()[1]
            self._storage = TextStorage(self._path, self._length, self._stretches_of_samples(), bytes_of_length)
            heap = self._storage.damaged_heap()
            if heap is not None:
                return f"cannot be read (the texts at byte {heap:,} are damaged)"
        if isinstance(source, str):
            fits = self._storage.attribute_fits(source)
        else:
            fits = all(self._storage.references_fit(*stretch) for stretch in self._plain_references(source))
        return "" if fits else "promises a text longer than the file"

    def promise_little(self, dataset: Any) -> bool:
        """Say whether all texts of a data set together are no longer than the file, as their references tell.

        Parameters
        ----------
        dataset : h5py.Dataset
            One whose texts `wrong_with` found nothing against.
        """
        from h5py import h5d

        if self._storage is None or not dataset.id.get_type().is_variable_str():
            return False
        if dataset.id.get_create_plist().get_layout() != h5d.CONTIGUOUS:
            return False
        references = self._plain_references(dataset)
        return sum(self._storage.promised(*stretch) for stretch in references) <= self._length

    def _plain_references(self, dataset: Any) -> list[tuple[int, int, int]]:
        """Return (first byte, number, bytes of each) of references to texts that are stored as they are.

        Packed ones carry a checksum, which the library compares before it follows them.
        """
        from h5py import h5d

        size = 8 + self._file.id.get_create_plist().get_sizes()[0]  # length, the heap's address, index
        properties = dataset.id.get_create_plist()
        layout = properties.get_layout()
        if layout == h5d.CONTIGUOUS:
            return [(dataset.id.get_offset(), dataset.shape[0], size)] if dataset.shape[0] else []
        if layout != h5d.CHUNKED:
            return []
        all_filters = (1 << properties.get_nfilters()) - 1
        found: list[tuple[int, int, int]] = []

        def look(chunk: Any) -> None:
            if chunk.filter_mask & all_filters == all_filters:  # every filter was passed over
                found.append((chunk.byte_offset, dataset.chunks[0], size))

        dataset.id.chunk_iter(look)
        return found

    def _stretches_of_samples(self) -> list[tuple[int, int]]:
        """Return where the samples lie, (first byte, byte after the last); they are judged later, not here."""
        import h5py

        found = (
            self._file.get("samples") if isinstance(self._file.get("samples", getlink=True), h5py.HardLink) else None
        )
        if not isinstance(found, h5py.Dataset):
            return []
        stretches: list[tuple[int, int]] = []
        if found.chunks is not None:
            found.id.chunk_iter(lambda c: stretches.append((c.byte_offset, c.byte_offset + c.size)))
        elif found.id.get_offset() is not None:
            stretches.append((found.id.get_offset(), found.id.get_offset() + found.id.get_storage_size()))
        return stretches
