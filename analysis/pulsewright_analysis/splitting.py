"""Splitting a continuous capture into records at level crossings, as a triggered recorder would have taken it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from pulsewright.block_source import BlockSource, Codes
from pulsewright.errors import SettingError
from pulsewright.minus import as_shown
from pulsewright.quantity import engineering, exact
from pulsewright.session import Session
from pulsewright_analysis.level_crossings import CrossingFinder
from pulsewright_analysis.results import Floats, Ints

Progress = Callable[[float, str], None]
LOOKED_AT_ONCE = 1 << 22
"""Samples of the trigger channel in a block."""


@dataclass(frozen=True)
class SplitSettings:
    """Where a capture is cut.

    Attributes
    ----------
    channel : str
        The channel whose crossings are triggers.
    level : float
        In that channel's unit.
    rising : bool
        Whether the signal rises through the level, or falls.
    before, after : float or Fraction
        What a record keeps of the time before and after its trigger, seconds, rounded up to whole samples.
    hold_off : float or Fraction
        From a trigger on, crossings are passed over for so long, seconds, rounded up to whole samples.
    hysteresis : float
        How far the signal must have gone back past the level before it can cross it again, in the channel's unit.
    """

    channel: str
    level: float
    rising: bool
    before: float | Fraction
    after: float | Fraction
    hold_off: float | Fraction = 0.0
    hysteresis: float = 0.0


@dataclass(frozen=True)
class Split:
    """A capture as records, and what became of the crossings that made none.

    Attributes
    ----------
    session : Session
        The records; it reads from the capture, which must stay open.
    sample : int array (records,)
        The capture's sample at or after each trigger, on the trigger channel.
    in_dead_time : int array (crossings,)
        The sample at or after each crossing that came while a record, or the part of the next record before its
        trigger, was still being taken.
    held_off : int
        Crossings passed over because of the hold-off.
    before_start, past_end : int
        Triggers whose record would begin before the capture does, or end after it.
    """

    session: Session
    sample: Ints
    in_dead_time: Ints
    held_off: int
    before_start: int
    past_end: int


@dataclass(frozen=True)
class _Lengths:
    """Samples before the trigger, from it on, and of hold-off."""

    before: int
    after: int
    hold_off: int

    @property
    def record(self) -> int:
        return self.before + self.after


def split(capture: Session, settings: SplitSettings, progress: Progress | None = None) -> Split:
    """Return a capture of one record as a session of triggered records.

    A record holds the samples `before` and `after` a trigger. On the trigger channel no sample is in two records: the
    next trigger is the first crossing after the record, the hold-off, and the samples that its own record has before
    it. The instant of a trigger is where a straight line through the two samples around the crossing meets the level;
    it is an instant at the recorder's input, no delay taken off. The trigger channel's module and those whose samples
    lie at a known time from its samples get it as their trigger offset, the others have an offset that is not known.
    The result does not depend on how many samples are looked at at once.

    Parameters
    ----------
    capture : Session
        Open, of one record.
    settings : SplitSettings
        Where it is cut.
    progress : callable, optional
        Called with (share done 0 … 1, what is being done).

    Raises
    ------
    SettingError
        If the session is no capture of one record, a setting has no meaning, or no record comes of it.
    """
    lengths = _checked(capture, settings)
    finder = _crossings(capture, settings, progress)
    crossing, lead = finder.found()
    kept, in_dead_time, held_off = _triggers(crossing, lengths)
    sample, lead = crossing[kept], lead[kept]
    shift, offset = _on_every_module(capture, settings.channel, lead)
    start = sample[:, None] - shift - lengths.before
    early = (start < 0).any(axis=1)
    late = (start + lengths.record > capture.record_length).any(axis=1) & ~early
    whole = ~(early | late)
    if not whole.any():
        raise SettingError(*_why_none(capture, settings, finder, len(sample)))
    sample, lead = sample[whole], lead[whole]
    interval = capture.sample_interval
    session = Session(
        _Cuts(capture, start[whole], lengths.record),
        capture.channels,
        capture.sample_rate,
        lengths.before,
        modules=capture.modules,
        # whole samples first: their difference is exact however long the capture is
        trigger_time=((sample - sample[0]) - (lead - lead[0])) * interval,
        trigger_offset=offset[whole, 0] if capture.shared_offset else offset[whole],
        title=capture.title,
        notes=capture.notes,
        origin=capture.origin,
        created=capture.created,
    )
    return Split(session, sample, in_dead_time, held_off, int(early.sum()), int(late.sum()))


def _checked(capture: Session, settings: SplitSettings) -> _Lengths:
    """Return the lengths in samples, or say what is wrong with the settings."""
    if capture.records != 1:
        raise SettingError(
            f"the session holds {capture.records} records, so it is split already", "give a capture of one record"
        )
    capture.channel_index(settings.channel)
    for name, given in (("before", settings.before), ("hold-off", settings.hold_off), ("after", settings.after)):
        if given < 0 or (name == "after" and given == 0):
            least = "above 0 s" if name == "after" else "from 0 s up"
            raise SettingError(f"{name}: {engineering(float(given), 's')} is no length", f"it must be {least}")
    if settings.hysteresis < 0:
        raise SettingError(
            f"hysteresis: {as_shown(f'{settings.hysteresis:g}')} is below 0", "give how far the signal must go back"
        )
    rate = exact(capture.sample_rate, "Hz")
    before, after, hold_off = (
        math.ceil(exact(given, "s") * rate) for given in (settings.before, settings.after, settings.hold_off)
    )
    if before + after > capture.record_length:
        raise SettingError(
            f"before and after: a record of {before + after:,} samples is longer than the capture, which has "
            f"{capture.record_length:,}",
            "give a shorter time before or after",
        )
    return _Lengths(before, after, hold_off)


def _crossings(capture: Session, settings: SplitSettings, progress: Progress | None) -> CrossingFinder:
    """Look at the trigger channel from its first sample to its last."""
    place = capture.channel_index(settings.channel)
    channel = capture.channels[place]
    finder = CrossingFinder(settings.level, rising=settings.rising, hysteresis=settings.hysteresis)
    for first in range(0, capture.record_length, LOOKED_AT_ONCE):
        stop = min(first + LOOKED_AT_ONCE, capture.record_length)
        codes = capture.stretch_codes(0, first, stop, slice(place, place + 1))[0]
        finder.look_at(codes.astype(np.float64) * channel.scale + channel.offset)
        if progress is not None:
            progress(stop / capture.record_length, "Looking for triggers")
    return finder


def _triggers(crossing: Ints, lengths: _Lengths) -> tuple[Ints, Ints, int]:
    """Return which crossings are triggers, the samples of those in dead time, and how many were held off."""
    kept, lost = [], []
    held_off = place = 0
    while place < len(crossing):
        kept.append(place)
        free = np.searchsorted(crossing, crossing[place] + lengths.hold_off)
        after = np.searchsorted(crossing, crossing[place] + max(lengths.hold_off, lengths.record))
        # a crossing is no rival of itself, however short the hold-off
        free, after = max(int(free), place + 1), max(int(after), place + 1)
        held_off += free - place - 1
        lost.append(crossing[free:after])
        place = after
    return np.array(kept, dtype=np.int64), np.concatenate([*lost, np.array([], dtype=np.int64)]), held_off


def _on_every_module(capture: Session, channel: str, lead: Floats) -> tuple[Ints, Floats]:
    """Return, for each trigger and module, how many samples earlier the module's record starts, and its offset.

    Modules that sample at other instants have their first sample after the trigger before or after the trigger
    channel's. Where it is not known how far apart they sample, the records start together, and the offset is NaN.
    """
    own = capture.module_of[capture.channel_index(channel)]
    interval = capture.sample_interval
    apart = np.zeros(len(capture.modules))
    if not capture.shared_offset:
        apart = capture.trigger_offset[0] - capture.trigger_offset[0, own]
        apart[own] = 0.0
    later = lead[:, None] * interval + apart
    shift = np.where(np.isfinite(later), np.floor(later / interval), 0.0)
    offset = np.clip(later - shift * interval, 0.0, np.nextafter(interval, 0.0))
    return shift.astype(np.int64), offset


def _why_none(capture: Session, settings: SplitSettings, finder: CrossingFinder, triggers: int) -> tuple[str, str]:
    """Return cause and remedy where no record comes of a capture."""
    unit = capture.channels[capture.channel_index(settings.channel)].unit
    level = engineering(settings.level, unit)
    if triggers:
        cause = f"none of the {triggers} triggers lies far enough from the ends of the capture for a whole record"
        return cause, "give a shorter time before or after"
    way = "rises" if settings.rising else "falls"
    low, high = (engineering(value, unit) for value in finder.seen)
    return f"{settings.channel} never {way} through {level}", f"its values go from {low} to {high}"


class _Cuts(BlockSource):
    """Records that begin at given samples of a capture, in each module at its own; the capture stays its opener's."""

    def __init__(self, capture: Session, start: Ints, length: int) -> None:
        self._capture = capture
        self._start = start
        self._length = length
        module_of = capture.module_of
        # neighbouring channels of modules whose records start together are read in one go
        borders = np.flatnonzero((start[:, module_of[1:]] != start[:, module_of[:-1]]).any(axis=0)) + 1
        edges = [0, *borders.tolist(), len(module_of)]
        self._runs = [slice(a, b) for a, b in pairwise(edges)]

    @property
    def shape(self) -> tuple[int, int, int]:
        return len(self._start), len(self._capture.channels), self._length

    @property
    def dtype(self) -> np.dtype[np.generic]:
        return self._capture.dtype

    def part(self, records: range, channels: range, samples: range) -> Codes:
        block = np.empty((len(records), len(channels), len(samples)), self.dtype)
        for run in self._runs:
            low, high = max(run.start, channels.start), min(run.stop, channels.stop)
            if low >= high:
                continue
            place = slice(low - channels.start, high - channels.start)
            module = self._capture.module_of[low]
            for row, record in enumerate(records):
                start = int(self._start[record, module])
                wanted = (start + samples.start, start + samples.stop)
                block[row, place] = self._capture.stretch_codes(0, *wanted, slice(low, high))
        return block

    def altered(self) -> str:
        return self._capture.source.altered()
