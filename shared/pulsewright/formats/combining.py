"""Several files as the modules of one session: their records matched by number, or by trigger time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from pulsewright.block_source import BlockSource, Codes, slice_of
from pulsewright.errors import RecordingError
from pulsewright.formats.array_axes import StackedSource
from pulsewright.formats.understanding import Reading
from pulsewright.layout import SAMPLE_TYPES
from pulsewright.quantity import engineering
from pulsewright.session import Channel, Floats, Session

Match = Literal["number", "time"]
Indices = NDArray[np.intp]
_MOST_TOLD = 5


@dataclass(frozen=True)
class Combination:
    """Several files as one session.

    Attributes
    ----------
    session : Session
        Lazy; closing it closes every file.
    told : tuple of str
        What was matched, cut off and left out, each a clause without a full stop.
    """

    session: Session
    told: tuple[str, ...]


def combine(readings: Mapping[str, Reading], match: Match = "number", tolerance: float = 0.0) -> Combination:
    """Join files as modules of one session.

    Parameters
    ----------
    readings : mapping of str to Reading
        By module; two or more.
    match : str
        ``number``: record 0 belongs to record 0; ``time``: those belong together whose trigger times, each by its
        own file's clock, are nearest and no further apart than the tolerance.
    tolerance : float
        Seconds.

    Raises
    ------
    RecordingError
        If the files' sample rates differ, times are wanted and not known, or no records belong together.
    """
    sessions = {module: reading.checked() for module, reading in readings.items()}
    told: list[str] = []
    _check_rates(sessions)
    times = _times(readings, required=match == "time")
    chosen = _by_time(times, tolerance, told) if match == "time" else _by_number(sessions, told)
    before = min(session.pre_trigger for session in sessions.values())
    after = min(session.record_length - session.pre_trigger for session in sessions.values())
    if before + after < 1:
        raise RecordingError("the modules' records share no time around their triggers", "convert each by itself")
    sources: list[BlockSource] = []
    for module, session in sessions.items():
        first = session.pre_trigger - before
        if before + after < session.record_length:
            told.append(
                f"{module}: samples {first} to {first + before + after - 1} of {session.record_length:,} are kept, "
                "which all modules have"
            )
        sources.append(ChosenSource(session.source, chosen[module], first, before + after))
    dtype = _common_type([source.dtype for source in sources])
    stacked = StackedSource(sources, dtype, " and ".join(reading.path.name for reading in readings.values()))
    return Combination(_session(sessions, readings, stacked, chosen, times, before), tuple(told))


def _session(
    sessions: dict[str, Session], readings: Mapping[str, Reading], source: BlockSource, chosen: dict[str, Indices],
    times: dict[str, Floats], before: int,
) -> Session:  # fmt: skip
    first = next(iter(sessions.values()))
    kept = {module: times[module][chosen[module]] for module in sessions}
    begin = min((float(np.nanmin(column)) for column in kept.values() if np.isfinite(column).any()), default=0.0)
    offsets = [session.trigger_offset[chosen[module], 0] for module, session in sessions.items()]
    notes = "\n".join(f"Module {module}: {reading.notes}" for module, reading in readings.items())
    return Session(
        source,
        _channels(sessions),
        first.sample_rate,
        before,
        modules=list(sessions),
        trigger_time=np.stack([column - begin for column in kept.values()], axis=1),
        trigger_offset=np.stack(offsets, axis=1),
        title=first.title,
        notes=notes,
        origin=", ".join(reading.path.name for reading in readings.values()),
        created=first.created,
    )


def _check_rates(sessions: Mapping[str, Session]) -> None:
    first, *others = sessions.items()
    for module, session in others:
        if abs(session.sample_rate - first[1].sample_rate) > 1e-9 * first[1].sample_rate:
            raise RecordingError(
                f"module {first[0]} is sampled at {engineering(first[1].sample_rate, 'S/s', 9)}, module {module} at "
                f"{engineering(session.sample_rate, 'S/s', 9)}; a session has one sample rate",
                "give the sample rate of the one that is wrong",
                "sample_rate",
            )


def _times(readings: Mapping[str, Reading], *, required: bool) -> dict[str, Floats]:
    """Return trigger times of each module by one clock, seconds from the earliest of their first triggers."""
    known = [reading.time_origin for reading in readings.values() if reading.time_origin]
    begin = min(known) if len(known) == len(readings) else None
    times = {}
    for module, reading in readings.items():
        column = reading.session.trigger_time[:, 0]
        if required and not np.isfinite(column).all():
            raise RecordingError(
                f"{reading.path.name}: does not know when its records were taken, so they cannot be matched by time",
                "give trigger_times, or match by number",
                "trigger_times",
            )
        times[module] = column + (0.0 if begin is None else float(reading.time_origin - begin))
    return times


def _by_number(sessions: Mapping[str, Session], told: list[str]) -> dict[str, Indices]:
    count = min(session.records for session in sessions.values())
    for module, session in sessions.items():
        if session.records > count:
            told.append(
                f"{module}: has {session.records:,} records; the first {count:,}, which all modules have, are kept"
            )
    return {module: np.arange(count) for module in sessions}


def _by_time(times: Mapping[str, Floats], tolerance: float, told: list[str]) -> dict[str, Indices]:
    modules = list(times)
    reference = times[modules[0]]
    partners: dict[str, Indices] = {modules[0]: np.arange(len(reference))}
    near = np.ones(len(reference), dtype=bool)
    for module in modules[1:]:
        nearest = _nearest(times[module], reference)
        # each must be the other's nearest, or one record would serve two
        back = _nearest(reference, times[module])
        mutual = back[nearest] == np.arange(len(reference))
        near &= mutual & (np.abs(times[module][nearest] - reference) <= tolerance)
        partners[module] = nearest
    chosen = {module: partner[near] for module, partner in partners.items()}
    if not near.any():
        raise RecordingError(
            f"no records of {' and '.join(modules)} lie within {tolerance:g} s of each other",
            "give a larger tolerance, or match by number",
        )
    for module in modules:
        lone = np.setdiff1d(np.arange(len(times[module])), chosen[module])
        if len(lone):
            numbers = ", ".join(str(number) for number in lone[:_MOST_TOLD].tolist())
            more = f" and {len(lone) - _MOST_TOLD:,} more" if len(lone) > _MOST_TOLD else ""
            what = (
                "1 record has no partner and is" if len(lone) == 1 else f"{len(lone):,} records have no partner and are"
            )
            told.append(f"{module}: {what} left out: {numbers}{more}")
    told.append(f"{int(near.sum()):,} records belong together within {engineering(tolerance, 's')}")
    return chosen


def _nearest(times: Floats, wanted: Floats) -> Indices:
    """Return the place of the nearest time for each wanted one; both in order."""
    right = np.clip(np.searchsorted(times, wanted), 0, len(times) - 1)
    left = np.clip(right - 1, 0, None)
    nearest: Indices = np.where(np.abs(times[left] - wanted) <= np.abs(times[right] - wanted), left, right)
    return nearest


def _channels(sessions: Mapping[str, Session]) -> list[Channel]:
    names = [channel.name for session in sessions.values() for channel in session.channels]
    clash = len(set(names)) < len(names)
    return [
        replace(channel, name=f"{module} {channel.name}" if clash else channel.name, module=module)
        for module, session in sessions.items()
        for channel in session.channels
    ]


def _common_type(dtypes: Sequence[np.dtype[Any]]) -> np.dtype[Any]:
    common = np.result_type(*dtypes)
    if common.name not in SAMPLE_TYPES:
        words = " and ".join(sorted({dtype.name for dtype in dtypes}))
        raise RecordingError(f"samples of {words} have no common type", "give sample_type", "sample_type")
    return common


class ChosenSource(BlockSource):
    """A block source over chosen records and a stretch of each.

    Parameters
    ----------
    source : BlockSource
        Closed with this one.
    records : array of int
        The chosen ones, in order.
    first, length : int
        The first sample of each that is kept, and how many.
    """

    def __init__(self, source: BlockSource, records: Indices, first: int, length: int) -> None:
        self._source, self._records = source, records
        self._first, self._length = first, length

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        return len(self._records), self._source.shape[1], self._length

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample."""
        return self._source.dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        """Return a part of the samples, shape (records, channels, samples).

        Parameters
        ----------
        records, channels, samples : range
            As for `BlockSource.part`.
        """
        chosen = self._records[slice_of(records)]
        samples = range(self._first + samples.start, self._first + samples.stop)
        if not len(chosen):
            return np.empty((0, len(channels), len(samples)), self.dtype)
        runs = np.split(chosen, np.flatnonzero(np.diff(chosen) != 1) + 1)
        parts = [self._source.part(range(int(run[0]), int(run[-1]) + 1), channels, samples) for run in runs]
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    def altered(self) -> str:
        """Return what has become of a file since it was opened, as a clause; empty where all are as they were."""
        return super().altered() or self._source.altered()

    def close(self) -> None:
        """Close the source."""
        self._source.close()
