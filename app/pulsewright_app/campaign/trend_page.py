"""Writes the trends of a campaign as one HTML page: no network, figures as vectors, every text escaped."""

from __future__ import annotations

from pathlib import Path

from pulsewright.atomic import replacing
from pulsewright.errors import PulsewrightError
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.trend_figure import figure_of
from pulsewright_app.campaign.trends import in_time, rows_of, trends_of
from pulsewright_app.evidence.numbers import readable
from pulsewright_app.evidence.words import CAUTIONS
from pulsewright_app.theme import LIGHT, VERDICT_SHAPES

_OF_THE_PAGE = (
    "The page speaks of the sessions that it lists, each as its file was when it was measured. The results file names "
    "the SHA-256 of each."
)
"""In place of the last of `CAUTIONS`, which is about the sheet of one session."""


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
    figures = [figure_of(trend, number, len(rows)) for number, trend in enumerate(trends, start=1)]
    return environment.get_template("trends.html.jinja").render(
        title=title, rows=rows, trends=list(zip(trends, figures, strict=True)), shapes=VERDICT_SHAPES, colours=LIGHT,
        by_time=in_time(rows), failed=sum(row.failed for row in rows),
        cautions=(*CAUTIONS[:2], _OF_THE_PAGE),
    )  # fmt: skip
