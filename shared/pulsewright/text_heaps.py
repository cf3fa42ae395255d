"""Looking over the places where HDF5 keeps text, which the library itself believes without looking.

A text of variable length lies in a "global heap": ``GCOL``, version 1, a length, then entries of (index, count,
length, bytes). The library steps from entry to entry by the lengths written there; one that says 0, or more than
there is, sends it round for ever. What uses the text is a reference of (length, heap, index); the library makes room
for that length, up to 4 GB, before it looks whether the text is as long. Both were seen with HDF5 2.0.0. The forms are
those of the HDF5 File Format Specification, "Global Heap" and "The Attribute Message" (from memory, and tried).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

_HEAP = b"GCOL\x01\x00\x00\x00"
_HEADER = 16  # bytes, of a heap and of an entry alike
_STEP = 4 << 20
_VARIABLE_LENGTH = 9  # the class of such a type


class TextStorage:
    """The bytes of a file in which text may lie.

    Parameters
    ----------
    path : Path
        The file.
    length : int
        Its length, bytes.
    samples : sequence of (first byte, byte after the last)
        Stretches that hold samples, which are passed over: no text lies there.
    bytes_of_length : int
        Bytes in which this file writes a length.
    """

    def __init__(self, path: Path, length: int, samples: Sequence[tuple[int, int]], bytes_of_length: int) -> None:
        self._stream = path.open("rb")
        self._length = length
        self._samples = samples
        self._bytes_of_length = bytes_of_length

    def close(self) -> None:
        """Give back the file."""
        self._stream.close()

    def damaged_heap(self) -> int | None:
        """Return where the first damaged heap lies, bytes from the start of the file, or None."""
        end = 0
        for heap in self._occurrences(_HEAP):
            if heap < end:  # the same letters inside a text
                continue
            found_end = self._end_of_heap(heap)
            if found_end is None:
                return heap
            end = found_end
        return None

    def _end_of_heap(self, heap: int) -> int | None:
        """Step through the entries as the library would; None where it would lose its way."""
        end = heap + self._number(heap + 8, self._bytes_of_length)
        if not heap + _HEADER <= end <= self._length:
            return None
        place = heap + _HEADER
        while place + _HEADER <= end:
            index, size = self._number(place, 2), self._number(place + 8, self._bytes_of_length)
            # the free rest of a heap, index 0, counts its own header; an entry does not, and is filled to 8 bytes
            step = _HEADER + _filled(size) if index else size
            if step < _HEADER or place + step > end:
                return None
            place += step
        return end

    def attribute_fits(self, name: str) -> bool:
        """Say whether no reference in an attribute of this name promises more text than the file is long.

        Parameters
        ----------
        name : str
            Name of the attribute.
        """
        written = name.encode() + b"\0"
        for place in self._occurrences(written):
            for version, header in ((1, 8), (2, 8), (3, 9)):
                start = place - header
                if start < 0 or self._number(start, 1) != version or self._number(start + 2, 2) != len(written):
                    continue
                sizes = [len(written), self._number(start + 4, 2), self._number(start + 6, 2)]
                if version == 1:
                    sizes = [_filled(size) for size in sizes]
                is_text = self._number(place + sizes[0], 1) & 0x0F == _VARIABLE_LENGTH
                if is_text and self._number(place + sum(sizes), 4) > self._length:
                    return False
        return True

    def references_fit(self, start: int, count: int, size: int) -> bool:
        """Say whether none of `count` references of `size` bytes from byte `start` on promises too much.

        Parameters
        ----------
        start : int
            Where the first reference lies, bytes from the start of the file.
        count : int
            How many there are, one after another.
        size : int
            Bytes of each.
        """
        return all(self._number(start + i * size, 4) <= self._length for i in range(count))

    def promised(self, start: int, count: int, size: int) -> int:
        """Return how many bytes of text references promise together.

        Parameters
        ----------
        start, count, size : int
            As for `references_fit`.
        """
        return sum(self._number(start + i * size, 4) for i in range(count))

    def _number(self, place: int, size: int) -> int:
        self._stream.seek(place)
        return int.from_bytes(self._stream.read(size), "little")

    def _occurrences(self, pattern: bytes) -> Iterator[int]:
        for first, stop in self._between_samples():
            place = first
            while place < stop:
                self._stream.seek(place)
                piece = self._stream.read(min(_STEP, stop - place))
                at = piece.find(pattern)
                while at >= 0:
                    yield place + at
                    at = piece.find(pattern, at + 1)
                if len(piece) < len(pattern) or place + len(piece) >= stop:
                    break
                place += len(piece) - len(pattern) + 1  # one may lie across the seam

    def _between_samples(self) -> Iterator[tuple[int, int]]:
        place = 0
        for first, stop in sorted(self._samples):
            if first > place:
                yield place, first
            place = max(place, stop)
        if place < self._length:
            yield place, self._length


def _filled(size: int) -> int:
    return (size + 7) // 8 * 8
