"""How long a record may be, and what is left between records, in exact rational arithmetic."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from pulsewright.errors import SettingError
from pulsewright.quantity import exact

Number = str | float | Fraction

ROUNDING = Fraction(1, 10**6)
"""Share of a sample by which a measured period may miss a whole number of them through binary rounding."""


@dataclass(frozen=True)
class Plan:
    """What a sample rate, a trigger period and a record length leave between records.

    Attributes
    ----------
    record_length : int
        N, samples; the longest that fits if none was asked for.
    record_duration_s : float
        N·Ts, seconds.
    dead_time_s : float
        From the end of a record to the earliest start of the next, T − N·Ts, seconds; negative where they
        overlap.
    dead_time_samples : int
        Whole sample intervals in it, rounded down.
    longest_record_samples : int
        The longest record that keeps every trigger.
    wait_s : float
        From the end of a record to the next trigger, T − (N − pre-trigger)·Ts, seconds.
    re_arm_margin_s : float
        What the dead time leaves beyond the re-arm time, seconds; negative where it is too short.
    keeps_one_trigger_in : int
        1 where every trigger is kept.
    """

    record_length: int
    record_duration_s: float
    dead_time_s: float
    dead_time_samples: int
    longest_record_samples: int
    wait_s: float
    re_arm_margin_s: float
    keeps_one_trigger_in: int


def longest_record(shortest_period: Number, re_arm: Number, sample_rate: Number, asynchronous: bool = False) -> int:
    """Return the longest record that keeps every trigger, samples.

    Parameters
    ----------
    shortest_period, re_arm : str, float or Fraction
        The shortest time between two triggers, and what the recorder needs between two records; seconds. The
        pre-trigger is part of the record, so its refill is already counted.
    sample_rate : str, float or Fraction
        Hertz.
    asynchronous : bool
        Whether the trigger may fall anywhere between two samples: that costs one sample.

    Returns
    -------
    int
        floor((T − R)/Ts), less one where the trigger is asynchronous; 0 where nothing fits. A period given as
        a float counts as whole where it misses a whole number of samples by less than a millionth of one.

    Raises
    ------
    SettingError
        For a value that cannot be used.
    """
    available = exact(shortest_period, "s", "trigger period") - exact(re_arm, "s", "re-arm time")
    samples = available * exact(sample_rate, "Hz", "sample rate")
    if isinstance(shortest_period, float) and abs(samples - round(samples)) < ROUNDING:
        samples = Fraction(round(samples))
    return max(0, floor(samples) - int(asynchronous))


def plan(
    sample_rate: Number,
    trigger_period: Number,
    record_length: int | None = None,
    pre_trigger: int = 0,
    re_arm: Number = 0,
    asynchronous: bool = False,
) -> Plan:
    """Return what is left between records, and how long a record may be.

    Parameters
    ----------
    sample_rate : str, float or Fraction
        Hertz, or text like ``"25 MS/s"``.
    trigger_period, re_arm : str, float or Fraction
        Seconds, or text like ``"1.024 ms"``.
    record_length : int, optional
        Samples; the longest that fits if left out.
    pre_trigger : int
        How many of them precede the trigger.
    asynchronous : bool
        Whether the trigger may fall anywhere between two samples.

    Raises
    ------
    SettingError
        For a value that cannot be used, or where no record fits and no length is given.
    """
    rate = _above_zero(exact(sample_rate, "Hz", "sample rate"), "sample rate", sample_rate)
    period = _above_zero(exact(trigger_period, "s", "trigger period"), "trigger period", trigger_period)
    rest = exact(re_arm, "s", "re-arm time")
    if rest < 0:
        raise SettingError(f"re-arm time: {re_arm!r} is negative", "give a time from 0 up")
    longest = longest_record(period, rest, rate, asynchronous)
    length = _length(longest if record_length is None else record_length, record_length is None)
    if not 0 <= pre_trigger <= length:
        raise SettingError(
            f"pre-trigger: {pre_trigger} samples do not lie within a record of {length}",
            f"give a whole number from 0 to {length}",
        )
    duration = length / rate
    dead_time = period - duration
    return Plan(
        record_length=length,
        record_duration_s=float(duration),
        dead_time_s=float(dead_time),
        dead_time_samples=floor(dead_time * rate),
        longest_record_samples=longest,
        wait_s=float(period - (length - pre_trigger) / rate),
        re_arm_margin_s=float(dead_time - rest),
        keeps_one_trigger_in=ceil((duration + rest) / period),
    )


def _above_zero(value: Fraction, name: str, raw: Number) -> Fraction:
    if value <= 0:
        raise SettingError(f"{name}: {str(raw)!r} is not above 0", "give a value above 0")
    return value


def _length(length: int, found: bool) -> int:
    if length >= 1:
        return length
    if found:
        raise SettingError(
            "no record fits between two triggers",
            "lengthen the trigger period, shorten the re-arm time or raise the sample rate",
        )
    raise SettingError(f"record length: {length} is not above 0", "give a whole number of samples from 1 up")
