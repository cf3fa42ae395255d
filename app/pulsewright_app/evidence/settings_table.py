"""The table of every setting, in words, with where its value came from."""

from __future__ import annotations

from typing import Any

from pulsewright.quantity import engineering
from pulsewright.settings import Settings, setting_names
from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.numbers import ranges
from pulsewright_app.evidence.sheet import Cell, Number, Table
from pulsewright_app.wording import ORIGINS, rejected_words

_WORDS: dict[str, tuple[str, str]] = {
    "channel": ("Sequence from channel", "the first one measured"),
    "reference": ("Skews against", "the first channel measured"),
    "channels": ("Channels measured", "all"),
    "records": ("Records measured", "all"),
    "left_out": ("Records left out", "none"),
    "rejected_pulses": ("Pulses rejected", "none"),
    "span": ("Pulses looked for in", "the whole record"),
    "alignment_span": ("Alignment measured in", "the whole record"),
    "reference_pulse": ("Sequence counted from the pulse in", "the recorded trigger"),
    "position": ("Position quoted", ""),
    "polarity_rule": ("Polarity by the excursion that is", ""),
    "threshold": ("Threshold, from the base", "six times the noise"),
    "min_width": ("Shortest pulse kept", ""),
    "min_gap": ("Pulses are one if closer than", "found from the pulses' own length"),
    "increment": ("Increment given", "found from the data"),
    "cycle": ("Cycle given, records", "found from the data"),
    "sent": ("Triggers sent", "not told"),
    "alignment_method": ("Alignment by", ""),
    "re_arm": ("Re-arm time", ""),
    "asynchronous": ("Trigger asynchronous with the sample clock", ""),
    "clock_ppm": ("u of the sample clock", ""),
    "delay_u": ("u of each cable delay", ""),
    "splitter_u": ("u of each output of the splitter", ""),
    "scale_percent": ("u of a channel's scale", ""),
    "coverage_percent": ("Coverage of the intervals that are compared with limits", ""),
    "trigger_offset_u": ("u of the recorded trigger offsets", ""),
}
"""What each setting is called, and what holds where it is not given."""

_UNITS = {
    "threshold": "V", "min_width": "s", "min_gap": "s", "increment": "s", "cycle": "", "sent": "", "re_arm": "s",
    "clock_ppm": "ppm", "delay_u": "s", "splitter_u": "s", "scale_percent": "%", "coverage_percent": "%",
    "trigger_offset_u": "s",
}  # fmt: skip


def settings_table(findings: Findings) -> Table:
    """Return every setting with its value and its origin; one without words yet goes by its own name."""
    settings = findings.settings
    rows: list[tuple[Cell, ...]] = []
    for name in setting_names():
        words, unset = _WORDS.get(name, (name, "not given"))
        rows.append((words, _cell(settings, name, unset or "not given"), ORIGINS[settings.origin(name)]))
    return Table(("Setting", "Value", "From"), tuple(rows), wide=(1,))


def _cell(settings: Settings, name: str, unset: str) -> Cell:
    value: Any = getattr(settings, name)
    if value is None or value == ():
        return unset
    if name in _UNITS:
        # ppm takes no prefix of its own
        text = f"{value:.6g} ppm" if _UNITS[name] == "ppm" else engineering(float(value), _UNITS[name], 6)
        return Number(text, float(value))
    if name in ("span", "alignment_span", "reference_pulse"):
        return f"{engineering(value[0], 's', 6)} .. {engineering(value[1], 's', 6)}"
    if name == "records":
        return f"{value[0]} to {value[1] - 1}"
    if name == "left_out":
        return ranges(value)
    if name == "rejected_pulses":
        return rejected_words(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, tuple) else str(value)
