"""Was every trigger kept, on every module? Lattice of the walking pulse, missed triggers, slips, repeated records."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence as SequenceOf
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pulsewright.quantity import Quantity
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis import witnesses
from pulsewright_analysis.lattice import NO_STOP, NOT_WALKING, Lattice, find_lattice, stops_on
from pulsewright_analysis.lines import correlation_inflation
from pulsewright_analysis.results import MissedTrigger, Polarity, Pulses, Sequence, Slip
from pulsewright_analysis.witnesses import Decision, Statements, decide

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class _Walk:
    """The pulse that tells the sequence, on one channel: its index for each record, and its position with u."""

    channel: int
    pulse: Ints
    position: Floats
    u: Floats


def measure_sequence(
    session: Session,
    channels: SequenceOf[int],
    records: Ints,
    pulses: Pulses,
    polarity: Polarity,
    settings: Settings,
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

    Returns
    -------
    Sequence, list of str
    """
    reasons: list[str] = []
    leading = session.channel_index(settings.channel) if settings.channel else channels[0]
    walk = _walk(pulses, leading, records, None)
    lattice = find_lattice(walk.position, walk.u, settings.increment, settings.cycle)
    if isinstance(lattice, str):
        reasons.append(f"No increment on {session.channels[leading].name}: {lattice}.")
    periods = [witnesses.usual_period(session.trigger_time[records, m], records) for m in _modules(session)]
    order = None if len(walk.pulse) == 0 else _order_of(pulses, walk)
    told = {
        int(session.module_of[c]): _statements(session, _walk(pulses, c, records, order), records, polarity, lattice, p)
        for c, p in _speakers(session, channels, leading, polarity, periods)
    }
    missed, slips, ahead, disputes = _judge(session, records, told)
    reasons += disputes
    sign = polarity.sign[records, leading]
    by_record = _by_record(session, records, walk, lattice, ahead)
    sequence = Sequence(
        channel=leading,
        increment=None if isinstance(lattice, str) else _increment(lattice, settings),
        start=None if isinstance(lattice, str) else _start(lattice),
        extent=None if isinstance(lattice, str) else _extent(lattice, settings),
        cycle=None if isinstance(lattice, str) else lattice.cycle,
        alternates=witnesses.alternates(sign, records),
        period=periods[int(session.module_of[leading])],
        missed=missed,
        slips=slips,
        repeated=repeated_records(session, records),
        sent=settings.sent,
        pulse=by_record.pulse,
        stop=by_record.stop,
        residual=by_record.residual,
        residual_u=by_record.residual_u,
        in_step=by_record.in_step,
    )
    reasons += _unheard(sequence, session, leading, records)
    return sequence, reasons


def _modules(session: Session) -> range:
    return range(len(session.modules))


def _speakers(
    session: Session,
    channels: SequenceOf[int],
    leading: int,
    polarity: Polarity,
    periods: list[float | None],
) -> list[tuple[int, float | None]]:
    """Return the channel that speaks for each module, with the module's period: the one with the clearest polarity."""
    speakers = []
    for module in _modules(session):
        own = [c for c in channels if session.module_of[c] == module]
        if leading in own:
            speakers.append((leading, periods[module]))
        elif own:
            clearest = max(own, key=lambda c: float(np.median(polarity.confidence[:, c])))
            speakers.append((clearest, periods[module]))
    return speakers


def _walk(pulses: Pulses, channel: int, records: Ints, order: int | None) -> _Walk:
    """Return the pulse of one order on one channel; without an order, the one whose position varies most."""
    mine = pulses.where(channel=channel)
    if order is None:
        order = _most_varied(pulses, mine)
    row = {int(r): i for i, r in enumerate(records)}
    index = np.full(len(records), -1, dtype=np.int64)
    for pulse in mine[pulses.order[mine] == order]:
        index[row[int(pulses.record[pulse])]] = pulse
    here = index >= 0
    position, u = np.full(len(records), np.nan), np.full(len(records), np.nan)
    position[here], u[here] = pulses.time[index[here]], pulses.time_u[index[here]]
    return _Walk(channel, index, position, u)


def _most_varied(pulses: Pulses, mine: Ints) -> int:
    best, widest = 0, -1.0
    for order in np.unique(pulses.order[mine]):
        times = pulses.time[mine[pulses.order[mine] == order]]
        times = times[np.isfinite(times)]
        if len(times) >= 0.5 * np.count_nonzero(pulses.order[mine] == 0):
            spread = float(np.ptp(times)) if len(times) else 0.0
            if spread > widest:
                best, widest = int(order), spread
    return best


def _order_of(pulses: Pulses, walk: _Walk) -> int | None:
    here = walk.pulse[walk.pulse >= 0]
    return int(pulses.order[here[0]]) if len(here) else None


def _statements(
    session: Session,
    walk: _Walk,
    records: Ints,
    polarity: Polarity,
    lattice: Lattice | str,
    period: float | None,
) -> Statements:
    """Return what the witnesses of one module say."""
    gaps = max(len(records) - 1, 0)
    position = np.full(gaps, witnesses.UNKNOWN, dtype=np.int64)
    cycle = None
    if isinstance(lattice, Lattice):
        cycle = lattice.cycle
        position = witnesses.position_counts(stops_on(lattice, walk.position), records, cycle)
    sign = polarity.sign[records, walk.channel]
    module = session.module_of[walk.channel]
    return Statements(
        position,
        witnesses.polarity_counts(sign, records, witnesses.alternates(sign, records)),
        witnesses.time_counts(session.trigger_time[records, module], records, period),
        cycle,
    )


