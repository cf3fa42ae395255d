"""Writes the trends of a campaign as one HTML page: no network, figures as vectors, every text escaped."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pulsewright.atomic import replacing
from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.trends import Trend, rows_of, trends_of
from pulsewright_app.evidence.drawing import (
    MOST_BARS,
    Limits,
    axis_text,
    draw_limits,
    drawn,
    error_bars,
    in_reach,
    points,
    record_axis,
)
from pulsewright_app.evidence.numbers import readable
from pulsewright_app.evidence.words import CAUTIONS
from pulsewright_app.figures_axes import scaled_axis
from pulsewright_app.theme import LIGHT, VERDICT_SHAPES, Verdict

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HEIGHT_MM = 52.0
MARKS: dict[Verdict, str] = {"holds": "o", "fails": "^", "undecided": "D"}
"""Matplotlib's names for the shapes of `VERDICT_SHAPES`."""


def write_trend_page(results: ResultsFile, path: Path, title: str) -> None:
    """Write the page; the same results give the same bytes.

    Raises
    ------
    PulsewrightError
        If the file cannot be written; the old one stays whole.
    """
    text = trend_page(results, title)
    try:
        with replacing(path) as temporary:
            temporary.write_text(text, encoding="utf-8")
    except OSError as error:
        raise PulsewrightError(
            f"{path}: the trend page cannot be written there ({error.strerror or error})", "give another name"
        ) from error


def trend_page(results: ResultsFile, title: str) -> str:
    """Return the page as HTML."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    rows = rows_of(results)
    trends = trends_of(results, rows)
    environment = Environment(
        loader=PackageLoader("pulsewright_app", "campaign"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    # numbers stay in one line with their units; hidden letters of file names are shown
    environment.finalize = lambda value: readable(value) if type(value) is str else value
    figures = [figure_of(trend, number) for number, trend in enumerate(trends, start=1)]
    return environment.get_template("trends.html.jinja").render(
        title=title, rows=rows, trends=list(zip(trends, figures, strict=True)), shapes=VERDICT_SHAPES, colours=LIGHT,
        cautions=CAUTIONS,
    )  # fmt: skip


def figure_of(trend: Trend, number: int) -> str:
    """Return a claim's values over the sessions with their 95 % intervals and the limit; empty where there are none."""
    measured = trend.measured
    if not measured:
        return ""
    values, low, high = (np.array([getattr(p, name) for p in measured], float) for name in ("value", "low", "high"))
    x = np.array([p.row.number for p in measured], float)
    axis = scaled_axis("Seen", trend.unit, np.concatenate((low, high)))

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        if len(x) <= MOST_BARS:
            error_bars(axes, x, values * axis.factor, low * axis.factor, high * axis.factor, LIGHT.muted)
        else:
            axes.fill_between(x, low * axis.factor, high * axis.factor, color=LIGHT.rule, linewidth=0)
        for verdict, mark in MARKS.items():
            chosen = np.array([p.verdict == verdict for p in measured])
            colour = LIGHT.verdict(verdict)
            points(
                axes, x[chosen], values[chosen] * axis.factor, colour, shape=mark, filled=verdict != "undecided",
                size=4.0,
            )  # fmt: skip
        ends = in_reach([Limits(number, trend.limit_low, trend.limit_high)], np.concatenate((low, high)))
        draw_limits(axes, axis, [("limit", end) for _, end in ends])
        record_axis(axes, "Session, by number")
        axes.set_ylabel(axis_text(axis))

    return drawn(number, HEIGHT_MM, draw)
