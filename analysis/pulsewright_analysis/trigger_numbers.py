"""Which trigger each record of each module belongs to: what no module kept is missed, what one alone lost is a slip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pulsewright.long_columns import blocks_of
from pulsewright_analysis.results import MissedTrigger, Slip, Witness
from pulsewright_analysis.witnesses import UNKNOWN, Decision, Statements, decide

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

WITNESSES: tuple[Witness, ...] = ("position", "polarity", "time")
NOTHING_MISSING = Decision(0, (), ())


@dataclass(frozen=True)
class Numbering:
    """Every module's records counted in triggers.

    Attributes
    ----------
    missed : tuple of MissedTrigger
        Triggers that no module kept.
    slips : tuple of Slip
        Triggers that a module lost while another kept them, counted up over the run.
    in_step : bool array (records, modules)
        Whether the module's record belongs to the same trigger as most modules' records.
    disputes : tuple of str
        A sentence for each gap that the witnesses disagree about.
    """

    missed: tuple[MissedTrigger, ...]
    slips: tuple[Slip, ...]
    in_step: Bools
    disputes: tuple[str, ...]


@dataclass(frozen=True)
class _Count:
    """One module's records in triggers; `known` where a witness ties a record to the one before."""

    number: Ints
    known: Bools
    decisions: tuple[Decision, ...]


def number_triggers(
    records: Ints, told: Mapping[int, Statements], modules: Sequence[str], leading: int, shared_time: bool
) -> Numbering:
    """Count every module's records in triggers, and compare the modules.

    Parameters
    ----------
    records : int array (records,)
        Record numbers, rising.
    told : mapping of module to Statements
        What each module's witnesses say of the gaps between them.
    modules : sequence of str
        Names.
    leading : int
        The module whose record numbers places are told in.
    shared_time : bool
        Whether one trigger time served all modules: it then says nothing of one module alone.

    Returns
    -------
    Numbering
        All modules are taken to begin with the same trigger; one whose witnesses never speak is taken to be in step.
    """
    decisions = _decisions(records, told, shared_time)
    counts = {module: _counted(records, made) for module, made in decisions.items()}
    counts = {module: count for module, count in counts.items() if np.any(count.known)}
    if not counts:
        return Numbering((), (), np.ones((len(records), len(modules)), dtype=bool), ())
    kept = _kept(counts)
    teller = leading if leading in counts else next(iter(counts))
    return Numbering(
        missed=_missed(records, counts, kept, teller),
        slips=tuple(slip for module, count in counts.items() for slip in _slips(records, count, kept, modules[module])),
        in_step=_in_step(len(records), counts, len(modules)),
        disputes=_disputes(records, decisions, told, modules),
    )


def _decisions(records: Ints, told: Mapping[int, Statements], shared_time: bool) -> dict[int, tuple[Decision, ...]]:
    """Return each module's decision about each gap; one time for all speaks only where the modules agree."""
    full = {module: _decided(statements) for module, statements in told.items()}
    if not shared_time or len(told) < 2:
        return full
    silent = {m: replace(s, time=np.full_like(s.time, UNKNOWN)) for m, s in told.items()}
    alone = {module: _decided(statements) for module, statements in silent.items()}
    for gap in range(max(len(records) - 1, 0)):
        said = {made[gap].count for made in alone.values() if made[gap].count is not None}
        if len(said) > 1:
            full = {m: (*made[:gap], alone[m][gap], *made[gap + 1 :]) for m, made in full.items()}
    return full


def _decided(statements: Statements) -> tuple[Decision, ...]:
    """Return the decision about every gap; where all who know say that nothing is missing, there is none to make."""
    said = np.stack([statements.position, statements.polarity, statements.time])
    quiet = np.all((said == 0) | (said == UNKNOWN), axis=0) & np.any(said == 0, axis=0)
    return tuple(NOTHING_MISSING if quiet[gap] else decide(statements, gap) for gap in range(said.shape[1]))


def _counted(records: Ints, decisions: Sequence[Decision]) -> _Count:
    missing = np.array([decision.count or 0 for decision in decisions], dtype=np.int64)
    number = records[0] + np.concatenate([[0], np.cumsum(np.diff(records) + missing)])
    known = np.array([decision.count is not None for decision in decisions], dtype=bool)
    return _Count(number, np.concatenate([[bool(np.any(known))], known]), tuple(decisions))