def _judge(
    session: Session, records: Ints, told: dict[int, Statements]
) -> tuple[tuple[MissedTrigger, ...], tuple[Slip, ...], Ints, list[str]]:
    """Tell triggers that no module kept from those that one module alone lost.

    Returns missed triggers, slips, how many triggers each module's records are ahead (records, modules), disputes.
    """
    missed, slips, disputes = [], [], []
    ahead = np.zeros((len(records), len(session.modules)), dtype=np.int64)
    for gap in range(max(len(records) - 1, 0)):
        verdicts = _verdicts(session, told, gap)
        common = min((d.count for d in verdicts.values()), default=0)
        after = int(records[gap])
        if common > 0:
            seen = [w for w in ("position", "polarity", "time") if any(w in d.seen_in for d in verdicts.values())]
            missed.append(MissedTrigger(after, common, tuple(seen)))  # type: ignore[arg-type]
        for module, decision in verdicts.items():
            if decision.count > common:
                extra = decision.count - common
                slips.append(Slip(session.modules[module], int(records[gap + 1]), extra))
                ahead[gap + 1 :, module] += extra
        disputes += _disputes(session, after, verdicts)
    return tuple(missed), tuple(slips), ahead, disputes


def _verdicts(session: Session, told: dict[int, Statements], gap: int) -> dict[int, Decision]:
    """Return each module's decision about a gap; one trigger time for all modules speaks only where they agree."""
    if not session.shared_time:
        return {module: decide(statements, gap) for module, statements in told.items()}
    silent = np.full_like(next(iter(told.values())).time, witnesses.UNKNOWN)
    payload = {module: decide(Statements(t.position, t.polarity, silent, t.cycle), gap) for module, t in told.items()}
    if len({decision.count for decision in payload.values()}) > 1:
        return payload
    return {module: decide(statements, gap) for module, statements in told.items()}


def _disputes(session: Session, after: int, verdicts: dict[int, Decision]) -> list[str]:
    """Return a sentence for each distinct disagreement between the witnesses of a gap."""
    sentences: dict[str, list[str]] = {}
    for module, decision in verdicts.items():
        if decision.against:
            who = " and ".join(decision.against)
            text = f"{who} {'speaks' if len(decision.against) == 1 else 'speak'} against {decision.count} missed"
            sentences.setdefault(text, []).append(session.modules[module])
    return [
        f"After record {after} the witnesses disagree: {text} ({', '.join(names)})."
        for text, names in sentences.items()
    ]


def _increment(lattice: Lattice, settings: Settings) -> Quantity:
    line = lattice.line
    u = line.slope_u * correlation_inflation(line.residual)
    u = float(np.hypot(u, line.slope * settings.clock_ppm * 1e-6))
    return Quantity(line.slope, u, "s", float(line.dof))


def _start(lattice: Lattice) -> Quantity:
    line = lattice.line
    return Quantity(line.intercept, line.intercept_u * correlation_inflation(line.residual), "s", float(line.dof))


def _extent(lattice: Lattice, settings: Settings) -> Quantity:
    intervals = int(np.max(lattice.stop[lattice.stop != NO_STOP]))
    return _increment(lattice, settings).scaled(float(intervals))


@dataclass(frozen=True)
class _ByRecord:
    """The arrays of `Sequence` that have an entry for each record of the session."""

    pulse: Ints
    stop: Ints
    residual: Floats
    residual_u: Floats
    in_step: NDArray[np.bool_]


def _by_record(session: Session, records: Ints, walk: _Walk, lattice: Lattice | str, ahead: Ints) -> _ByRecord:
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
    for row, record in enumerate(records):
        values, counts = np.unique(ahead[row], return_counts=True)
        in_step[record] = ahead[row] == values[np.argmax(counts)]
    return _ByRecord(pulse, stop, residual, residual_u, in_step)


def repeated_records(session: Session, records: Ints) -> tuple[tuple[int, int], ...]:
    """Return pairs of records whose samples are the same to the last code: the first, and the one that repeats it."""
    seen: dict[bytes, int] = {}
    pairs = []
    wanted = set(records.tolist())
    for start, codes in session.blocks(int(records[0]), int(records[-1]) + 1):
        for i in range(len(codes)):
            if start + i not in wanted:
                continue
            digest = hashlib.blake2b(np.ascontiguousarray(codes[i]).data, digest_size=16).digest()
            if digest in seen:
                pairs.append((seen[digest], start + i))
            else:
                seen[digest] = start + i
    return tuple(pairs)


def _unheard(sequence: Sequence, session: Session, leading: int, records: Ints) -> list[str]:
    """Return sentences about witnesses that had nothing to say, and about the count of triggers sent."""
    name = session.channels[leading].name
    sentences = []
    if sequence.alternates is None:
        sentences.append(
            f"The polarities on {name} neither alternate nor stay the same, so they do not count triggers."
        )
    if sequence.period is None:
        sentences.append("The session has no trigger times, so gaps in time cannot be seen.")
    silent = int(np.count_nonzero(sequence.pulse[records] < 0))
    if 0 < silent < len(records):
        sentences.append(f"{name} shows no pulse in {silent} of {len(records)} records.")
    if sequence.sent is not None:
        outside = sequence.sent - len(records) - sequence.missed_total
        if outside:
            sentences.append(
                f"{sequence.sent} triggers were sent, {len(records)} records kept and {sequence.missed_total} missed "
                f"between them: {abs(outside)} {'are' if abs(outside) != 1 else 'is'} "
                f"{'lost before the first or after the last record' if outside > 0 else 'more than were sent'}."
            )
    return sentences
