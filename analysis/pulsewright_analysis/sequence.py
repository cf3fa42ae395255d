"""Was every trigger kept, on every module? Lattice of the walking pulse, missed triggers, slips, repeated records."""

from __future__ import annotations

from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pulsewright.budget import Term
from pulsewright.quantity import Quantity
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis import witnesses
from pulsewright_analysis.intervals import with_uniform_term
from pulsewright_analysis.lattice import NO_STOP, NOT_WALKING, Lattice, find_lattice
from pulsewright_analysis.lines import CorrelatedU, correlated_u
from pulsewright_analysis.polarity_pattern import find_pattern
from pulsewright_analysis.repeats import Repeats, find_repeats
from pulsewright_analysis.results import Polarity, Pulses, Sequence, Witness
from pulsewright_analysis.streaming import Check, unchecked
from pulsewright_analysis.trigger_numbers import WITNESSES, Numbering, number_triggers
from pulsewright_analysis.type_b import clock_term, position_terms
from pulsewright_analysis.validity import INCREMENT_REGION, too_few_in_place
from pulsewright_analysis.walks import Walk, leading_walk, statements_of, walk_on
from pulsewright_analysis.witnesses import Statements

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def measure_sequence(
    session: Session,
    channels: SequenceOf[int],
    records: Ints,
    pulses: Pulses,
    polarity: Polarity,
    settings: Settings,
    check: Check = unchecked,
) -> tuple[Sequence, list[str]]:
    """Return the sequence, and a sentence for everything that could not be told or is disputed.

    Parameters
    ----------
    session : Session
    channels : sequence of int
        Places of the channels that take part.
    records : int array
        Numbers of the records that take part, rising.
    pulses, polarity
        Of those channels and records.
    settings : Settings
        The telling channel; increment, cycle and number of triggers sent where known.
    check : callable
        As for `streaming.for_each`.

    Returns
    -------
    Sequence, list of str
    """
    leading = session.channel_index(settings.channel) if settings.channel else channels[0]
    module = int(session.module_of[leading])
    repeats = find_repeats(session, list(channels), records, check)
    walk = _without_stale(leading_walk(pulses, leading, records), repeats.stale[:, module])
    lattice = find_lattice(walk.position, walk.u, records, settings.increment, settings.cycle)
    told = {}
    for own, speaker in _speakers(session, channels, leading, polarity, records).items():
        period = witnesses.usual_period(session.trigger_time[records, own], records)
        mine = walk if speaker == leading else walk_on(lattice, pulses, speaker, records)
        told[own] = statements_of(session, mine, records, polarity, lattice, period, repeats.stale[:, own])
    numbering = number_triggers(records, told, session.modules, module, session.shared_time)
    sequence = _assembled(session, records, walk, lattice, numbering, repeats, polarity, settings)
    sequence = replace(sequence, said=_said(told, len(session.modules), max(len(records) - 1, 0)))
    reasons = [f"No increment on {session.channels[leading].name}: {lattice}."] if isinstance(lattice, str) else []
    if isinstance(lattice, Lattice) and _too_few(lattice):
        reasons = [
            f"No increment on {session.channels[leading].name}: "
            f"{too_few_in_place(int(np.count_nonzero(lattice.stop != NO_STOP)), INCREMENT_REGION.fewest_records)}."
        ]
    return sequence, [*reasons, *numbering.disputes, *_remarks(sequence, session, records)]


def _said(told: dict[int, Statements], modules: int, gaps: int) -> dict[Witness, Ints]:
    """Return what each witness of each module says, witness by witness, (gaps, modules)."""
    apart: dict[Witness, Ints] = {}
    for witness in WITNESSES:
        apart[witness] = np.full((gaps, modules), witnesses.UNKNOWN, dtype=np.int64)
        for module, statements in told.items():
            apart[witness][:, module] = getattr(statements, witness)
    return apart


def _too_few(lattice: Lattice) -> bool:
    return int(np.count_nonzero(lattice.stop != NO_STOP)) < INCREMENT_REGION.fewest_records


