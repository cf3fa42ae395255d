"""The sentences about what a person must look at: losses, slips, wiring, skew, clipping, noise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from pulsewright.quantity import Quantity, coverage_factor, engineering
from pulsewright_analysis.results import Findings, MissedTrigger
from pulsewright_app.witness_lines import witness_lines
from pulsewright_app.wording import (
    MOST_LISTED,
    STANDS_OUT,
    Sentence,
    count,
    first_channel,
    listed,
    named,
    shown,
)


def standing_out(findings: Findings) -> Iterator[Sentence]:
    """Yield what a person must look at: losses, slips, wiring, skew, clipping, noise."""
    yield from _missed(findings)
    yield from _slips(findings)
    yield from _repeated(findings)
    yield from _out_of_place(findings)
    yield from _opposite(findings)
    yield from _skewed(findings)
    yield from _module_skewed(findings)
    yield from _clipped(findings)
    yield from _noisy(findings)
    yield from _without_pulse(findings)
    dead = findings.timing.dead_time
    if dead is not None and dead.interval95[1] < 0:
        past = shown(dead.scaled(-1.0))
        text = f"A record reaches past the next trigger by {past}: that trigger cannot be kept"
        yield Sentence(STANDS_OUT, text, serious=True, quantity=dead, figure="trigger_gaps")


def _missed(findings: Findings) -> Iterator[Sentence]:
    sequence = findings.sequence
    for gap in sequence.missed[:MOST_LISTED]:
        behind = tuple(witness_lines(findings, gap.after_record))
        text, record = _gap_text(gap), gap.after_record
        yield Sentence(
            STANDS_OUT, text, record, sequence.channel, "map", serious=True, behind=behind, figure="trigger_gaps"
        )
    rest = sequence.missed[MOST_LISTED:]
    if rest:
        total = sum(gap.count for gap in rest)
        verb = "is" if total == 1 else "are"
        gaps, triggers = count(len(rest), "gap"), count(total, "more trigger")
        text = f"{triggers} {verb} missing in {gaps} from record {rest[0].after_record} on"
        record = rest[0].after_record
        yield Sentence(STANDS_OUT, text, record, sequence.channel, "map", serious=True, figure="trigger_gaps")


def _gap_text(gap: MissedTrigger) -> str:
    """Say how many triggers are missing where, and who saw it."""
    verb = "trigger is" if gap.count == 1 else "triggers are"
    seen = f"seen by {listed(gap.seen_in)}" if gap.seen_in else "seen by no witness"
    return f"{gap.count} {verb} missing after record {gap.after_record}, {seen}"


def _slips(findings: Findings) -> Iterator[Sentence]:
    """Name each slip; a module that slips more than once counts up, so each tells where it stands from there on."""
    slips = findings.sequence.slips
    seen: set[str] = set()
    for slip in slips[:MOST_LISTED]:
        side = "ahead of" if slip.by > 0 else "behind"
        verb = "slips again" if slip.module in seen else "slips"
        seen.add(slip.module)
        text = (
            f"{slip.module} {verb}: from record {slip.from_record} on its records are "
            f"{count(abs(slip.by), 'trigger')} {side} the other modules'"
        )
        channel = first_channel(findings, slip.module)
        yield Sentence(STANDS_OUT, text, slip.from_record, channel, "map", serious=True, figure="positions")
    rest = slips[MOST_LISTED:]
    if rest:
        modules = listed(sorted({slip.module for slip in rest}))
        text = f"{count(len(rest), 'more slip')} of {modules} from record {rest[0].from_record} on"
        channel = first_channel(findings, rest[0].module)
        yield Sentence(STANDS_OUT, text, rest[0].from_record, channel, "map", serious=True, figure="positions")


def _out_of_place(findings: Findings) -> Iterator[Sentence]:
    """Name the records whose pulse leaves the walk while the next ones go on with it."""
    sequence = findings.sequence
    records, channel = sequence.out_of_place, sequence.channel
    if not records or channel is None:
        return
    noun, verb = ("The pulse", "is") if len(records) == 1 else ("The pulses", "are")
    where = f"on {findings.channel_name(channel)} in {_which(records)}"
    text = f"{noun} {where} {verb} out of place in the walk, which goes on after"
    yield Sentence(STANDS_OUT, text, records[0], channel, "map", serious=True, figure="positions")


def _repeated(findings: Findings) -> Iterator[Sentence]:
    repeated = findings.sequence.repeated
    for first, again in repeated[:MOST_LISTED]:
        text = f"Record {again} holds the same samples as record {first}"
        yield Sentence(STANDS_OUT, text, again, findings.sequence.channel, "single", serious=True)
    rest = repeated[MOST_LISTED:]
    if rest:
        text = f"{count(len(rest), 'record')} more hold samples of earlier records"
        yield Sentence(STANDS_OUT, text, rest[0][1], findings.sequence.channel, "single", serious=True)


def _opposite(findings: Findings) -> Iterator[Sentence]:
    """Say which channels point the other way, in how many of the records that can tell."""
    polarity = findings.polarity
    others = [c for c in findings.channels if c not in polarity.opposite]
    for channel in polarity.opposite:
        records = findings.records
        majority = np.sign(polarity.sign[records][:, others].sum(axis=1))
        own = polarity.sign[records, channel]
        telling = (own != 0) & (majority != 0)
        against = telling & (own == -majority)
        first = int(records[np.argmax(against)]) if against.any() else None
        text = (
            f"{named(findings, channel)} has the opposite sign of the other channels in "
            f"{int(against.sum())} of {int(telling.sum())} records: its wiring may be reversed"
        )
        yield Sentence(STANDS_OUT, text, first, channel, "single", serious=True)


def _skewed(findings: Findings) -> Iterator[Sentence]:
    """Name the channels whose skew is significant; one sentence for all where they are many."""
    reference = findings.alignment.reference
    if reference is None:
        return
    name = findings.channel_name(reference)
    measured = [(c.channel, c.skew) for c in findings.alignment.channels if c.skew and c.channel != reference]
    late = [(channel, skew) for channel, skew in measured if _significant(skew, len(measured))]
    late.sort(key=lambda item: -abs(item[1].value))
    many = len(late) > max(2, len(measured) // 3)
    for channel, skew in late[:1] if many else late:
        text = _later(named(findings, channel), skew, name)
        if many:
            text = f"{len(late)} of {len(measured)} channels differ from {name} significantly; the largest: {text}"
        else:
            text = f"{text}: significant, {count(len(measured), 'channel')} compared"
        yield Sentence(STANDS_OUT, text, None, channel, "single", serious=True, quantity=skew, figure="skew")


def _module_skewed(findings: Findings) -> Iterator[Sentence]:
    """Name the pair of modules that differs most, if significantly."""
    measured = [(pair.modules, pair.skew) for pair in findings.alignment.between_modules if pair.skew]
    if not measured:
        return
    (first, second), skew = max(measured, key=lambda item: abs(item[1].value))
    if _significant(skew, len(measured)):
        pairs = "1 pair of modules" if len(measured) == 1 else f"{len(measured)} pairs of modules"
        text = f"{_later(second, skew, first)}: significant, {pairs} compared"
        channel = first_channel(findings, second)
        yield Sentence(STANDS_OUT, text, None, channel, "single", serious=True, quantity=skew, figure="skew")


def _significant(quantity: Quantity, compared: int) -> bool:
    """Return whether a value is not 0 beyond chance, at 5 % for all comparisons together (Bonferroni's bound)."""
    factor = coverage_factor(quantity.dof, 1.0 - 0.05 / max(compared, 1))
    return abs(quantity.value) > factor * quantity.u > 0


def _later(name: str, skew: Quantity, reference: str) -> str:
    direction = "later" if skew.value > 0 else "earlier"
    size = skew if skew.value > 0 else skew.scaled(-1.0)
    return f"{name} is {shown(size)} {direction} than {reference}"


def _clipped(findings: Findings) -> Iterator[Sentence]:
    for health in findings.health:
        if not health.clipped_samples:
            continue
        text = f"{named(findings, health.channel)} has {count(health.clipped_samples, 'clipped sample')}"
        records = health.clipped_records
        if len(records) == 1:
            text += f" in record {records[0]}"
        elif len(records) > MOST_LISTED:
            text += f" in {len(records)} records, the first of them record {records[0]}"
        elif records:
            text += f" in records {listed([str(r) for r in records])}"
        yield Sentence(STANDS_OUT, text, records[0] if records else None, health.channel, "single", serious=True)


def _noisy(findings: Findings) -> Iterator[Sentence]:
    quiet = [h.noise_rms.value for h in findings.health if h.noise_rms is not None and not h.noisy]
    for health in findings.health:
        if not health.noisy:
            continue
        text = f"{named(findings, health.channel)} is noisy: {shown(health.noise_rms)} rms"
        if quiet and health.noise_rms is not None:
            middle = engineering(float(np.median(quiet)), health.noise_rms.unit, 3)
            text += f", where the median of the other channels is {middle}"
        yield Sentence(STANDS_OUT, text, None, health.channel, "afterglow", serious=True, quantity=health.noise_rms)


def _without_pulse(findings: Findings) -> Iterator[Sentence]:
    """Name records with no pulse on the channel that tells the sequence, where most others have one."""
    channel = findings.sequence.channel
    if channel is None or not len(findings.records):
        return
    empty = findings.records[findings.polarity.sign[findings.records, channel] == 0]
    if 0 < len(empty) < len(findings.records) / 2:
        text = f"No pulse was found on {findings.channel_name(channel)} in {_which(empty.tolist())}"
        yield Sentence(STANDS_OUT, text, int(empty[0]), channel, "single", serious=True)


def _which(records: Sequence[int]) -> str:
    """Write which records: all of them, or the first ones and how many more."""
    told = listed([str(record) for record in records[:MOST_LISTED]])
    more = f" and {len(records) - MOST_LISTED} more" if len(records) > MOST_LISTED else ""
    return f"{'record' if len(records) == 1 else 'records'} {told}{more}"
