"""Cable delays that a person gives, channel by channel, in place of those that the session's file holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from pulsewright.errors import SettingError
from pulsewright.minus import quoted
from pulsewright.quantity import parse_number

Delays = tuple[tuple[str, float], ...]
"""Channel and seconds, each channel once, by name."""

HOW = 'write it like "H03=12 ns"'


def read_delays(name: str, raw: Any) -> Delays:
    """Return cable delays from what a person wrote.

    Parameters
    ----------
    name : str
        What the setting is called, for what is said of a value that cannot be used.
    raw : object
        A table of channel to delay; ``"H03=12 ns, H04=3 ns"``; or a list of such texts or of pairs.

    Returns
    -------
    tuple of (str, float)
        Channel and seconds, by name.

    Raises
    ------
    SettingError
        For what is no delay, is a second or more, or is given twice for one channel.
    """
    found: dict[str, float] = {}
    for channel, delay in _entries(name, raw):
        if channel in found:
            raise SettingError(f"{name}: the delay of {channel} is given twice", "leave one of them out")
        found[channel] = read_delay(f"{name}: {channel}", delay, f"{channel}=12 ns")
    return tuple(sorted(found.items()))


def read_delay(name: str, raw: Any, example: str = "12 ns") -> float:
    """Return one cable delay in seconds.

    Parameters
    ----------
    name : str
        What it is called, for what is said of a value that cannot be used.
    raw : object
        A number with its unit.
    example : str
        How it is written.

    Raises
    ------
    SettingError
        For what is no delay, or is a second or more, as what is written without its unit is.
    """
    seconds = parse_number(raw, "s", name)
    if abs(seconds) >= 1.0:
        raise SettingError(f"{name}: {quoted(raw)} is a second or more", f'write the unit with it, like "{example}"')
    return seconds


def combined(below: Delays, above: Delays) -> Delays:
    """Return the delays of two layers together: for a channel that both name, `above` counts.

    Parameters
    ----------
    below, above : tuple of (str, float)
        Channel and seconds.
    """
    return tuple(sorted({**dict(below), **dict(above)}.items()))


def _entries(name: str, raw: Any) -> Iterable[tuple[str, Any]]:
    if isinstance(raw, Mapping):
        raw = list(raw.items())
    if isinstance(raw, str):
        raw = raw.split(",")
    if not isinstance(raw, list | tuple):
        raise SettingError(f"{name}: {quoted(raw)} is no list of channels with their delays", HOW)
    for entry in raw:
        if isinstance(entry, str):
            channel, equals, delay = entry.rpartition("=")
            pair: tuple[Any, ...] = (channel, delay.strip()) if equals else ()
        else:
            pair = tuple(entry) if isinstance(entry, list | tuple) else ()
        if len(pair) != 2 or not isinstance(pair[0], str) or not pair[0].strip():
            raise SettingError(f"{name}: {quoted(entry)} is no channel with its delay", HOW)
        yield pair[0].strip(), pair[1]