def _without_stale(walk: Walk, stale: NDArray[np.bool_]) -> Walk:
    """Return the walk without the positions of repeated records, which belong to earlier triggers."""
    return Walk(walk.channel, walk.pulse, np.where(stale, np.nan, walk.position), np.where(stale, np.nan, walk.u))


def _speakers(
    session: Session, channels: SequenceOf[int], leading: int, polarity: Polarity, records: Ints
) -> dict[int, int]:
    """Return the channel that speaks for each module: the leading one, else the one with the clearest polarity."""
    clearness = np.median(polarity.confidence[records], axis=0)
    speakers = {}
    for module in range(len(session.modules)):
        own = [c for c in channels if session.module_of[c] == module]
        if own:
            speakers[module] = leading if leading in own else max(own, key=lambda c: float(clearness[c]))
    return speakers


def _assembled(
    session: Session,
    records: Ints,
    walk: Walk,
    lattice: Lattice | str,
    numbering: Numbering,
    repeats: Repeats,
    polarity: Polarity,
    settings: Settings,
) -> Sequence:
    module = int(session.module_of[walk.channel])
    found = lattice if isinstance(lattice, Lattice) else None
    pattern = find_pattern(np.where(repeats.stale[:, module], 0, polarity.sign[records, walk.channel]), records)
    # few records tell the stops, but not yet how well they tell the increment
    known = found if found and not _too_few(found) else None
    by_record = _by_record(session, records, walk, lattice, numbering, repeats)
    # counted from a pulse of the same record, positions do not depend on when the trigger was
    from_trigger = settings.reference_pulse is None
    untimed = float(np.max(session.trigger_u(walk.channel, records))) if from_trigger else 0.0
    return Sequence(
        channel=walk.channel,
        increment=increment_of(known, settings) if known else None,
        start=_start(known, untimed, settings) if known else None,
        extent=_extent(known, settings) if known else None,
        cycle=found.cycle if found else None,
        alternates=witnesses.alternates(polarity.sign[records, walk.channel], records)
        if pattern is None
        else len(pattern) == 2,
        pattern=pattern,
        period=witnesses.usual_period(session.trigger_time[records, module], records),
        missed=numbering.missed,
        slips=numbering.slips,
        repeated=repeats.pairs,
        sent=settings.sent,
        out_of_place=_out_of_place(lattice, records),
        pulse=by_record.pulse,
        stop=by_record.stop,
        residual=by_record.residual,
        residual_u=by_record.residual_u,
        in_step=by_record.in_step,
    )


def _spread_of(lattice: Lattice) -> CorrelatedU:
    """Return the uncertainty of the lattice's line, its residuals taken in the order of the records."""
    stops = lattice.stop[lattice.stop != NO_STOP].astype(float)
    return correlated_u(stops, lattice.line)


def increment_of(lattice: Lattice, settings: Settings) -> Quantity:
    """Return the step from record to record, seconds, with u from the scatter about the line and the clock's accuracy.

    Parameters
    ----------
    lattice : Lattice
    settings : Settings

    Returns
    -------
    Quantity
        Slope of a weighted straight line (JCGM 100:2008, H.3), its u worked out with the correlation of the residuals
        from record to record.
    """
    line, spread = lattice.line, _spread_of(lattice)
    terms = (_scatter_term(lattice, spread.slope_u, spread), clock_term(line.slope, settings))
    return Quantity.from_terms(line.slope, "s", terms)


def _start(lattice: Lattice, untimed: float, settings: Settings) -> Quantity:
    """Return the place of stop 0; an untimed trigger may be off by the same in every record, so it is added whole."""
    line, spread = lattice.line, _spread_of(lattice)
    scatter = _scatter_term(lattice, spread.intercept_u, spread)
    lasting = position_terms(line.intercept, untimed, settings)
    return with_uniform_term(Quantity.from_terms(line.intercept, "s", (scatter, *lasting)))


def _scatter_term(lattice: Lattice, u: float, spread: CorrelatedU) -> Term:
    """Return the term of a fitted line's parameter."""
    told = f"line through {lattice.line.dof + 2} positions"
    alike = f", whose errors are alike from record to record (correlation {spread.correlation:.2g})"
    return Term("scatter about the lattice", u, "A", spread.dof, told + (alike if spread.correlation else ""))


