"""The table of every setting, in words, with where its value came from."""

from __future__ import annotations

from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.sheet import Cell, Number, Table
from pulsewright_app.setting_words import NUMBERS, name_in_words, origin_in_words, told_settings, value_in_words


def settings_table(findings: Findings) -> Table:
    """Return every setting with its value and its origin."""
    settings = findings.settings
    rows: list[tuple[Cell, ...]] = []
    for name in told_settings():
        value, text = getattr(settings, name), value_in_words(settings, name)
        cell = Number(text, float(value)) if name in NUMBERS and value is not None else text
        rows.append((name_in_words(name), cell, origin_in_words(settings, name)))
    return Table(("Setting", "Value", "From"), tuple(rows), wide=(1,))
