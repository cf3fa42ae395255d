"""Writes a sheet as one HTML file: styles and figures inside, nothing fetched, every text escaped."""

from __future__ import annotations

from pulsewright_app.evidence.numbers import readable
from pulsewright_app.evidence.sheet import AnySheet, Interval, Number
from pulsewright_app.theme import LIGHT


def html_of(sheet: AnySheet, template: str = "sheet.html.jinja") -> str:
    """Return the sheet as HTML; the same sheet gives the same text."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("pulsewright_app", "evidence"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    # numbers stay in one line with their units; the figures' own markup is no text
    environment.finalize = lambda value: readable(value) if type(value) is str else value
    environment.tests["number"] = lambda cell: isinstance(cell, Number)
    environment.tests["interval"] = lambda cell: isinstance(cell, Interval)
    return environment.get_template(template).render(sheet=sheet, colours=LIGHT)
