"""The samples of a gate, in the channels' units: held where they are few, else read again block by block."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pulsewright.session import Codes, Session
from pulsewright_analysis.record_runs import neighbouring
from pulsewright_analysis.streaming import Check, unchecked

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

HELD_BYTES = 64 << 20
"""A gate of fewer bytes, as float64, is held in memory as a whole."""
LOOKED_AT_BYTES = 64 << 20
"""Of the few traces that are looked at together."""
BLOCK_BYTES = 16 << 20
READ_BYTES = 8 << 20
"""As stored: neighbouring records are read together up to so many bytes."""


class GateSamples(Protocol):
    """Samples of many records and channels, (records, channels, samples), that can be looked at part by part."""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, samples."""

    def take(self, places: Ints) -> Floats:
        """Return some of the records, shape (places, channels, samples).

        Parameters
        ----------
        places : int array
            Their places among the records of the gate.
        """

    def blocks(self) -> Iterator[tuple[int, int, Floats]]:
        """Yield first record, first channel and the samples of some neighbouring ones, until all were seen."""

    def of_channels(self, chosen: Ints | Bools) -> GateSamples:
        """Return the same of some channels alone.

        Parameters
        ----------
        chosen : int array, or bool array (channels,)
            Which of the channels.
        """

    def of_records(self, places: Ints) -> GateSamples:
        """Return the same of some records alone.

        Parameters
        ----------
        places : int array
            Their places among the records of the gate, rising.
        """

    def middle(self, most: int) -> GateSamples:
        """Return the samples in the middle alone, all of them where there are no more than so many.

        Parameters
        ----------
        most : int
            Samples of a trace.
        """


