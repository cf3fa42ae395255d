"""Pulses that a person rejected: taken out of what was found before anything is made of it."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np

from pulsewright.long_columns import LongColumn, blocks_of, in_blocks
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.pulse_results import orders_of
from pulsewright_analysis.results import Bools, Ints, Pulses


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
    keep[_around(pulses, *_places(session, settings))] = False
    return (pulses, _kept(pulses, ~keep)) if np.all(keep) else (_kept(pulses, keep), _kept(pulses, ~keep))


def _places(session: Session, settings: Settings) -> tuple[Ints, Ints, Ints]:
    """Return record, channel and sample of each place where a person rejected what is found."""
    channels = {name: session.channel_index(name) for name in {name for _, name, _ in settings.rejected_pulses}}
    places = [(record, channels[name], sample) for record, name, sample in settings.rejected_pulses]
    record, channel, sample = np.array(places, dtype=np.int64).reshape(-1, 3).T
    return record, channel, sample


def _around(pulses: Pulses, record: Ints, channel: Ints, sample: Ints) -> Ints:
    """Return the pulses that some places lie in; of all places together, as there may be very many of both."""
    row = 1 + max(pulses.channel.max(initial=0), channel.max(initial=0))
    wanted = record * row + channel
    inside = [np.zeros(0, dtype=np.int64)]
    for some in blocks_of(len(pulses)) if len(pulses) and len(wanted) else ():
        trace = pulses.record[some] * row + pulses.channel[some]  # rising, as pulses are sorted
        here = (trace[0] <= wanted) & (wanted <= trace[-1])
        start, stop = (np.searchsorted(trace, wanted[here], side) for side in ("left", "right"))
        of_each = stop - start
        at = np.repeat(sample[here], of_each)
        pulse = some.start + np.arange(of_each.sum()) + np.repeat(start - np.cumsum(of_each) + of_each, of_each)
        inside.append(pulse[(pulses.first_sample[pulse] <= at) & (at <= pulses.last_sample[pulse])])
    return np.concatenate(inside)


def _kept(pulses: Pulses, keep: Bools) -> Pulses:
    """Return some of the pulses, those of one record and channel counted anew."""

    def cut(values: Any) -> Any:
        if isinstance(values, dict):
            return {name: cut(column) for name, column in values.items()}
        # what was never measured is an empty array, not one for each pulse
        if not isinstance(values, np.ndarray) or len(values) != len(keep):
            return values
        column = LongColumn()
        for some in blocks_of(len(keep)):
            column.add(values[some][keep[some]])
        return column.whole()

    kept = replace(pulses, **{entry.name: cut(getattr(pulses, entry.name)) for entry in fields(pulses)})

    def orders(some: slice) -> Ints:
        # from the first pulse of that record on: those before the block count too
        first = int(np.searchsorted(kept.record, kept.record[some.start])) if some.start < len(kept) else some.start
        return orders_of(kept.record[first : some.stop], kept.channel[first : some.stop])[some.start - first :]

    return replace(kept, order=in_blocks(len(kept), orders))


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
