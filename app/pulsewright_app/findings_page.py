"""The readable page of findings: sentences, and tables where many numbers of one kind stand side by side."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from pulsewright.minus import as_shown
from pulsewright.quantity import engineering
from pulsewright_analysis.results import ChannelHealth, Findings
from pulsewright_app.printing import columns, pairs
from pulsewright_app.sentences import (
    ALIGNMENT_ROWS,
    HEALTH,
    TIMING,
    Sentence,
    excludes_zero,
    sentences,
    shown,
)
from pulsewright_app.verdicts_page import print_verdicts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console
    from rich.table import Table

    from pulsewright_analysis.verdicts import Verdict


def print_findings(findings: Findings, out: Console, verdicts: Sequence[Verdict] = ()) -> None:
    """Print what the session is, what its claims came to, and every finding, most important first."""
    out.print(_heading(findings), style="bold")
    if verdicts:
        out.print()
        print_verdicts(verdicts, out)
    tables = {ALIGNMENT_ROWS: _skews, TIMING: _timing, HEALTH: _health}
    for group, members in groupby(sentences(findings), key=lambda sentence: sentence.group):
        out.print()
        out.print(group, style="bold")
        if group in tables:
            out.print(tables[group](findings))
        else:
            _print_sentences(list(members), out)


def _heading(findings: Findings) -> str:
    session = findings.session
    name = session.file.name if session.file is not None else "Session"
    part = "" if len(findings.records) == session.records else f"; {len(findings.records)} of the records measured"
    return (
        f"{name}: {session.records} records of {session.record_length:,} samples at "
        f"{engineering(session.sample_rate, 'S/s', 6)}, {len(session.channels)} channels "
        f"on {_modules(len(session.modules))}{part}"
    )


def _modules(number: int) -> str:
    return "1 module" if number == 1 else f"{number} modules"


def _print_sentences(members: list[Sentence], out: Console) -> None:
    from rich.table import Table

    table = Table(box=None, show_header=False, padding=(0, 1, 0, 0))
    table.add_column(width=1)
    table.add_column(overflow="fold")
    for sentence in members:
        table.add_row("!" if sentence.serious else "", f"{sentence.text}.")
    out.print(table)


def _skews(findings: Findings) -> Table:
    rows = []
    for entry in findings.alignment.channels:
        name, module = findings.session.channels[entry.channel]
        if entry.channel == findings.alignment.reference:
            rows.append((name, module, "the reference", "", ""))
            continue
        mark = "95 % interval excludes 0" if excludes_zero(entry.skew) else ""
        rows.append((name, module, shown(entry.skew), str(entry.records), mark))
    return columns(("Channel", "Module", "Skew ± U", "Records", ""), rows, right=(2, 3))


def _timing(findings: Findings) -> Table:
    timing = findings.timing
    rows = [
        ("Trigger period", shown(timing.trigger_period)),
        ("Record duration", shown(timing.record_duration)),
        ("Dead time", shown(timing.dead_time)),
        ("Wait for the next trigger", shown(timing.wait)),
    ]
    if timing.longest_record_samples is not None:
        rows.append(("Longest record", f"{timing.longest_record_samples:,} samples"))
    return pairs(rows)


def _health(findings: Findings) -> Table:
    """Return the table of the channels' health; the converter's figures only where a channel carries a sine."""
    with_enob = any(health.enob is not None for health in findings.health)
    rows = []
    for health in findings.health:
        row = [
            findings.channel_name(health.channel),
            shown(health.noise_rms),
            shown(health.offset),
            str(health.clipped_samples),
        ]
        if with_enob:
            row.append("" if health.enob is None else f"{health.enob:.2f}")
            row.append("" if health.sinad_db is None else f"{as_shown(f'{health.sinad_db:.1f}')} dB")
            row.append("" if health.thd_db is None else f"{as_shown(f'{health.thd_db:.1f}')} dB")
        rows.append([*row, _remark(health)])
    headings = ["Channel", "Noise ± U", "Offset ± U", "Clipped", *(["ENOB", "SINAD", "THD"] if with_enob else []), ""]
    return columns(headings, rows, right=range(1, len(headings) - 1))


def _remark(health: ChannelHealth) -> str:
    remarks = ["noisy"] if health.noisy else []
    if health.clipped_records:
        remarks.append(f"clipped in record {health.clipped_records[0]}")
        rest = len(health.clipped_records) - 1
        remarks[-1] += f" and {rest} more" if rest else ""
    return ", ".join(remarks)