def _extent(lattice: Lattice, settings: Settings) -> Quantity:
    intervals = int(np.max(lattice.stop[lattice.stop != NO_STOP]))
    return increment_of(lattice, settings).scaled(float(intervals))


@dataclass(frozen=True)
class _ByRecord:
    """The arrays of `Sequence` that have an entry for each record of the session."""

    pulse: Ints
    stop: Ints
    residual: Floats
    residual_u: Floats
    in_step: NDArray[np.bool_]


def _by_record(
    session: Session, records: Ints, walk: Walk, lattice: Lattice | str, numbering: Numbering, repeats: Repeats
) -> _ByRecord:
    """Spread what is known of the measured records over all records of the session."""
    pulse = np.full(session.records, -1, dtype=np.int64)
    stop = np.full(session.records, NO_STOP, dtype=np.int64)
    residual, residual_u = np.full(session.records, np.nan), np.full(session.records, np.nan)
    pulse[records] = walk.pulse
    if isinstance(lattice, Lattice):
        stop[records] = lattice.stop
        on = lattice.stop != NO_STOP
        residual[records[on]] = walk.position[on] - lattice.line.intercept - lattice.increment * lattice.stop[on]
        residual_u[records[on]] = walk.u[on]
    elif lattice == NOT_WALKING:
        # a pulse that stands still has its jitter about its mean place
        on = np.isfinite(walk.position)
        residual[records[on]] = walk.position[on] - np.mean(walk.position[on])
        residual_u[records[on]] = walk.u[on]
    in_step = np.zeros((session.records, len(session.modules)), dtype=bool)
    in_step[records] = numbering.in_step & ~repeats.stale
    return _ByRecord(pulse, stop, residual, residual_u, in_step)


def _out_of_place(lattice: Lattice | str, records: Ints) -> tuple[int, ...]:
    if isinstance(lattice, str):
        return ()
    strays = witnesses.out_of_place(lattice.stop, records, lattice.cycle)
    return tuple(int(r) for r in records[np.union1d(strays, lattice.stray)])


def _remarks(sequence: Sequence, session: Session, records: Ints) -> list[str]:
    """Return sentences about witnesses that had nothing to say, records out of place, and the triggers sent."""
    name = session.channels[sequence.channel or 0].name
    sentences = []
    if sequence.alternates is None:
        sentences.append(f"The polarities on {name} follow no pattern, so they do not count triggers.")
    if sequence.period is None:
        timed = np.isfinite(session.trigger_time[records, session.module_of[sequence.channel or 0]])
        told = "Fewer than three trigger times rise" if np.any(timed) else "The session has no trigger times"
        sentences.append(f"{told}, so gaps in time cannot be seen.")
        if sequence.cycle is not None:
            sentences.append(
                f"Without trigger times a loss of a whole cycle, {sequence.cycle} triggers, cannot be seen."
            )
    silent = int(np.count_nonzero(sequence.pulse[records] < 0))
    if 0 < silent < len(records):
        sentences.append(f"{name} shows no pulse in {silent} of {len(records)} records.")
    if sequence.out_of_place:
        numbers = ", ".join(str(r) for r in sequence.out_of_place)
        sentences.append(
            f"The pulse on {name} stands out of its place in record {numbers}, and the walk goes on after it: a stale, "
            f"foreign or exchanged record, or a pulse wrongly found."
        )
    return sentences + _sent(sequence, len(records))


def _sent(sequence: Sequence, kept: int) -> list[str]:
    """Return a sentence where the triggers sent are not those kept and missed: no other witness sees the run's ends."""
    outside = 0 if sequence.sent is None else sequence.sent - kept - sequence.missed_total
    if not outside:
        return []
    rest = "lost before the first or after the last record" if outside > 0 else "more than were sent"
    return [
        f"{sequence.sent} triggers were sent, {kept} records kept and {sequence.missed_total} missed between them: "
        f"{abs(outside)} {'is' if abs(outside) == 1 else 'are'} {rest}."
    ]
