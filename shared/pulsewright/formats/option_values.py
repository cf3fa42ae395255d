"""How options are read and written: counts, rates, end codes, one value for all channels or one for each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from pulsewright.errors import RecordingError, SettingError
from pulsewright.formats.sample_types import NO_END_CODE
from pulsewright.quantity import engineering, parse_number


def for_each(text: str, names: Sequence[str], parse: Callable[[str, int], Any]) -> list[Any]:
    """Read one value for all channels, or one for each.

    Parameters
    ----------
    text : str
        ``"1 mV"``, or as many values as channels with commas between them.
    names : sequence of str
        The channels.
    parse : callable
        Reads one value, told the place of its channel.

    Raises
    ------
    RecordingError
        If there is another number of values.
    """
    parts = [part.strip() for part in text.split(",")]
    if len(parts) == 1:
        parts *= len(names)
    if len(parts) != len(names):
        raise RecordingError(
            f"{text[:60]!r} has {len(parts):,} values for {len(names)} channels", "give one, or one for each"
        )
    return [parse(part, place) for place, part in enumerate(parts)]


def shown_for_each(parts: Sequence[str]) -> str:
    """Write values as `for_each` reads them: one where all are the same.

    Parameters
    ----------
    parts : sequence of str
        One for each channel.
    """
    return parts[0] if len(set(parts)) == 1 else ",".join(parts)


def whole_number(text: str) -> int:
    """Read a count, 0 or more.

    Parameters
    ----------
    text : str
        Digits; blanks, commas and underscores between them are passed over.

    Raises
    ------
    ValueError
        If it is none.
    """
    number = int(text.replace(",", "").replace("_", "").replace(" ", ""))
    if not 0 <= number < 1 << 62:
        raise ValueError(text)
    return number


def parse_rate(text: str) -> float:
    """Read a sample rate, or a sample interval such as ``"40 ns"``, in hertz.

    Parameters
    ----------
    text : str
        A number with or without a unit.

    Raises
    ------
    SettingError
        If it is no number, or not above 0, or its reciprocal is not finite.
    """
    seconds = text.rstrip().endswith("s") and not text.rstrip().endswith("/s")
    value = parse_number(text, "s" if seconds else "Hz", "sample rate")
    rate = 1.0 / value if seconds and value else value
    if not (rate > 0 and np.isfinite(rate) and np.isfinite(1.0 / rate)):
        raise SettingError(f"sample rate: {text!r} is no rate above 0", 'write it like "25 MHz"')
    return rate


def show_rate(rate: float) -> str:
    """Write a sample rate so that it is read back to the last bit.

    Parameters
    ----------
    rate : float
        Hertz.
    """
    short = engineering(rate, "Hz", 12)
    return short if parse_number(short, "Hz") == rate else f"{rate!r} Hz"


def parse_ends(text: str) -> tuple[int, int]:
    """Read end codes: ``"-2048 .. 2047"``, or ``"none"``.

    Parameters
    ----------
    text : str
        Two whole numbers, or ``none``.

    Raises
    ------
    ValueError
        If they are no whole numbers, or the second is not above the first.
    """
    if text == "none":
        return -NO_END_CODE, NO_END_CODE
    low, high = (int(part) for part in text.split(".."))
    if not -NO_END_CODE <= low < high <= NO_END_CODE:
        raise ValueError(text)
    return low, high


def show_ends(ends: tuple[int, int]) -> str:
    """Write end codes as `parse_ends` reads them.

    Parameters
    ----------
    ends : (int, int)
        Lowest and highest.
    """
    return "none" if ends == (-NO_END_CODE, NO_END_CODE) else f"{ends[0]} .. {ends[1]}"
