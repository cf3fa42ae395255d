"""How many equal intervals lie between two markers, by the pulses that were found between them."""

from __future__ import annotations

import numpy as np

from pulsewright_analysis.results import Findings, Floats

_OFF = 0.25
"""An instant this far from its place among equal intervals, in intervals, does not belong to them."""


def intervals_between(findings: Findings, record: int, channel: int, low: float, high: float) -> int | None:
    """Return how many intervals the pulses of a record and channel that lie in a stretch make: one less than pulses.

    Parameters
    ----------
    findings : Findings
    record, channel : int
        Where the pulses are.
    low, high : float
        The stretch, seconds from the record's trigger.

    Returns
    -------
    int or None
        From 1 up; None below two pulses.
    """
    there = _times(findings, record, channel)
    count = int(np.count_nonzero((there >= low) & (there <= high)))
    return count - 1 if count > 1 else None


def intervals_across(
    findings: Findings, record: int, channels: tuple[int, int], times: tuple[float, float], reach: float
) -> int | str:
    """Return how many equal intervals the pulses of two channels make from a marker on one to a marker on the other.

    Pulses of both channels that lie within `reach` of each other count as one instant: one event that both heard.

    Parameters
    ----------
    findings : Findings
    record : int
        Where the pulses are.
    channels : (int, int)
        Place of each marker's channel.
    times : (float, float)
        Where the markers stand, seconds from the record's trigger.
    reach : float
        Seconds from a pulse within which a marker stands on it.

    Returns
    -------
    int or str
        From 1 up; or the reason why there is none, as a clause.
    """
    of_channels = [_times(findings, record, channel) for channel in channels]
    for channel, time, there in zip(channels, times, of_channels, strict=True):
        if not np.any(np.abs(there - time) <= reach):
            return f"a marker stands on no pulse of {findings.channel_name(channel)} in record {record}"
    first, last = sorted(times)
    together = np.sort(np.concatenate(of_channels))
    between = together[(together > first + reach) & (together < last - reach)]
    fresh = np.diff(between, prepend=-np.inf) > reach
    instants = between[fresh]
    count = len(instants) + 1
    places = (instants - first) / (last - first) * count if last > first else instants
    if np.any(np.abs(places - np.arange(1, count)) > _OFF):
        names = " and ".join(findings.channel_name(channel) for channel in channels)
        return f"the pulses of {names} between its markers are not equally spaced in record {record}"
    return count


def _times(findings: Findings, record: int, channel: int) -> Floats:
    """Return where the pulses of a record and channel are that have a position, seconds, rising."""
    times: Floats = findings.pulses.time[findings.pulses.where(record, channel)]
    return times[np.isfinite(times)]