def _kept(counts: Mapping[int, _Count]) -> Ints:
    """Return the triggers that some module kept, rising.

    A record without witnesses counts for its supposed trigger only where no other module knows better.
    """
    somebody = np.any([count.known for count in counts.values()], axis=0)
    return np.unique(np.concatenate([count.number[count.known | ~somebody] for count in counts.values()]))


def _missed(records: Ints, counts: Mapping[int, _Count], kept: Ints, teller: int) -> tuple[MissedTrigger, ...]:
    missing = np.setdiff1d(np.arange(kept[0], kept[-1] + 1), kept)
    # a record that a person left out was kept all the same
    missing = missing[~_left_out(missing, records, counts[teller])]
    before = np.searchsorted(counts[teller].number, missing) - 1
    found = []
    for place in np.unique(before):
        group = missing[before == place]
        found.append(MissedTrigger(int(records[max(place, 0)]), len(group), _seen(counts, int(group[0]))))
    return tuple(found)


def _left_out(missing: Ints, records: Ints, count: _Count) -> Bools:
    """Return which triggers fall on records between those measured: first the records left out, then the missing."""
    before = np.clip(np.searchsorted(count.number, missing) - 1, 0, len(records) - 2) if len(records) > 1 else missing
    if len(records) < 2:
        return np.zeros(len(missing), dtype=bool)
    room = np.diff(records)[before] - 1
    left_out: Bools = missing - count.number[before] <= room
    return left_out


def _seen(counts: Mapping[int, _Count], trigger: int) -> tuple[Witness, ...]:
    """Return the witnesses of any module that saw the gap in which a trigger is missing."""
    seen: set[Witness] = set()
    for count in counts.values():
        gap = int(np.searchsorted(count.number, trigger)) - 1
        if 0 <= gap < len(count.decisions):
            seen.update(count.decisions[gap].seen_in)
    return tuple(witness for witness in WITNESSES if witness in seen)


def _slips(records: Ints, count: _Count, kept: Ints, name: str) -> list[Slip]:
    """Return where the module lost triggers that another kept, with how many it lost so far."""
    known = np.flatnonzero(count.known)
    number = count.number[known]
    others = np.searchsorted(kept, number[1:]) - np.searchsorted(kept, number[:-1], side="right")
    alone = others - (np.diff(known) - 1)
    after = np.flatnonzero(alone > 0)
    lost = np.cumsum(alone[after]).tolist()
    return [Slip(name, record, by) for record, by in zip(records[known[after + 1]].tolist(), lost, strict=True)]


def _in_step(records: int, counts: Mapping[int, _Count], modules: int) -> Bools:
    result = np.ones((records, modules), dtype=bool)
    told = sorted(counts)
    for some in blocks_of(records):
        numbers = np.stack([counts[module].number[some] for module in told], axis=1)
        agreeing = np.sum(numbers[:, :, None] == numbers[:, None, :], axis=2)
        # where as many agree on one trigger as on another, the one that the first of them names
        usual = numbers[np.arange(len(numbers)), np.argmax(agreeing, axis=1)]
        result[some, told] = numbers == usual[:, None]
    return result


def _disputes(
    records: Ints, decisions: Mapping[int, Sequence[Decision]], told: Mapping[int, Statements], modules: Sequence[str]
) -> tuple[str, ...]:
    """Return a sentence for each distinct disagreement between the witnesses of a gap: who says what."""
    found = []
    for gap in range(max(len(records) - 1, 0)):
        sentences: dict[str, list[str]] = {}
        for module, made in decisions.items():
            decision = made[gap]
            if decision.against:
                text = f"{_who_says_what(told[module], gap)}; {decision.count} missed is taken"
                sentences.setdefault(text, []).append(modules[module])
        found += [
            f"After record {records[gap]} the witnesses disagree: {text} ({', '.join(names)})."
            for text, names in sentences.items()
        ]
    return tuple(found)


def _who_says_what(statements: Statements, gap: int) -> str:
    """Return what every witness that knows says is missing, with what it can count to."""
    said = {
        "position": (int(statements.position[gap]), statements.cycle),
        "polarity": (int(statements.polarity[gap]), statements.pattern),
        "time": (int(statements.time[gap]), None),
    }
    return ", ".join(
        f"{name} says {count}" + (f" (or {modulus} more)" if modulus else "")
        for name, (count, modulus) in said.items()
        if count != UNKNOWN
    )
