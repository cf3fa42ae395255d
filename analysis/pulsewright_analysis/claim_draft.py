"""Drafts a claims file from what a session shows; every limit is left for a person to fill in."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from pulsewright.claim_kinds import HOW_TO_WRITE, KINDS, ClaimKind
from pulsewright.minus import as_typed
from pulsewright.quantity import Quantity, engineering
from pulsewright.review import Review
from pulsewright_analysis.results import Findings
from pulsewright_analysis.trigger_account import account

SECONDS = ("min_width", "min_gap", "increment", "re_arm", "delay_u", "splitter_u", "trigger_offset_u")
STRETCHES = ("span", "alignment_span", "reference_pulse")
OF_ONE_RUN = ("records", "left_out", "rejected_pulses")
"""Settings that belong to one session's review, not to a claims file that serves many."""


def draft(findings: Findings, review: Review | None = None, title: str = "") -> str:
    """Return the text of a claims file: one claim of each kind that the session has something to say about.

    Parameters
    ----------
    findings : Findings
        Of the session that the draft starts from.
    review : Review, optional
        Its marker pairs become claims too.
    title : str
        What the claims are about; the session's file name if left out.

    Returns
    -------
    str
        TOML. Above each empty limit stands what the session shows and how a limit is written: what was measured is no
        limit, that is for a person to say.
    """
    file = findings.session.file
    name = title or (f"Claims drafted from {file.name}" if file is not None else "Claims drafted from a session")
    lines = [
        "# Fill in each limit from what the experiment needs, not from what was seen. Take out what nobody claims.",
        f"title = {_quoted(name)}",
        "",
        "[settings]",
        *_settings(findings),
    ]
    for kind, seen, more in _seen(findings, review):
        lines += ["", *_claim(kind, seen, more)]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # a JSON text is a TOML text, but for DEL, which TOML wants escaped
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _settings(findings: Findings) -> Iterator[str]:
    """Return the settings that do not have their default, as they are written."""
    settings = findings.settings
    for name, entry in settings.as_json().items():
        if entry["from"] != "default" and name not in OF_ONE_RUN:
            yield f"{name} = {_written(name, entry['value'])}"


def _typed(value: float, unit: str) -> str:
    """Return a number as a person would type it."""
    return as_typed(engineering(value, unit, 9))


def _written(name: str, value: Any) -> str:
    if name in STRETCHES:
        return _quoted(" .. ".join(_typed(end, "s") for end in value))
    if name in SECONDS:
        return _quoted(_typed(value, "s"))
    if name == "delays":
        told = (f"{_quoted(channel)} = {_quoted(_typed(delay, 's'))}" for channel, delay in value.items())
        return f"{{ {', '.join(told)} }}"
    if name == "threshold":
        return _quoted(_typed(value, "V"))
    return json.dumps(value, ensure_ascii=False)


def _claim(kind: ClaimKind, seen: str, more: dict[str, str]) -> list[str]:
    lines = [f"# seen: {seen}"] if seen else []
    if kind.has_limit:
        how = HOW_TO_WRITE[kind.form]
        lines.append(f"# limit: {how}" + ("" if kind.example in how else f", like {kind.example}"))
    named = more.get("pair", "")
    name = f"{_NAMES.get(kind.word, kind.meaning)}{f', {named}' if named else ''}"
    lines += ["[[claims]]", f"name = {_quoted(name[:1].upper() + name[1:])}", f"kind = {_quoted(kind.word)}"]
    lines += [f"{key} = {_quoted(value)}" for key, value in more.items()]
    return [*lines, 'limit = ""'] if kind.has_limit else lines


_NAMES = {"triggers_sent": "every trigger sent is accounted for", "no_clipped_sample": "no sample is clipped"}


def _seen(findings: Findings, review: Review | None) -> Iterator[tuple[ClaimKind, str, dict[str, str]]]:
    """Return each kind of claim that the session says something about, with what it says."""
    alignment, sequence, timing = findings.alignment, findings.sequence, findings.timing
    largest = max(
        (entry for entry in alignment.channels if entry.skew is not None and entry.channel != alignment.reference),
        key=lambda entry: abs(entry.skew.value) if entry.skew is not None else 0.0,
        default=None,
    )
    if largest is not None:
        yield _of("skew", largest.skew, f"{findings.channel_name(largest.channel)} ")
    yield from _known("skew_within_modules", alignment.within_modules)
    yield from _known("skew_between_modules", alignment.largest_between)
    yield from _known("increment", sequence.increment)
    yield from _known("extent", sequence.extent)
    told = account(findings)
    yield KINDS["no_missed_trigger"], f"{len(told.missed)} missed" if told.missed else "none missed", {}
    if len(findings.session.modules) > 1:
        slips = len(sequence.slips)
        yield KINDS["no_slip"], f"{slips} slip{'s' if slips > 1 else ''}" if slips else "none", {}
    yield KINDS["triggers_sent"], f"{told.kept} kept, {len(told.missed)} missed", {}
    if sequence.pattern is not None:
        yield KINDS["polarity"], _pattern(sequence.pattern), {}
    yield from _known("jitter", findings.jitter.std)
    yield from _known("trigger_period", timing.trigger_period)
    yield from _known("dead_time", timing.dead_time)
    yield from _pulses(findings)
    yield from _health(findings)
    for marker in {m.name: m for m in ([] if review is None else review.markers) if m.name}.values():
        yield KINDS["marker_pair"], "", {"pair": marker.name}


def _of(kind: str, quantity: Quantity | None, what: str = "") -> tuple[ClaimKind, str, dict[str, str]]:
    return KINDS[kind], "" if quantity is None else f"{what}{quantity.in_words}", {}


def _known(kind: str, quantity: Quantity | None) -> Iterator[tuple[ClaimKind, str, dict[str, str]]]:
    if quantity is not None:
        yield _of(kind, quantity)


def _pattern(pattern: tuple[int, ...]) -> str:
    if len(pattern) == 1:
        return "constant"
    return "alternates" if pattern in ((1, -1), (-1, 1)) else " ".join("+" if sign > 0 else "-" for sign in pattern)


def _pulses(findings: Findings) -> Iterator[tuple[ClaimKind, str, dict[str, str]]]:
    import numpy as np

    from pulsewright_analysis.findings_json import channel_units

    pulses, channel = findings.pulses, findings.sequence.channel
    own = pulses.where(channel=findings.channels[0] if channel is None else channel)
    unit = channel_units(findings)[findings.channels[0] if channel is None else channel]
    for kind, values, its_unit in (("amplitude", np.abs(pulses.amplitude), unit), ("width", pulses.width, "s")):
        known = values[own][np.isfinite(values[own])]
        if len(known):
            low, high = engineering(float(known.min()), its_unit), engineering(float(known.max()), its_unit)
            yield KINDS[kind], f"{low} to {high}", {}


def _health(findings: Findings) -> Iterator[tuple[ClaimKind, str, dict[str, str]]]:
    clipped = sum(health.clipped_samples for health in findings.health)
    yield KINDS["no_clipped_sample"], f"{clipped} clipped", {}
    noise = [health.noise_rms for health in findings.health if health.noise_rms is not None]
    if noise:
        yield _of("noise", max(noise, key=lambda quantity: quantity.value), "at most ")
    bits = [health.enob for health in findings.health if health.enob is not None]
    if bits:
        yield KINDS["enob"], f"at least {min(bits):.2f}", {}
