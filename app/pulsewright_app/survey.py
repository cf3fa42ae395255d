"""Reads every sample of a session once: the ranges used, what is clipped, constant or repeated."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.block_source import pieces_of
from pulsewright.digest import sha256_of
from pulsewright.session import Codes, Session

STANDS_STILL, MANY_CODES = 8, 64
"""So often must an extreme follow itself, in a signal so many codes high, to look like a converter's end."""
LONG_GAP = 1.5
"""A gap of more periods than this deserves to be named."""


@dataclass(frozen=True)
class ChannelSurvey:
    """What one channel's samples show.

    Attributes
    ----------
    lowest, highest : float
        The extreme codes seen.
    clipped_samples : int
    clipped_records : tuple of int
    beyond_ends : bool
        Whether a code lies beyond the end codes.
    flat_samples : int
        How often an extreme code follows itself, where that is no end code but looks like one; else 0.
    """

    lowest: float
    highest: float
    clipped_samples: int
    clipped_records: tuple[int, ...]
    beyond_ends: bool
    flat_samples: int

    @property
    def constant(self) -> bool:
        """Whether every sample is the same."""
        return self.lowest == self.highest


@dataclass(frozen=True)
class Survey:
    """What a whole session shows before anything is measured.

    Attributes
    ----------
    channels : tuple of ChannelSurvey
    sha256 : str
        Digest of the file; empty for a session in memory.
    period : float or None
        The median gap between trigger times of the first module that has them, seconds.
    gap_range : (float, float) or None
        The shortest and the longest of its gaps, seconds.
    long_gaps : tuple of (int, float)
        Records after which the next trigger comes more than 1.5 periods later, and how much later, seconds.
    times_known : bool
        Whether any trigger time is known.
    offsets_known : int
        For how many records × modules the trigger was timed.
    repeated_times, unknown_times : dict of module to tuple of int
        Records whose trigger time is that of the record before, and records without one.
    repeated_records : tuple of (int, int)
        Records with the same samples on every channel: the first, and the one that repeats it.
    """

    channels: tuple[ChannelSurvey, ...]
    sha256: str
    period: float | None
    gap_range: tuple[float, float] | None
    long_gaps: tuple[tuple[int, float], ...]
    times_known: bool
    offsets_known: int
    repeated_times: dict[str, tuple[int, ...]]
    unknown_times: dict[str, tuple[int, ...]]
    repeated_records: tuple[tuple[int, int], ...]


def survey(session: Session, progress: Callable[[float, str], None] | None = None) -> Survey:
    """Return what a session's samples and trigger times show.

    Parameters
    ----------
    session : Session
        Open; it is read block by block.
    progress : callable, optional
        Called with (share done 0 … 1, what is being done).

    Raises
    ------
    SessionFileError
        If the file cannot be read, or was altered meanwhile.
    """
    channels, repeated = _samples(session, progress)
    period, gap_range, long_gaps = _gaps(session)
    times = session.trigger_time
    sha256 = "" if session.file is None else sha256_of(session.file)
    session.require_unaltered()  # else it may be the digest of another file
    modules = session.modules[:1] if session.shared_time else session.modules
    return Survey(
        channels=channels,
        sha256=sha256,
        period=period,
        gap_range=gap_range,
        long_gaps=long_gaps,
        times_known=bool(np.isfinite(times).any()),
        offsets_known=int(np.isfinite(session.trigger_offset).sum()),
        repeated_times=_by_module(session, modules, np.diff(times, axis=0, prepend=np.nan) == 0),
        unknown_times=_by_module(session, modules, ~np.isfinite(times)),
        repeated_records=repeated,
    )


