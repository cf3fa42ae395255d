"""The sheet's tables of session, recorder, channels, records left out and notes."""

from __future__ import annotations

import numpy as np

from pulsewright.minus import as_shown
from pulsewright.quantity import Quantity, engineering
from pulsewright.review import Review
from pulsewright.session import Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.numbers import count, number, plain
from pulsewright_app.evidence.sheet import Cell, Facts, Interval, Number, Table
from pulsewright_app.wording import ORIGINS, excludes_zero, ranges
from pulsewright_app.wording import count as in_words


def session_facts(session: Session, findings: Findings) -> Facts:
    """Return what the session is: its file and digest first."""
    summary = findings.session
    timed = int(np.isfinite(session.trigger_offset).all(axis=1).sum())
    facts: list[tuple[str, Cell]] = [
        ("File", session.file.name if session.file is not None else "none: a session in memory"),
        ("SHA-256", summary.sha256 or "none: a session in memory"),
        ("Recorded", session.created or "not told by the file"),
    ]
    facts += [
        (name, text)
        for name, text in (("Title", session.title), ("Notes", session.notes), ("Source", session.origin))
        if text
    ]
    length = plain(session.record_duration, "s", 7)
    facts += [
        ("Records", count(session.records)),
        *_taken_out(findings.settings),
        ("Record length", Number(f"{session.record_length:,} samples, {length.text}", session.record_length)),
        ("Pre-trigger", Number(f"{session.pre_trigger:,} samples", session.pre_trigger)),
        ("Sample rate", plain(session.sample_rate, "S/s", 9)),
        (
            "Triggers timed",
            f"in {timed} of {session.records} records" if timed < session.records else "in every record",
        ),
    ]
    return tuple(facts)


def _taken_out(settings: Settings) -> Facts:
    """Return what a person took out of the measuring: whoever signs must not have to look for it."""
    left_out, rejected = settings.left_out, settings.rejected_pulses
    facts: list[tuple[str, Cell]] = []
    if settings.records is not None:
        facts.append(("Measured", f"records {settings.records[0]} to {settings.records[1] - 1}"))
    if left_out:
        facts.append(("Left out", f"{in_words(len(left_out), 'record')}: {ranges(left_out)}"))
    if rejected:
        facts.append(("Rejected", in_words(len(rejected), "pulse")))
    return tuple(facts)


def recorder_table(session: Session, findings: Findings) -> Table:
    """Return the channels by module, each with range, resolution and cable delay; neighbours set alike in one row."""
    alike: list[tuple[list[str], tuple[object, ...], tuple[Cell, ...]]] = []
    for place, channel in enumerate(session.channels):
        ends = sorted(code * channel.scale + channel.offset for code in (channel.lowest_code, channel.highest_code))
        measured = place in findings.channels
        key = (channel.module, channel.unit, *ends, channel.scale, channel.delay, measured)
        if alike and alike[-1][1] == key:
            alike[-1][0].append(channel.name)
            continue
        low, high = (engineering(end, channel.unit) for end in ends)
        told = (
            Interval(f"{low} to {high}", *ends),
            plain(abs(channel.scale), channel.unit),
            plain(channel.delay, "s", 6),
            "yes" if measured else "no",
        )
        alike.append(([channel.name], key, told))
    rows = [(str(key[0]), ", ".join(names), *told) for names, key, told in alike]
    headings = ("Module", "Channels", "Range", "One code", "Cable delay taken off", "Measured")
    return Table(headings, tuple(rows), right=(3, 4), wide=(1,))


def skew_table(findings: Findings) -> Table | None:
    """Return each channel's skew; None where no channel was compared."""
    alignment = findings.alignment
    rows: list[tuple[Cell, ...]] = []
    for entry in alignment.channels:
        name, module = findings.session.channels[entry.channel]
        if entry.channel == alignment.reference:
            rows.append((name, module, "the reference", "", "", "", ""))
        elif entry.skew is None:
            rows.append((name, module, "not measured", "", "", count(entry.records), ""))
        else:
            mark = "interval excludes 0" if excludes_zero(entry.skew) else ""
            rows.append((name, module, number(entry.skew), *_spread(entry.skew), count(entry.records), mark))
    if not rows:
        return None
    return Table(("Channel", "Module", "Skew ± U", "u", "k", "Records", ""), tuple(rows), right=(2, 3, 4, 5))


def _spread(quantity: Quantity) -> tuple[Cell, Cell]:
    """Return u and k."""
    if quantity.u == 0:
        return plain(0.0, quantity.unit), ""
    return plain(quantity.u, quantity.unit), plain(quantity.expanded / quantity.u, "")


def health_table(findings: Findings) -> Table:
    """Return each channel's noise, offset and clipping, and the converter's figures where a channel carries a sine."""
    with_sine = any(health.enob is not None for health in findings.health)
    rows: list[tuple[Cell, ...]] = []
    for health in findings.health:
        sine: tuple[Cell, ...] = ()
        if with_sine:
            sine = tuple(
                "" if value is None else Number(as_shown(f"{value:.{digits}f}{unit}"), value)
                for value, digits, unit in (
                    (health.enob, 2, ""),
                    (health.sinad_db, 1, " dB"),
                    (health.thd_db, 1, " dB"),
                )
            )
        remarks = ["noisy"] if health.noisy else []
        remarks += [f"clipped in {ranges(health.clipped_records)}"] if health.clipped_records else []
        rows.append(
            (
                findings.channel_name(health.channel),
                "not measured" if health.noise_rms is None else number(health.noise_rms),
                "not measured" if health.offset is None else number(health.offset),
                count(health.clipped_samples),
                *sine,
                ", ".join(remarks),
            )
        )
    figures = ("ENOB", "SINAD", "THD") if with_sine else ()
    headings = ("Channel", "Noise ± U, rms", "Offset ± U", "Clipped samples", *figures, "")
    return Table(headings, tuple(rows), right=tuple(range(1, 4 + len(figures))), wide=(len(headings) - 1,))


def left_out_table(review: Review, findings: Findings) -> Table | None:
    """Return the records that were left out with their reasons; None where there are none."""
    settings = findings.settings
    other = f"no reason given ({ORIGINS[settings.origin('left_out')]})"
    rows = [(Number(str(record), record), review.left_out.get(record) or other) for record in settings.left_out]
    return Table(("Record", "Why it was left out"), tuple(rows), right=(0,), wide=(1,)) if rows else None


def rejected_table(review: Review, findings: Findings) -> Table | None:
    """Return the pulses that were rejected with their reasons; None where there are none."""
    settings = findings.settings
    why = {(pulse.record, pulse.channel, pulse.sample): pulse.reason for pulse in review.rejected}
    other = f"no reason given ({ORIGINS[settings.origin('rejected_pulses')]})"
    rows = [
        (
            Number(str(record), record),
            channel,
            Number(f"{sample:,}", sample),
            why.get((record, channel, sample)) or other,
        )
        for record, channel, sample in settings.rejected_pulses
    ]
    headings = ("Record", "Channel", "Sample", "Why it was rejected")
    return Table(headings, tuple(rows), right=(0, 2), wide=(3,)) if rows else None


def notes_table(review: Review, findings: Findings) -> Table | None:
    """Return the records that a person flagged or wrote a note about; None where there are none."""
    known = range(findings.session.records)
    rows = [
        (Number(str(record), record), "flagged" if record in review.flags else "", review.notes.get(record, ""))
        for record in sorted({*review.flags, *review.notes})
        if record in known
    ]
    return Table(("Record", "", "Note"), tuple(rows), right=(0,), wide=(2,)) if rows else None
