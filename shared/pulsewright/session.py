"""A session: recorded segments of one or more modules, their time axes, and lazy blocks of samples."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pulsewright.block_source import EVERY, ArraySource, BlockSource, Codes, Room, require_unaltered
from pulsewright.errors import SettingError

__all__ = ["ArraySource", "BlockSource", "Channel", "Codes", "Floats", "Session"]

Floats = NDArray[np.float64]
Records = slice | NDArray[np.int64]


@dataclass(frozen=True)
class Channel:
    """An input: its name, the module that carries it, and how its codes become units.

    Attributes
    ----------
    name, module, unit : str
        Name (unique in a session), the module's name, the unit of its values.
    scale, offset : float
        Units per code, and units at code 0.
    lowest_code, highest_code : int
        The converter's end codes: a sample at either is clipped.
    delay : float
        Seconds of known cable and front-end delay, subtracted from this channel's times.
    """

    name: str
    module: str
    unit: str = "V"
    scale: float = 1.0
    offset: float = 0.0
    lowest_code: int = -32768
    highest_code: int = 32767
    delay: float = 0.0


class Session:
    """One run of recorded segments.

    Parameters
    ----------
    source : BlockSource
        The samples, records × channels × record length.
    channels : sequence of Channel
        One for each channel of `source`.
    sample_rate : float
        Hertz.
    pre_trigger : int
        Samples before the trigger.
    modules : sequence of str, optional
        Names in order; the modules that the channels name, if left out.
    trigger_time, trigger_offset : array (records,) or (records, modules), optional
        Seconds since the first trigger, and seconds from the trigger to sample number `pre_trigger`; NaN where
        not known. A one-dimensional array means one trigger, and one offset, shared by all modules.
    title, notes, origin, created : str
        Text that the file carries.
    file : Path, optional
        Where it was read from.

    Attributes
    ----------
    trigger_time, trigger_offset : array (records, modules)
        As given, spread over the modules.
    shared_time, shared_offset : bool
        True where one value served all modules. Offsets that were left out count as unknown for each module alone.
    """

    def __init__(
        self,
        source: BlockSource,
        channels: Sequence[Channel],
        sample_rate: float,
        pre_trigger: int,
        *,
        modules: Sequence[str] | None = None,
        trigger_time: Floats | None = None,
        trigger_offset: Floats | None = None,
        title: str = "",
        notes: str = "",
        origin: str = "",
        created: str = "",
        file: Path | None = None,
    ) -> None:
        self._source = source
        self.channels = tuple(channels)
        self.sample_rate = float(sample_rate)
        self.pre_trigger = int(pre_trigger)
        self.modules = tuple(modules) if modules else tuple(dict.fromkeys(c.module for c in self.channels))
        self.title, self.notes, self.origin, self.created = title, notes, origin, created
        self.file = file
        self.records, _, self.record_length = source.shape
        self.trigger_time, self.shared_time = self._spread(trigger_time)
        self.trigger_offset, shared = self._spread(trigger_offset)
        self.shared_offset = shared and (trigger_offset is not None or len(self.modules) == 1)
        index = {name: i for i, name in enumerate(self.modules)}
        self.module_of = np.array([index[c.module] for c in self.channels], dtype=np.intp)

    def _spread(self, values: Floats | None) -> tuple[Floats, bool]:
        """Return the values as (records, modules), and whether one column served all modules."""
        shape = (self.records, len(self.modules))
        if values is None:
            return np.full(shape, np.nan), True
        array = np.asarray(values, dtype=np.float64)
        # what is infinite is no time: it counts as not known
        array = np.where(np.isfinite(array), array, np.nan)
        if array.ndim == 1:
            return np.repeat(array[:, None], shape[1], axis=1), True
        return array, shape[1] == 1

    @classmethod
    def from_samples(
        cls,
        samples: Codes,
        channels: Sequence[Channel],
        sample_rate: float,
        pre_trigger: int = 0,
        **more: Any,
    ) -> Session:
        """Return a session over an array (records, channels, record length); `more` goes to the constructor.

        Parameters
        ----------
        samples : array (records, channels, record length)
            Codes; copied only where they do not lie in one piece.
        channels : sequence of Channel
            One for each channel of `samples`.
        sample_rate : float
            Hertz.
        pre_trigger : int
            Samples before the trigger.
        **more
            Keywords of the constructor.
        """
        return cls(ArraySource(np.ascontiguousarray(samples)), channels, sample_rate, pre_trigger, **more)

    def with_delays(self, delays: Iterable[tuple[str, float]]) -> Session:
        """Return this session with other cable delays, over the same samples: closing one closes both.

        Parameters
        ----------
        delays : iterable of (str, float)
            Channel and seconds, taken off that channel's times in place of what the file says.

        Returns
        -------
        Session
            This one, if it has these delays already.

        Raises
        ------
        SettingError
            If there is no such channel.
        """
        channels = list(self.channels)
        for name, delay in delays:
            try:
                place = self.channel_index(name)
            except SettingError as error:
                raise SettingError(f"delays: {error.cause}", error.remedy) from error
            channels[place] = replace(channels[place], delay=delay)
        if tuple(channels) == self.channels:
            return self
        other = copy.copy(self)
        other.channels = tuple(channels)
        return other

    @property
    def source(self) -> BlockSource:
        """Where the samples come from."""
        return self._source

    def require_unaltered(self) -> None:
        """See that the file is as it was when it was opened: what was read of it belongs together then.

        Raises
        ------
        SessionFileError
            If it was cut or written to, or if its name means another file now. A file that was removed is still whole
            for whoever has it open.
        """
        require_unaltered(self._source)

    @property
    def sample_interval(self) -> float:
        """Ts, seconds."""
        return 1.0 / self.sample_rate

    @property
    def record_duration(self) -> float:
        """N·Ts, seconds."""
        return self.record_length / self.sample_rate

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as stored."""
        return self._source.dtype

    def channel_index(self, name: str) -> int:
        """Return the place of the channel called `name`.

        Parameters
        ----------
        name : str
            Name of the channel.

        Raises
        ------
        SettingError
            If there is none.
        """
        for index, channel in enumerate(self.channels):
            if channel.name == name:
                return index
        names = ", ".join(channel.name for channel in self.channels)
        raise SettingError(f"the session has no channel {name!r}", f"its channels are {names}")

    def codes(self, first: int = 0, stop: int | None = None) -> Codes:
        """Return the stored samples of records first … stop − 1, shape (records, channels, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last; a `stop` of None: up to the end.
        """
        return self._source.read(first, self.records if stop is None else stop)

    def channel_codes(self, channel: int, first: int = 0, stop: int | None = None, room: Room | None = None) -> Codes:
        """Return the stored samples of one channel in records first … stop − 1, shape (records, record length).

        Where samples lie in one piece the other channels are not read.

        Parameters
        ----------
        channel : int
            Place of the channel, from 0.
        first, stop : int
            First record, and the one after the last; a `stop` of None: up to the end.
        room : Room, optional
            To read into; fresh memory if None.
        """
        return self._source.read_channel(first, self.records if stop is None else stop, channel, room=room)

    def stretch_codes(self, record: int, first: int, stop: int, channels: slice = EVERY) -> Codes:
        """Return the stored samples first … stop − 1 of one record, shape (channels, stop − first).

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        first, stop : int
            First sample, and the one after the last.
        channels : slice
            The places of those wanted.
        """
        return self._source.read_stretch(record, first, stop, channels)

    def channel_stretch(
        self, channel: int, first: int, stop: int, begin: int, end: int, room: Room | None = None
    ) -> Codes:
        """Return samples begin … end − 1 of records first … stop − 1 on one channel, shape (records, samples).

        Parameters
        ----------
        channel : int
            Place of the channel, from 0.
        first, stop : int
            First record, and the one after the last.
        begin, end : int
            First sample, and the one after the last; inside the record.
        room : Room, optional
            To read into; fresh memory if None.
        """
        return self._source.read_channel(first, stop, channel, slice(begin, end), room)

    def values(self, first: int = 0, stop: int | None = None, channels: Sequence[int] | None = None) -> Floats:
        """Return samples in the channels' units, float64, shape (records, channels, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last; a `stop` of None: up to the end.
        channels : sequence of int, optional
            Places of the channels wanted, in the order wanted; all if None.
        """
        chosen = list(range(len(self.channels))) if channels is None else list(channels)
        block = self.codes(first, stop)[:, chosen, :].astype(np.float64)
        block *= np.array([self.channels[c].scale for c in chosen])[None, :, None]
        block += np.array([self.channels[c].offset for c in chosen])[None, :, None]
        return block

    def blocks(
        self, first: int = 0, stop: int | None = None, block_bytes: int = 8 << 20
    ) -> Iterator[tuple[int, Codes]]:
        """Yield (number of its first record, codes) for consecutive blocks of at most about `block_bytes`.

        Larger blocks than the usual ones are slower: the system clears fresh memory for each.

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last; a `stop` of None: up to the end.
        block_bytes : int
            Bytes of a block as stored; one record is the least.

        Yields
        ------
        int, array (records, channels, record length)
            Number of the block's first record, and its samples as stored.
        """
        last = self.records if stop is None else stop
        a_record = max(1, len(self.channels) * self.record_length * self.dtype.itemsize)
        step = max(1, block_bytes // a_record)
        for start in range(first, last, step):
            yield start, self.codes(start, min(start + step, last))

    def offset_known(self, channel: int, records: Records = EVERY) -> NDArray[np.bool_]:
        """Return, for each record, whether the channel's module timed its trigger, shape (records,).

        Parameters
        ----------
        channel : int
            Place of the channel, from 0.
        records : slice or int array
            Numbers of the records; all if left out.
        """
        return np.isfinite(self.trigger_offset[records, self.module_of[channel]])

    def first_sample_time(self, channel: int, records: Records = EVERY) -> Floats:
        """Return the time of sample 0 of each record from that record's trigger, seconds, shape (records,).

        −pre_trigger·Ts + offset[r, module] − delay; an unknown offset counts as Ts/2 (JCGM 100:2008, 4.3.7).

        Parameters
        ----------
        channel : int
            Place of the channel, from 0.
        records : slice or int array
            Numbers of the records; all if left out.
        """
        offset = self._offset_or_half(self.trigger_offset[records, self.module_of[channel]])
        result: Floats = offset - self.pre_trigger / self.sample_rate - self.channels[channel].delay
        return result

    def first_sample_times(self, record: int) -> Floats:
        """Return the time of sample 0 of one record on each channel, seconds, shape (channels,): see above.

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        """
        offset = self._offset_or_half(self.trigger_offset[record, self.module_of])
        result: Floats = offset - self.pre_trigger / self.sample_rate - np.array([c.delay for c in self.channels])
        return result

    def _offset_or_half(self, offset: Floats) -> Floats:
        half: Floats = np.where(np.isfinite(offset), offset, self.sample_interval / 2)
        return half

    def trigger_u(self, channel: int, records: Records = EVERY) -> Floats:
        """Return the standard uncertainty of `first_sample_time`, seconds: Ts/√12 where the trigger was not timed.

        Parameters
        ----------
        channel : int
            Place of the channel, from 0.
        records : slice or int array
            Numbers of the records; all if left out.

        Returns
        -------
        array (records,)
            Seconds; 0 where the trigger was timed.
        """
        return np.where(self.offset_known(channel, records), 0.0, self.sample_interval / np.sqrt(12.0))

    def times(self, record: int, channel: int) -> Floats:
        """Return the time of every sample from that record's trigger, seconds, shape (record length,).

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        channel : int
            Place of the channel, from 0.
        """
        start = self.first_sample_times(record)[channel]
        result: Floats = start + np.arange(self.record_length) / self.sample_rate
        return result

    def close(self) -> None:
        """Give back the file."""
        self._source.close()

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