@dataclass(frozen=True)
class HeldSamples:
    """All samples in one array.

    Attributes
    ----------
    samples : array (records, channels, samples)
    """

    samples: Floats

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, samples."""
        records, channels, count = self.samples.shape
        return records, channels, count

    def take(self, places: Ints) -> Floats:
        """Return some of the records, shape (places, channels, samples).

        Parameters
        ----------
        places : int array
            Their places.
        """
        taken: Floats = self.samples[places]
        return taken

    def blocks(self) -> Iterator[tuple[int, int, Floats]]:
        """Yield 0, 0 and all samples."""
        yield 0, 0, self.samples

    def of_channels(self, chosen: Ints | Bools) -> HeldSamples:
        """Return the same of some channels alone.

        Parameters
        ----------
        chosen : int array, or bool array (channels,)
            Which of the channels.
        """
        return HeldSamples(self.samples[:, chosen])

    def of_records(self, places: Ints) -> HeldSamples:
        """Return the same of some records alone.

        Parameters
        ----------
        places : int array
            Their places.
        """
        return HeldSamples(self.samples[places])

    def middle(self, most: int) -> HeldSamples:
        """Return the samples in the middle alone.

        Parameters
        ----------
        most : int
            Samples of a trace.
        """
        skipped = before_middle(self.shape[-1], most)
        return HeldSamples(self.samples[..., skipped : skipped + most])


@dataclass(frozen=True)
class StreamedSamples:
    """Samples that are read whenever they are looked at, so that a gate may be larger than memory.

    Attributes
    ----------
    session : Session
    channels : tuple of int
        Places in the session.
    records : int array (records,)
        Numbers of the records, rising.
    first : int array (records, channels)
        First sample of the gate.
    count : int
        Samples of the gate.
    """

    session: Session
    channels: tuple[int, ...]
    records: Ints
    first: Ints
    count: int

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, samples."""
        return len(self.records), len(self.channels), self.count

    def take(self, places: Ints) -> Floats:
        """Return some of the records, shape (places, channels, samples).

        Parameters
        ----------
        places : int array
            Their places among the records of the gate.
        """
        samples = np.empty((len(places), len(self.channels), self.count))
        for i, pieces in self._read(places):
            self._fill(samples[i], pieces)
        return samples

    def _fill(self, row: Floats, pieces: list[Codes]) -> None:
        """Fill in one record's samples, (channels, samples), from its codes."""
        for values, piece, channel in zip(row, pieces, self.channels, strict=True):
            about = self.session.channels[channel]
            np.multiply(piece, about.scale, out=values)
            values += about.offset

    def blocks(self) -> Iterator[tuple[int, int, Floats]]:
        """Yield first record, first channel and the samples of some neighbouring ones, until all were seen."""
        traces = max(1, BLOCK_BYTES // max(1, self.count * 8))
        if traces >= len(self.channels):
            step = traces // len(self.channels)
            for begin in range(0, len(self.records), step):
                yield begin, 0, self.take(np.arange(begin, min(begin + step, len(self.records))))
            return
        parts = [
            (low, self.of_channels(np.arange(low, min(low + traces, len(self.channels)))))
            for low in range(0, len(self.channels), traces)
        ]
        for begin in range(len(self.records)):
            for low, part in parts:
                yield begin, low, part.take(np.array([begin]))

    def of_channels(self, chosen: Ints | Bools) -> StreamedSamples:
        """Return the same of some channels alone.

        Parameters
        ----------
        chosen : int array, or bool array (channels,)
            Which of the channels of the gate.
        """
        wanted = np.arange(len(self.channels))[chosen]
        return replace(self, channels=tuple(self.channels[k] for k in wanted.tolist()), first=self.first[:, wanted])

    def of_records(self, places: Ints) -> StreamedSamples:
        """Return the same of some records alone.

        Parameters
        ----------
        places : int array
            Their places among the records of the gate, rising.
        """
        return replace(self, records=self.records[places], first=self.first[places])

    def middle(self, most: int) -> StreamedSamples:
        """Return the samples in the middle alone.

        Parameters
        ----------
        most : int
            Samples of a trace.
        """
        return replace(self, first=self.first + before_middle(self.count, most), count=min(most, self.count))

    def _read(self, places: Ints) -> Iterator[tuple[int, list[Codes]]]:
        """Yield for each of some records its number among `places`, and each channel's stretch as stored.

        Neighbouring records are read at once; of a record larger than a block only the stretch, from the first channel
        to the last.
        """
        session = self.session
        a_record = len(session.channels) * session.record_length * session.dtype.itemsize
        if a_record > READ_BYTES:
            for i, place in enumerate(places.tolist()):
                first = self.first[place]
                low = int(first.min())
                begin, stop = min(self.channels), max(self.channels) + 1
                last = int(first.max()) + self.count
                codes = session.stretch_codes(int(self.records[place]), low, last, slice(begin, stop))
                yield i, self._pieces(codes, first - low, begin)
            return
        for low, high in neighbouring(self.records[places], max(1, READ_BYTES // max(a_record, 1))):
            block = session.codes(int(self.records[places[low]]), int(self.records[places[high - 1]]) + 1)
            for i in range(low, high):
                yield i, self._pieces(block[i - low], self.first[places[i]])

    def _pieces(self, codes: Codes, first: Ints, begin: int = 0) -> list[Codes]:
        return [codes[c - begin, f : f + self.count] for c, f in zip(self.channels, first.tolist(), strict=True)]

    def look_through(self, samples: Floats | None = None, check: Check = unchecked) -> Bools:
        """Return whether a sample of the gate is at an end code, shape (records, channels); all is read once.

        Parameters
        ----------
        samples : array (records, channels, samples), optional
            Filled in on the way.
        check : callable
            Called before each record; may raise to stop.
        """
        clipped = np.zeros(self.shape[:2], dtype=bool)
        for place, pieces in self._read(np.arange(len(self.records))):
            check()
            for k, (piece, channel) in enumerate(zip(pieces, self.channels, strict=True)):
                about = self.session.channels[channel]
                clipped[place, k] = bool(piece.min() <= about.lowest_code or piece.max() >= about.highest_code)
            if samples is not None:
                self._fill(samples[place], pieces)
        return clipped


def held_or_streamed(streamed: StreamedSamples, check: Check = unchecked) -> tuple[GateSamples, Bools]:
    """Return the samples of a gate, in one array where they are few, and which of its traces are clipped.

    Parameters
    ----------
    streamed : StreamedSamples
    check : callable
        Called at every step; may raise to stop.

    Returns
    -------
    GateSamples, bool array (records, channels)
    """
    records, channels, count = streamed.shape
    if records * channels * count * 8 > HELD_BYTES:
        return streamed, streamed.look_through(check=check)
    samples = np.empty(streamed.shape)
    clipped = streamed.look_through(samples, check)
    return HeldSamples(samples), clipped


def whole(samples: GateSamples) -> Floats:
    """Return all samples of a gate in one array, shape (records, channels, samples).

    Parameters
    ----------
    samples : GateSamples
    """
    return samples.take(np.arange(samples.shape[0]))


def as_gate_samples(samples: Floats | GateSamples) -> GateSamples:
    """Return an array as samples of a gate; what is none already.

    Parameters
    ----------
    samples : array (records, channels, samples), or GateSamples
    """
    return HeldSamples(samples) if isinstance(samples, np.ndarray) else samples


def before_middle(length: int, most: int) -> int:
    """Return how many samples of a trace lie before those in its middle.

    Parameters
    ----------
    length : int
        Samples of the trace.
    most : int
        Samples that are looked at.
    """
    return max(length - most, 0) // 2


def affordable(most: int, least: int, bytes_of_one: int) -> int:
    """Return how many of something may be held at once: `most`, fewer where each is large, but no fewer than `least`.

    Parameters
    ----------
    most, least, bytes_of_one : int
    """
    return min(most, max(least, LOOKED_AT_BYTES // max(bytes_of_one, 1)))


def traces_of(samples: GateSamples, places: Sequence[int] | Ints) -> Iterator[tuple[int, int, Floats]]:
    """Yield record, channel and samples of the traces of some records, one by one.

    Parameters
    ----------
    samples : GateSamples
    places : sequence of int
    """
    for place in np.asarray(places, dtype=np.int64).tolist():
        for _, first, block in samples.of_records(np.array([place])).blocks():
            for channel, trace in enumerate(block[0], start=first):
                yield place, channel, trace
