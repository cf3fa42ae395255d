"""Pulses that a person rejected: taken out of what was found before anything is made of it."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import Bools, Pulses


def without_rejected(pulses: Pulses, session: Session, settings: Settings) -> tuple[Pulses, int]:
    """Return the pulses without those that a person rejected, and how many these were.

    Parameters
    ----------
    pulses : Pulses
        As they were found, sorted by record.
    session : Session
    settings : Settings
        Each of its `rejected_pulses` names a sample: the pulse of that record and channel around it goes, whatever
        threshold or span it was found by.

    Raises
    ------
    SettingError
        If a channel that is named is not in the session.
    """
    keep = np.ones(len(pulses), dtype=bool)
    for record, name, sample in settings.rejected_pulses:
        channel = session.channel_index(name)
        start, stop = np.searchsorted(pulses.record, [record, record + 1])
        here = slice(int(start), int(stop))
        around = (pulses.first_sample[here] <= sample) & (sample <= pulses.last_sample[here])
        keep[here] &= ~(around & (pulses.channel[here] == channel))
    gone = int(np.count_nonzero(~keep))
    return (_kept(pulses, keep), gone) if gone else (pulses, 0)


def _kept(pulses: Pulses, keep: Bools) -> Pulses:
    """Return some of the pulses, those of one record and channel counted anew."""

    def cut(values: Any) -> Any:
        if isinstance(values, dict):
            return {name: cut(column) for name, column in values.items()}
        # what was never measured is an empty array, not one for each pulse
        return values[keep] if isinstance(values, np.ndarray) and len(values) == len(keep) else values

    kept = replace(pulses, **{entry.name: cut(getattr(pulses, entry.name)) for entry in fields(pulses)})
    fresh = np.ones(len(kept), dtype=bool)
    fresh[1:] = (np.diff(kept.record) != 0) | (np.diff(kept.channel) != 0)
    order = np.arange(len(kept)) - np.maximum.accumulate(np.where(fresh, np.arange(len(kept)), 0))
    return replace(kept, order=order)


def rejected_reason(gone: int, settings: Settings) -> list[str]:
    """Return the sentence that tells of pulses rejected by hand; none where none was found.

    Parameters
    ----------
    gone : int
        How many pulses were taken out.
    settings : Settings
        They name the pulses.
    """
    if not gone:
        return []
    record, channel, _ = settings.rejected_pulses[0]
    counted = "1 pulse was" if gone == 1 else f"{gone} pulses were"
    where = f"record {record}, {channel}"
    return [f"{counted} rejected by hand and took no part: {where}{' and others' if gone > 1 else ''}."]
