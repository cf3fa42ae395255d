"""Pulses that a person rejected: taken out of what was found before anything is made of it."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.pulse_results import orders_of
from pulsewright_analysis.results import Bools, Pulses


def without_rejected(pulses: Pulses, session: Session, settings: Settings) -> tuple[Pulses, Pulses]:
    """Return the pulses without those that a person rejected, and these.

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
    return (pulses, _kept(pulses, ~keep)) if np.all(keep) else (_kept(pulses, keep), _kept(pulses, ~keep))


def _kept(pulses: Pulses, keep: Bools) -> Pulses:
    """Return some of the pulses, those of one record and channel counted anew."""

    def cut(values: Any) -> Any:
        if isinstance(values, dict):
            return {name: cut(column) for name, column in values.items()}
        # what was never measured is an empty array, not one for each pulse
        return values[keep] if isinstance(values, np.ndarray) and len(values) == len(keep) else values

    kept = replace(pulses, **{entry.name: cut(getattr(pulses, entry.name)) for entry in fields(pulses)})
    return replace(kept, order=orders_of(kept.record, kept.channel))


def rejected_reason(rejected: Pulses, session: Session) -> list[str]:
    """Return the sentence that tells of pulses rejected by hand; none where none was found.

    Parameters
    ----------
    rejected : Pulses
        Those that were taken out.
    session : Session
    """
    gone = len(rejected)
    if gone == 0:
        return []
    where = f"record {rejected.record[0]}, {session.channels[int(rejected.channel[0])].name}"
    counted = "1 pulse was" if gone == 1 else f"{gone} pulses were"
    return [f"{counted} rejected by hand and took no part: {where}{' and others' if gone > 1 else ''}."]
