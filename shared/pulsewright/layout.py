"""Layout 1 of the session file, statement by statement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from pulsewright.hdf5_checks import CheckedFile, guarded
from pulsewright.minus import as_shown, quoted
from pulsewright.session import Channel, Floats

__all__ = ["BRING_IN", "LAYOUT", "LAYOUT_VERSION", "SAMPLE_TYPES", "Content", "LayoutReader", "guarded"]

BRING_IN = "bring it in with pulsewright convert, or with Import on the desk"
"""What to do with a file that is no session file."""
LAYOUT = "pulsewright-session"
LAYOUT_VERSION = 1
SAMPLE_TYPES = ("int8", "uint8", "int16", "uint16", "int32", "float32")
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Content:
    """What a session file says, samples aside.

    Attributes
    ----------
    samples : h5py.Dataset
        The samples, not read.
    samples_at : int or None
        Bytes from the start of the file to the first sample; None unless they lie in one piece.
    shape : tuple of int
        Records, channels, record length.
    stored_dtype : dtype
        Of a sample, in the file's byte order.
    sample_rate, pre_trigger, channels, modules, trigger_time, trigger_offset
        As for `Session`.
    texts : dict
        ``title``, ``notes``, ``origin``, ``created``.
    """

    samples: Any
    samples_at: int | None
    shape: tuple[int, int, int]
    stored_dtype: np.dtype[Any]
    sample_rate: float
    pre_trigger: int
    channels: tuple[Channel, ...]
    modules: tuple[str, ...]
    trigger_time: Floats
    trigger_offset: Floats
    texts: dict[str, str]


class LayoutReader(CheckedFile):
    """Reads a session file in the order of its layout, and stops at the first thing that is wrong."""

    def content(self) -> Content:
        """Return what the file says.

        Raises
        ------
        SessionFileError
            With the first thing that is wrong and its place.
        """
        try:
            return self._checked_content()
        finally:
            self.close_texts()

    def _checked_content(self) -> Content:
        self._layout()
        sample_rate = self._sample_rate()
        pre_trigger = self._pre_trigger()
        texts = self._texts()
        samples = self._samples()
        shape = (int(samples.shape[0]), int(samples.shape[1]), int(samples.shape[2]))
        if pre_trigger > shape[2]:
            self.fail("attribute pre_trigger", f"is {pre_trigger}, but a record has only {shape[2]} samples")
        channels = self._channels(shape[1])
        modules = self._modules(shape, channels)
        time = self._triggers("/triggers/time", shape[0], modules)
        self._check_times(time)
        offset = self._triggers("/triggers/offset", shape[0], modules)
        self._check_offsets(offset, 1.0 / sample_rate)
        return Content(
            samples, self._in_one_piece(samples), shape, samples.dtype, sample_rate, pre_trigger,
            channels, modules, time, offset, texts,
        )  # fmt: skip

    def _layout(self) -> None:
        layout = self.attribute("layout", text=True)
        if layout != LAYOUT:
            found = "is missing" if layout is None else f"is {layout!r}"
            self.fail("attribute layout", f"{found}, so it is not a Pulsewright session file", BRING_IN)
        version = self.attribute("layout_version")
        if version is None:
            self.fail("attribute layout_version", "is missing", "a session file needs it")
        if version != LAYOUT_VERSION:
            self.fail("attribute layout_version", f"is {quoted(version)}, and this Pulsewright reads {LAYOUT_VERSION}")

    def _number(self, key: str, dtype: str) -> Any:
        value = self.attribute(key)
        if value is None:
            self.fail(f"attribute {key}", "is missing", "a session file needs it")
        if value.dtype.newbyteorder("=") != np.dtype(dtype):
            self.fail(f"attribute {key}", f"is {value.dtype.name}, not {dtype}")
        return value

    def _sample_rate(self) -> float:
        rate = float(self._number("sample_rate", "float64"))
        # a rate so small that one sample lasts for ever is as useless as 0
        if not (rate > 0 and np.isfinite(rate) and np.isfinite(1 / rate)):
            self.fail("attribute sample_rate", f"is {as_shown(f'{rate:g}')} Hz", "it must be above 0 and finite")
        return rate

    def _pre_trigger(self) -> int:
        pre_trigger = int(self._number("pre_trigger", "int64"))
        if pre_trigger < 0:
            self.fail("attribute pre_trigger", f"is {quoted(pre_trigger)}", "it counts samples from 0 up")
        return pre_trigger

    def _texts(self) -> dict[str, str]:
        texts = {
            parameter: self.attribute(key, text=True) or ""
            for parameter, key in (
                ("title", "title"), ("notes", "notes"), ("origin", "source"), ("created", "created"),
            )
        }  # fmt: skip
        if texts["created"]:
            try:
                datetime.fromisoformat(texts["created"])
            except ValueError:
                self.fail(
                    "attribute created",
                    f"is {texts['created']!r}, no date in ISO 8601",
                    'write it like "2031-04-12T09:30:00+02:00"',
                )
        return texts

    def _samples(self) -> Any:
        place = "/samples"
        samples = self.dataset(place)
        with guarded(self.name, place):
            stored = samples.dtype.newbyteorder("=").name if self.is_number(samples) else None
            if stored not in SAMPLE_TYPES:
                self.fail(place, f"is {self.type_name(samples)}", f"it must be one of {', '.join(SAMPLE_TYPES)}")
            if len(samples.shape) != 3:
                self.fail(place, f"has shape {samples.shape}, not (records, channels, record length)")
            for size, what in zip(samples.shape, ("records", "channels", "samples in a record"), strict=True):
                if size == 0:
                    self.fail(place, f"holds 0 {what}", "a session needs at least one")
            self.check_storage(place, samples)
            return samples

    def _in_one_piece(self, samples: Any) -> int | None:
        """Return where contiguous samples start, if they lie there exactly as NumPy would lay them."""
        from h5py import h5d, h5t

        with guarded(self.name, "/samples"):
            if samples.id.get_create_plist().get_layout() != h5d.CONTIGUOUS:
                return None
            if not samples.id.get_type().equal(h5t.py_create(samples.dtype)):
                return None
            start = samples.id.get_offset()
            return None if start is None else int(start)

    def _column(self, place: str, count: int, *, optional: bool = False) -> Any:
        column = self.dataset(place, optional=optional)
        if column is not None and column.shape != (count,):
            found = f"{column.shape[0]} values" if len(column.shape) == 1 else f"shape {column.shape}"
            self.fail(place, f"has {found} for {count} channels", "give one value for each channel")
        return column

    def _channel_texts(self, key: str, count: int) -> list[str]:
        place = f"/channels/{key}"
        return self.texts(place, self._column(place, count))

    def _channel_numbers(self, key: str, count: int, dtype: str, names: Sequence[str]) -> list[Any]:
        place = f"/channels/{key}"
        values = self.numbers(place, self._column(place, count), dtype)
        for name, value in zip(names, values, strict=True):
            if not np.isfinite(value):
                self.fail(place, f"is {quoted(value)} for channel {name}", "it must be a finite number")
        result: list[Any] = values.tolist()
        return result

    def _channels(self, count: int) -> tuple[Channel, ...]:
        names = self._channel_texts("name", count)
        self._check_unique("/channels/name", names, "channel")
        modules = self._channel_texts("module", count)
        unit = self._column("/channels/unit", count, optional=True)
        units = ["V"] * count if unit is None else self.texts("/channels/unit", unit)
        scales = self._channel_numbers("scale", count, "float64", names)
        for name, scale in zip(names, scales, strict=True):
            if scale == 0:
                self.fail("/channels/scale", f"is 0 for channel {name}", "give its units per code")
        offsets = self._channel_numbers("offset", count, "float64", names)
        lowest = self._channel_numbers("lowest_code", count, "int64", names)
        highest = self._channel_numbers("highest_code", count, "int64", names)
        for name, low, high in zip(names, lowest, highest, strict=True):
            if low >= high:
                self.fail(
                    "/channels/highest_code",
                    f"is {quoted(high)} for channel {name}, whose lowest code is {quoted(low)}",
                )
        delays = self._channel_numbers("delay", count, "float64", names)
        columns = zip(names, modules, units, scales, offsets, lowest, highest, delays, strict=True)
        return tuple(Channel(*row) for row in columns)

    def _check_unique(self, place: str, names: Sequence[str], what: str) -> None:
        seen: dict[str, int] = {}
        for index, name in enumerate(names):
            if not name.strip():
                self.fail(place, f"has no name for {what} number {index}", f"name every {what}")
            if name in seen:
                self.fail(place, f"holds {name!r} at {seen[name]} and at {index}", f"name every {what} differently")
            seen[name] = index

    def _modules(self, shape: tuple[int, int, int], channels: Sequence[Channel]) -> tuple[str, ...]:
        place = "/modules/name"
        used = tuple(dict.fromkeys(channel.module for channel in channels))
        column = self.dataset(place, optional=True)
        if column is None:
            return used
        if len(column.shape) != 1:
            self.fail(place, f"has shape {column.shape}, not (modules,)")
        # every record carries a time for every module in memory: a small file must not ask for a large table
        if column.shape[0] * shape[0] > max(self.length, 1 << 20):
            self.fail(place, f"names {column.shape[0]:,} modules for {len(channels)} channels", "name those in use")
        names = self.texts(place, column)
        self._check_unique(place, names, "module")
        for channel in channels:
            if channel.module not in names:
                self.fail("/channels/module", f"is {channel.module!r} for channel {channel.name}, not in {place}")
        return tuple(names)

    def _triggers(self, place: str, records: int, modules: Sequence[str]) -> Floats:
        table = self.dataset(place)
        wanted = ((records,), (records, len(modules)))
        if table.shape not in wanted:
            self.fail(place, f"has shape {table.shape}, not {wanted[0]} or {wanted[1]}", "one row for each record")
        values: Floats = self.numbers(place, table, "float64")
        infinite = np.isinf(values)
        if infinite.any():
            record = int(np.nonzero(infinite)[0][0])
            self.fail(place, f"is infinite for record {record}", "write NaN where it is not known")
        return values

    def _check_times(self, times: Floats) -> None:
        place = "/triggers/time"
        for column in times.reshape(len(times), -1).T:
            known = np.flatnonzero(np.isfinite(column))
            seconds = column[known]
            if known.size and seconds[0] < 0:
                self.fail(
                    place,
                    f"is {as_shown(f'{seconds[0]:g}')} s for record {known[0]}",
                    "it counts from the first trigger",
                )
            falling = np.flatnonzero(np.diff(seconds) < 0)
            if falling.size:
                before, after = known[falling[0]], known[falling[0] + 1]
                self.fail(
                    place,
                    f"goes back from {as_shown(f'{column[before]:.9g}')} s in record {before} "
                    f"to {as_shown(f'{column[after]:.9g}')} s in record {after}",
                    "records must be in the order of their triggers",
                )

    def _check_offsets(self, offsets: Floats, sample_interval: float) -> None:
        room = _ROUNDING * sample_interval
        wrong = (offsets < -room) | (offsets >= sample_interval + room)  # NaN is neither
        if wrong.any():
            at = tuple(int(axis[0]) for axis in np.nonzero(wrong))
            self.fail(
                "/triggers/offset",
                f"is {as_shown(f'{offsets[at]:g}')} s for record {at[0]}",
                f"it must be from 0 up to one sample interval, {sample_interval:g} s",
            )
