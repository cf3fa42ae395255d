"""Reading single attributes and data sets of an HDF5 file that nobody vouches for."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn

import numpy as np

from pulsewright.errors import PulsewrightError, SessionFileError
from pulsewright.hdf5_texts import StoredTexts

_MOST_COMPRESSION = 4096
"""Deflate reaches 1032 to 1 on constant data; a file that promises far more than that promises too much."""
_MOST_LINKS = 8


@contextmanager
def guarded(name: str, place: str) -> Iterator[None]:
    """Turn whatever h5py raises over a damaged file into one sentence.

    The library answers damage with OSError, RuntimeError, KeyError, ValueError, TypeError, OverflowError and others,
    even when a property is looked at, so that nothing narrower than Exception would hold.

    Parameters
    ----------
    name, place : str
        The file's name, and the part of it that is read, for the error.

    Raises
    ------
    SessionFileError
        In place of any other exception that the block raises; a `PulsewrightError` passes as it is.
    """
    try:
        yield
    except PulsewrightError:
        raise
    except Exception as error:
        said = getattr(error, "strerror", None) or (error.args[0] if error.args else "")
        reason = " ".join(str(said).split()) or type(error).__name__
        raise SessionFileError(f"{name}: {place} cannot be read ({reason})", "copy the file again") from error


class CheckedFile:
    """An open HDF5 file whose parts are looked at before they are believed.

    Parameters
    ----------
    file : h5py.File
        Open for reading.
    path : Path
        Where it lies.
    name : str
        The file's name, for errors.
    length : int
        The file's own length, bytes: no stored size may exceed it.
    """

    def __init__(self, file: Any, path: Path, name: str, length: int) -> None:
        self.file = file
        self.path = path
        self.name = name
        self.length = length
        self._stored_texts = StoredTexts(file, path, length)
        self._groups: dict[str, Any] = {}

    def fail(self, place: str, what: str, remedy: str = "") -> NoReturn:
        """Raise the one sentence: file, place, what is wrong.

        Parameters
        ----------
        place, what : str
            Where in the file, and what is wrong there.
        remedy : str
            What to do about it; may be empty.

        Raises
        ------
        SessionFileError
            Always.
        """
        raise SessionFileError(f"{self.name}: {place} {what}", remedy)

    def close_texts(self) -> None:
        """Give back what looking over the texts has opened."""
        self._stored_texts.close()

    def attribute(self, key: str, *, text: bool = False) -> Any:
        """Return an attribute of the file as a NumPy scalar or as text; None where there is none.

        Parameters
        ----------
        key : str
            Name of the attribute.
        text : bool
            Whether text is expected, rather than a number.

        Raises
        ------
        SessionFileError
            If it is of the other kind, is not one value, is larger than the file, or cannot be read.
        """
        from h5py import h5a, h5s, h5t

        place = f"attribute {key}"
        with guarded(self.name, place):
            if not h5a.exists(self.file.id, key.encode()):
                return None
            attribute = h5a.open(self.file.id, key.encode())
            kind = attribute.get_type().get_class()
            expected = (h5t.STRING,) if text else (h5t.INTEGER, h5t.FLOAT)
            if kind not in expected:
                self.fail(place, "is not text" if text else "is not a number")
            if attribute.get_space().get_simple_extent_type() == h5s.NULL:
                return "" if text else self.fail(place, "is empty")
            if attribute.shape not in ((), (1,)):
                self.fail(place, f"has shape {attribute.shape}, not one value")
            if attribute.get_storage_size() > self.length:
                self.fail(place, "is larger than the file", "copy the file again")
            if text and attribute.get_type().is_variable_str():
                self._check_text(place, key)
            value = np.asarray(self.file.attrs[key]).reshape(-1)[0]
            return self._decoded(place, value) if text else value

    def _check_text(self, place: str, source: Any) -> None:
        wrong = self._stored_texts.wrong_with(source)
        if wrong:
            self.fail(place, wrong, "copy the file again")

    def _decoded(self, place: str, value: Any) -> str:
        """Return text, whether it came as bytes or as h5py's own decoding of them."""
        try:
            if isinstance(value, bytes):
                return bytes(value).rstrip(b"\0").decode("utf-8")
            return str(value).encode("utf-8").decode("utf-8")  # h5py smuggles bad bytes in as surrogates
        except UnicodeError:
            self.fail(place, "is not UTF-8 text")

    def find(self, path: str, depth: int = 0) -> Any:
        """Return the object at `path`, or None; no link leads out of the file.

        Parameters
        ----------
        path : str
            Where to look, from the root of the file.
        depth : int
            Soft links followed so far.

        Returns
        -------
        h5py.Group, h5py.Dataset or None
            None where the file holds nothing of that name.

        Raises
        ------
        SessionFileError
            If something on the way is not a group, cannot be read, or is a link that leads out of the file, in a
            circle, or to nothing.
        """
        import h5py

        node, place = self.file, ""
        group, _, last = path.rpartition("/")
        if group in self._groups and last not in ("", "."):
            # columns of one group are asked for one after another
            node, place, path = self._groups[group], group, last
        for part in (piece for piece in path.split("/") if piece not in ("", ".")):
            if not isinstance(node, h5py.Group):
                self.fail(place, "is not a group")
            with guarded(self.name, f"{place}/{part}"):
                link = node.get(part, getlink=True)
                if link is None:
                    return None
                here, place = place, f"{place}/{part}"
                if isinstance(link, h5py.HardLink):
                    node = node[part]
                    if isinstance(node, h5py.Group):
                        self._groups[place] = node
                elif isinstance(link, h5py.SoftLink) and depth < _MOST_LINKS:
                    target = link.path if link.path.startswith("/") else f"{here}/{link.path}"
                    node = self.find(target, depth + 1)
                    if node is None:
                        self.fail(place, f"is a link to {link.path}, which is not in the file")
                elif isinstance(link, h5py.SoftLink):
                    self.fail(place, "is a link that leads in a circle")
                else:
                    self.fail(place, "is a link to another file, which is not followed", "put the data in one file")
        return node

    def dataset(self, path: str, *, optional: bool = False) -> Any:
        """Return the data set at `path`, its data all in this file; None where it may be, and is, missing.

        Parameters
        ----------
        path : str
            Where to look, from the root of the file.
        optional : bool
            Whether it may be missing.

        Returns
        -------
        h5py.Dataset or None
            Not read.

        Raises
        ------
        SessionFileError
            If it is missing and may not be, is not a data set, is empty, or cannot be read.
        """
        import h5py

        found = self.find(path)
        if found is None:
            return None if optional else self.fail(path, "is missing", "a session file needs it")
        with guarded(self.name, path):
            if not isinstance(found, h5py.Dataset):
                self.fail(path, "is not a data set")
            if found.shape is None:
                self.fail(path, "is empty")
            return found

    def check_storage(self, path: str, dataset: Any) -> None:
        """Compare what a data set declares with what the file holds, before anything is allocated.

        Parameters
        ----------
        path : str
            Where it stands in the file.
        dataset : h5py.Dataset
            What stands there.

        Raises
        ------
        SessionFileError
            If data lie in another file or in other data sets, were never written, reach past the end of the file, are
            packed with a filter that is not here, or are more than compression can explain.
        """
        from h5py import h5d

        with guarded(self.name, path):
            properties = dataset.id.get_create_plist()
            layout = properties.get_layout()
            if layout == h5d.VIRTUAL:
                self.fail(path, "is put together from other data sets", "put the data in one file")
            if properties.get_external_count():
                self.fail(path, "keeps its data in another file, which is not read", "put the data in one file")
            declared = math.prod(int(size) for size in dataset.shape) * dataset.id.get_type().get_size()
            if declared == 0:
                return
            if layout == h5d.CHUNKED:
                self._check_chunks(path, dataset, declared)
                return
            start = dataset.id.get_offset() if layout == h5d.CONTIGUOUS else 0
            if start is None:
                self.fail(path, "was declared but never written")
            if start + declared > self.length:
                self.fail(
                    path,
                    f"should end at byte {start + declared:,}, but the file has only {self.length:,}",
                    "copy the file again",
                )

    def _check_chunks(self, path: str, dataset: Any, declared: int) -> None:
        """Every chunk must be there, lie inside the file, and be no more than compression can explain."""
        from h5py import h5z

        for number in range(dataset.id.get_create_plist().get_nfilters()):
            code, _, _, label = dataset.id.get_create_plist().get_filter(number)
            if not h5z.filter_avail(code):
                title = bytes(label).decode("utf-8", "replace") or f"number {code}"
                self.fail(path, f"is packed with the filter {title}, which is not here", "write it without")
        sizes: list[int] = []
        places: set[tuple[int, ...]] = set()

        def look(chunk: Any) -> None:
            if chunk.byte_offset is None or chunk.byte_offset + chunk.size > self.length:
                self.fail(path, "has a chunk that lies outside the file", "copy the file again")
            sizes.append(int(chunk.size))
            grid = zip(chunk.chunk_offset, dataset.shape, dataset.chunks, strict=True)
            if all(start < size and start % step == 0 for start, size, step in grid):
                places.add(tuple(chunk.chunk_offset))

        needed = math.prod(
            -(-int(size) // int(chunk)) for size, chunk in zip(dataset.shape, dataset.chunks, strict=True)
        )
        dataset.id.chunk_iter(look)
        if len(places) < needed:  # HDF5 would make up what is not there
            self.fail(path, f"has {len(places)} of {needed} chunks", "write the file again, whole")
        if len(sizes) > needed:
            self.fail(path, f"has {len(sizes)} chunks where {needed} have room", "write the file again")
        in_memory = needed * math.prod(dataset.chunks) * dataset.id.get_type().get_size()
        if max(declared, in_memory) > _MOST_COMPRESSION * min(sum(sizes), self.length):
            self.fail(path, f"declares {declared:,} bytes but holds {sum(sizes):,}", "write the file again")

    def numbers(self, path: str, dataset: Any, dtype: str) -> np.ndarray[Any, np.dtype[Any]]:
        """Return all values of a data set whose shape has been checked; `dtype` is ``"float64"`` or ``"int64"``.

        Parameters
        ----------
        path : str
            Where it stands in the file.
        dataset : h5py.Dataset
            What stands there.
        dtype : str
            The type that its values must have.

        Returns
        -------
        array
            In the data set's own shape and this machine's byte order.

        Raises
        ------
        SessionFileError
            If the values are of another type, or cannot be read.
        """
        with guarded(self.name, path):
            if not self.is_number(dataset) or dataset.dtype.newbyteorder("=") != np.dtype(dtype):
                self.fail(path, f"is {self.type_name(dataset)}, not {dtype}")
            self.check_storage(path, dataset)
            return np.asarray(dataset[()]).astype(dtype, copy=False)

    def texts(self, path: str, dataset: Any) -> list[str]:
        """Return all strings of a one-dimensional data set whose shape has been checked.

        Parameters
        ----------
        path : str
            Where it stands in the file.
        dataset : h5py.Dataset
            What stands there.

        Raises
        ------
        SessionFileError
            If it is not text, is not UTF-8, holds more than the file has room for, or cannot be read.
        """
        import h5py

        with guarded(self.name, path):
            if dataset.id.get_type().get_class() != h5py.h5t.STRING:
                self.fail(path, f"is {self.type_name(dataset)}, not text")
            self.check_storage(path, dataset)
            if dataset.id.get_type().is_variable_str():
                self._check_text(path, dataset)
            found: list[str] = []
            left = self.length
            # many entries may point at one huge text: they are read at once where all together promise little
            stored = dataset[()] if self._stored_texts.promise_little(dataset) else dataset
            for index in range(dataset.shape[0]):
                text = self._decoded(f"{path}[{index}]", stored[index])
                left -= len(text)
                if left < 0:
                    self.fail(path, "holds more text than the file has room for", "copy the file again")
                found.append(text)
            return found

    @staticmethod
    def is_number(dataset: Any) -> bool:
        """Say whether a data set holds integers or floating numbers, and not an enumeration or the like.

        Parameters
        ----------
        dataset : h5py.Dataset
            The data set; its type is looked at, its values are not read.
        """
        from h5py import h5t

        return dataset.id.get_type().get_class() in (h5t.INTEGER, h5t.FLOAT)

    @staticmethod
    def type_name(dataset: Any) -> str:
        """Return what a person calls the type of a data set.

        Parameters
        ----------
        dataset : h5py.Dataset
            The data set; its type is looked at, its values are not read.
        """
        from h5py import h5t

        kind = dataset.id.get_type().get_class()
        if kind == h5t.STRING:
            return "text"
        return dataset.dtype.name if kind in (h5t.INTEGER, h5t.FLOAT) else "of a compound or other type"