def _samples(
    session: Session, progress: Callable[[float, str], None] | None
) -> tuple[tuple[ChannelSurvey, ...], tuple[tuple[int, int], ...]]:
    ends = np.array([(c.lowest_code, c.highest_code) for c in session.channels])[:, :, None]
    lowest, highest = _Extreme(len(session.channels), np.less), _Extreme(len(session.channels), np.greater)
    clipped = np.zeros((session.records, len(session.channels)), dtype=np.int64)
    digests: dict[int, Any] = {}
    seen: dict[bytes, int] = {}
    repeated = []
    for first, start, codes in pieces_of(session.source):
        lowest.take(codes.min(axis=(0, 2)), codes)
        highest.take(codes.max(axis=(0, 2)), codes)
        clipped[first : first + len(codes)] += ((codes <= ends[:, 0]) | (codes >= ends[:, 1])).sum(axis=2)
        for record, samples in enumerate(codes, start=first):
            digest = digests.setdefault(record, hashlib.sha256())
            digest.update(np.ascontiguousarray(samples).data)
            if start + codes.shape[2] == session.record_length:
                earlier = seen.setdefault(digests.pop(record).digest(), record)
                if earlier != record:
                    repeated.append((earlier, record))
        if progress is not None:
            share = (first + (start + codes.shape[2]) * len(codes) / session.record_length) / session.records
            progress(share, "Reading")
    flat = lowest.flat(ends[:, 0, 0], ends[:, 1, 0], highest) + highest.flat(ends[:, 0, 0], ends[:, 1, 0], lowest)
    beyond = (lowest.values < ends[:, 0, 0]) | (highest.values > ends[:, 1, 0])
    channels = tuple(
        ChannelSurvey(
            float(lowest.values[place]), float(highest.values[place]), int(clipped[:, place].sum()),
            tuple(np.flatnonzero(clipped[:, place]).tolist()), bool(beyond[place]), int(flat[place]),
        )
        for place in range(len(session.channels))
    )  # fmt: skip
    return channels, tuple(repeated)


class _Extreme:
    """The lowest or the highest code of each channel so far, and how often it has followed itself."""

    def __init__(self, channels: int, further: Any) -> None:
        self.values = np.full(channels, np.nan)
        self._pairs = np.zeros(channels, dtype=np.int64)
        self._further = further

    def take(self, found: Codes, codes: Codes) -> None:
        """Take in the extreme codes of a piece, (channels,), and the piece."""
        new = np.isnan(self.values) | self._further(found, self.values)
        self._pairs[new] = 0
        self.values[new] = found[new]
        for place in np.flatnonzero(found == self.values).tolist():
            there = codes[:, place] == found[place]
            self._pairs[place] += int((there[:, 1:] & there[:, :-1]).sum())

    def flat(self, lowest_code: Codes, highest_code: Codes, other: _Extreme) -> NDArray[np.int64]:
        """Return the counts where a signal of some height stands still at an extreme that is no end code."""
        inside = (self.values > lowest_code) & (self.values < highest_code)
        high = np.abs(self.values - other.values) >= MANY_CODES
        return np.where(inside & high & (self._pairs >= STANDS_STILL), self._pairs, 0)


def _gaps(
    session: Session,
) -> tuple[float | None, tuple[float, float] | None, tuple[tuple[int, float], ...]]:
    """Return the median gap between triggers, its range, and the records that a long gap follows."""
    for module in range(len(session.modules)):
        gaps = np.diff(session.trigger_time[:, module])
        known = gaps[np.isfinite(gaps)]
        if len(known):
            period = float(np.median(known))
            after = np.flatnonzero(gaps > LONG_GAP * period)
            long_gaps = zip(after.tolist(), gaps[after].tolist(), strict=True)
            return period, (float(known.min()), float(known.max())), tuple(long_gaps)
    return None, None, ()


def _by_module(session: Session, modules: tuple[str, ...], marked: NDArray[np.bool_]) -> dict[str, tuple[int, ...]]:
    name = "every module" if session.shared_time else None
    columns = {name or module: np.flatnonzero(marked[:, place]) for place, module in enumerate(modules)}
    return {module: tuple(records.tolist()) for module, records in columns.items() if len(records)}
