"""Sentences about the shape of the telling pulse, and about how modules compare: gains, clocks, between and within."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pulsewright.quantity import engineering
from pulsewright_analysis.results import Findings
from pulsewright_app.wording import ALIGNMENT, PROGRESSION, Sentence, count, excludes_zero, first_channel, shown

UNLIKELY = 0.05
"""Modules are said to differ where chance alone gives such a difference less often than this."""


def pulse_shape(findings: Findings) -> Iterator[Sentence]:
    """Yield the usual transitions and overshoot of the telling pulse: medians, each pulse's own U is in the JSON."""
    sequence, pulses = findings.sequence, findings.pulses
    if sequence.channel is None or len(pulses.rise) != len(pulses):
        return
    used = sequence.pulse[findings.records]
    used = used[used >= 0]
    parts = []
    for name, values in (("the first", pulses.rise), ("the second", pulses.fall)):
        known = values[used][np.isfinite(values[used])]
        if len(known):
            parts.append(f"{name} {engineering(float(np.median(known)), 's', 3)} over {count(len(known), 'pulse')}")
    name = findings.channel_name(sequence.channel)
    if parts:
        text = f"Transitions of the pulse on {name}, 10 % to 90 %, medians: {', '.join(parts)}"
        yield Sentence(PROGRESSION, text, None, sequence.channel, "single")
    over = pulses.overshoot[used][np.isfinite(pulses.overshoot[used])]
    if len(over):
        text = (
            f"Overshoot of the pulse on {name}, median over {count(len(over), 'pulse')}: {100 * np.median(over):.1f} %"
        )
        yield Sentence(PROGRESSION, text, None, sequence.channel, "single")


def module_comparison(findings: Findings) -> Iterator[Sentence]:
    """Yield how gains spread, how modules' clocks run apart, and whether modules differ more than their channels do."""
    alignment = findings.alignment
    gains = [(c.gain, c.channel) for c in alignment.channels if c.gain is not None and c.channel != alignment.reference]
    if gains and alignment.reference is not None:
        low, high = min(gains, key=lambda g: g[0].value), max(gains, key=lambda g: g[0].value)
        text = f"Gains against {findings.channel_name(alignment.reference)} run from "
        text += (
            f"{shown(low[0])} ({findings.channel_name(low[1])}) to {shown(high[0])} ({findings.channel_name(high[1])})"
        )
        parts = tuple((f"gain of {findings.channel_name(channel)}", gain) for gain, channel in (low, high))
        yield Sentence(ALIGNMENT, text, None, high[1], "single", parts=parts)
    for pair in alignment.between_modules:
        first, second = pair.modules
        channel = first_channel(findings, second)
        if pair.drift_per_record is not None:
            marked = ", 95 % interval excludes 0" if excludes_zero(pair.drift_per_record) else ""
            text = f"{second} drifts against {first} by {shown(pair.drift_per_record)} a record{marked}"
            yield Sentence(ALIGNMENT, text, None, channel, "map", quantity=pair.drift_per_record)
        if pair.rate is not None:
            marked = ", 95 % interval excludes 0" if excludes_zero(pair.rate) else ""
            text = f"The clock of {second} against that of {first}: {shown(pair.rate.scaled(1e6))} ppm{marked}"
            yield Sentence(ALIGNMENT, text, None, channel, "single", quantity=pair.rate)
    compared = alignment.modules_against_channels
    if compared is not None:
        differ = "more" if compared.probability < UNLIKELY else "no more"
        text = f"Skews differ {differ} between modules than within them: F = {compared.f:.3g} with "
        text += f"{compared.between_dof} and {compared.within_dof} degrees of freedom; by chance alone an F as large "
        text += f"comes with a probability of {compared.probability:.2g}"
        yield Sentence(ALIGNMENT, text)
