"""The findings in plain sentences, most important first: one wording for the window and the command line."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from pulsewright.minus import as_shown
from pulsewright.quantity import engineering
from pulsewright_analysis.pulse_doubts import without_position
from pulsewright_analysis.results import ChannelHealth, Findings, Witness
from pulsewright_app.setting_words import is_usual, name_in_words, told_settings, value_in_words, with_origin
from pulsewright_app.shape_sentences import module_comparison, pulse_shape
from pulsewright_app.standing_out import standing_out
from pulsewright_app.wording import (
    ALIGNMENT,
    ALIGNMENT_ROWS,
    HEALTH,
    IN_DOUBT,
    JITTER,
    MOST_LISTED,
    PROGRESSION,
    SETTINGS,
    STANDS_OUT,
    TIMING,
    TRIGGERS,
    Sentence,
    ViewHint,
    count,
    excludes_zero,
    first_channel,
    listed,
    named,
    named_numbers,
    shown,
)

__all__ = [
    "ALIGNMENT", "ALIGNMENT_ROWS", "HEALTH", "IN_DOUBT", "JITTER", "PROGRESSION", "SETTINGS", "STANDS_OUT",
    "TIMING", "TRIGGERS", "Sentence", "ViewHint", "excludes_zero", "sentences", "shown",
]  # fmt: skip


def sentences(findings: Findings) -> list[Sentence]:
    """Return every finding in words: what stands out first, then each measured quantity with its U.

    Parameters
    ----------
    findings : Findings
        What was measured.

    Returns
    -------
    list of Sentence
        Neighbours of one group stand together.
    """
    return list(
        chain(
            standing_out(findings),
            _triggers(findings),
            _progression(findings),
            pulse_shape(findings),
            _alignment(findings),
            module_comparison(findings),
            _alignment_rows(findings),
            _jitter(findings),
            _timing(findings),
            _health(findings),
            _in_doubt(findings),
            _settings(findings),
        )
    )


def _triggers(findings: Findings) -> Iterator[Sentence]:
    sequence, kept = findings.sequence, findings.session.records
    witnesses = _witnesses(findings)
    missed = sequence.missed_total
    if not witnesses and not missed:
        text = f"{count(kept, 'record')} kept; whether a trigger is missing could not be told"
    else:
        losses = "no trigger missing between them" if not missed else f"{count(missed, 'trigger')} missing"
        text = f"{count(kept, 'record')} kept, {losses}"
        if findings.settings.records is not None:
            text = f"{len(findings.records)} of {count(kept, 'record')} looked at, {losses}"
        text += f"; witnesses: {listed(witnesses)}" if witnesses else ""
    yield Sentence(TRIGGERS, text, None, sequence.channel, "map")
    if sequence.sent is not None and findings.settings.records is None:
        lost = sequence.sent - kept - missed
        where = "all are accounted for"
        if lost > 0:
            where = f"{lost} more must have been lost before the first or after the last record"
        elif lost < 0:
            where = f"that is {-lost} fewer than kept and missed together: the number sent cannot be right"
        text = f"{count(sequence.sent, 'trigger')} sent, {kept} kept, {missed} missed: {where}"
        yield Sentence(TRIGGERS, text, serious=lost != 0)


def _witnesses(findings: Findings) -> list[Witness]:
    """Return the witnesses that could speak in this session."""
    sequence = findings.sequence
    result: list[Witness] = []
    if sequence.increment is not None:
        result.append("position")
    if sequence.alternates:
        result.append("polarity")
    if sequence.period is not None:
        result.append("time")
    return result


def _progression(findings: Findings) -> Iterator[Sentence]:
    sequence = findings.sequence
    channel = sequence.channel
    if channel is None:
        return
    name = findings.channel_name(channel)
    if sequence.increment is not None:
        text = f"The pulse on {name} moves by {shown(sequence.increment)} from trigger to trigger (increment)"
        yield Sentence(PROGRESSION, text, None, channel, "map", quantity=sequence.increment)
        over = f"after {sequence.cycle} triggers" if sequence.cycle is not None else "at no record seen"
        yield Sentence(PROGRESSION, f"It starts over {over} (cycle)", None, channel, "map")
    if sequence.extent is not None:
        text = f"From its first stop to its last it covers {shown(sequence.extent)} (extent)"
        yield Sentence(PROGRESSION, text, None, channel, "afterglow", quantity=sequence.extent)
    if sequence.alternates is not None:
        how = "changes at each trigger" if sequence.alternates else "does not change at each trigger"
        signs = findings.polarity.sign[findings.records, channel]
        text = f"The polarity {how}: {(signs > 0).sum()} records positive, {(signs < 0).sum()} negative"
        yield Sentence(PROGRESSION, text, None, channel, "afterglow")


def _alignment(findings: Findings) -> Iterator[Sentence]:
    alignment = findings.alignment
    if alignment.reference is None:
        return
    name = findings.channel_name(alignment.reference)
    if alignment.method is not None:
        yield Sentence(ALIGNMENT, f"Skews are against {name}, by {alignment.method}; positive is later")
    if alignment.frequency is not None and alignment.method == "sine":
        period = engineering(1.0 / alignment.frequency.value, "s", 6)
        text = f"The shared sine has {shown(alignment.frequency)}; skews are known modulo its period, {period}"
        yield Sentence(ALIGNMENT, text, quantity=alignment.frequency)
    for pair in alignment.between_modules:
        first, second = pair.modules
        channel = first_channel(findings, second)
        if pair.skew is None:
            yield Sentence(ALIGNMENT, f"{second} against {first}: not measured", None, channel)
            continue
        text = f"{second} against {first}: {shown(pair.skew)}"
        marked = excludes_zero(pair.skew)
        text += ", 95 % interval excludes 0" if marked else ""
        yield Sentence(ALIGNMENT, text, None, channel, "single", serious=marked, quantity=pair.skew)
    if alignment.largest_between is not None:
        text = f"Largest difference between two modules: {shown(alignment.largest_between)}"
        yield Sentence(ALIGNMENT, text, quantity=alignment.largest_between)
    if alignment.within_modules is not None:
        text = f"Largest difference between two channels of one module: {shown(alignment.within_modules)}"
        yield Sentence(ALIGNMENT, text, quantity=alignment.within_modules)


def _alignment_rows(findings: Findings) -> Iterator[Sentence]:
    reference = findings.alignment.reference
    for item in findings.alignment.channels:
        name = named(findings, item.channel)
        if item.channel == reference:
            yield Sentence(ALIGNMENT_ROWS, f"{name}: the reference", None, item.channel, "single")
            continue
        marked = excludes_zero(item.skew)
        text = f"{name}: {shown(item.skew)}" + (", 95 % interval excludes 0" if marked else "")
        yield Sentence(ALIGNMENT_ROWS, text, None, item.channel, "single", serious=marked, quantity=item.skew)


def _jitter(findings: Findings) -> Iterator[Sentence]:
    jitter, channel = findings.jitter, findings.sequence.channel
    if jitter.std is not None:
        text = f"Standard deviation with the progression taken off: {shown(jitter.std)}"
        if jitter.measurement_std is not None:
            text += f"; the measurement's own {engineering(jitter.measurement_std, 's', 3)} is subtracted"
        yield Sentence(JITTER, text, None, channel, "afterglow", quantity=jitter.std)
    if jitter.peak_to_peak is not None:
        text = f"Peak to peak: {shown(jitter.peak_to_peak)}"
        if jitter.expected_peak_to_peak is not None:
            text += f"; {engineering(jitter.expected_peak_to_peak, 's', 3)} is to be expected of so many records"
        yield Sentence(JITTER, text, None, channel, "afterglow", quantity=jitter.peak_to_peak)
    if jitter.drift_per_record is not None:
        drift = jitter.drift_per_record
        marked = ", 95 % interval excludes 0" if excludes_zero(drift) else ""
        text = f"Drift: {shown(drift)} a record{marked}"
        yield Sentence(JITTER, text, None, channel, "map", quantity=drift)


def _timing(findings: Findings) -> Iterator[Sentence]:
    timing = findings.timing
    told = (
        ("Trigger period", timing.trigger_period),
        ("Record duration", timing.record_duration),
        ("Dead time, covered by no record", timing.dead_time),
        ("Wait from a record's end to the next trigger", timing.wait),
    )
    for name, quantity in told:
        if quantity is not None:
            yield Sentence(TIMING, f"{name}: {shown(quantity)}", quantity=quantity)
    if timing.longest_record_samples is not None:
        re_arm = findings.settings.re_arm
        after = f" with a re-arm time of {engineering(re_arm, 's')}" if re_arm else " with no re-arm time"
        text = f"Longest record that keeps every trigger: {timing.longest_record_samples:,} samples{after}"
        yield Sentence(TIMING, text)


def _health(findings: Findings) -> Iterator[Sentence]:
    for health in findings.health:
        record = health.clipped_records[0] if health.clipped_records else None
        serious = health.noisy or health.clipped_samples > 0
        parts = named_numbers(("noise, rms", health.noise_rms), ("offset", health.offset))
        yield Sentence(HEALTH, _health_text(findings, health), record, health.channel, "single", serious, parts=parts)


def _health_text(findings: Findings, health: ChannelHealth) -> str:
    clipped = f"{count(health.clipped_samples, 'clipped sample')}" if health.clipped_samples else "none clipped"
    parts = [f"noise {shown(health.noise_rms)} rms", f"offset {shown(health.offset)}", clipped]
    if health.sinad_db is not None:
        parts.append(f"SINAD {as_shown(f'{health.sinad_db:.1f}')} dB")
    if health.thd_db is not None:
        parts.append(f"THD {as_shown(f'{health.thd_db:.1f}')} dB")
    if health.enob is not None:
        parts.append(f"ENOB {health.enob:.2f}")
    return f"{named(findings, health.channel)}: {', '.join(parts)}"


def _in_doubt(findings: Findings) -> Iterator[Sentence]:
    """Yield what could not be measured; where that is a pulse's position, with the first such pulse."""
    pulses = findings.pulses
    places = dict(without_position(pulses, [name for name, _ in findings.session.channels]))
    for reason in findings.reasons:
        first, text = places.get(reason), reason.removesuffix(".")
        if first is None:
            yield Sentence(IN_DOUBT, text)
        else:
            yield Sentence(IN_DOUBT, text, int(pulses.record[first]), int(pulses.channel[first]), "single")


_ALWAYS_TOLD = ("position", "span")


def _settings(findings: Findings) -> Iterator[Sentence]:
    """Yield the settings that decide the numbers, each with where it came from."""
    settings = findings.settings
    found = {"channel": findings.sequence.channel, "reference": findings.alignment.reference}
    for name in told_settings():
        if name in found:
            channel = found[name]
            value = "" if channel is None else findings.channel_name(channel)
        elif is_usual(settings, name) and name not in _ALWAYS_TOLD:
            value = ""
        else:
            value = _left_out(settings.left_out) if name == "left_out" else value_in_words(settings, name)
        if value:
            yield Sentence(SETTINGS, f"{name_in_words(name)}: {with_origin(settings, name, value)}")


def _left_out(records: tuple[int, ...]) -> str:
    told = [str(record) for record in records[:MOST_LISTED]]
    rest = len(records) - len(told)
    more = f"{', '.join(told)} and {rest} more" if rest else listed(told)
    return f"{len(records)}, namely {more}"
