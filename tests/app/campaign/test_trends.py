"""The trend page: every session in its place, every limit and every session without a value accounted for."""

from __future__ import annotations

from pathlib import Path

import pytest

from pulsewright_app.campaign.outcome import Basis, Judged, Outcome
from pulsewright_app.campaign.results_file import ResultsFile
from pulsewright_app.campaign.trend_figure import figure_of
from pulsewright_app.campaign.trend_page import trend_page
from pulsewright_app.campaign.trends import Trend, rows_of, trends_of

BASIS = Basis.unknown("", "")


def judged(value: float | None, high: float = 5e-9) -> Judged:
    """A skew of at most 5 ns: what it came to."""
    around = (None, None, None) if value is None else (1e-10, value - 2e-10, value + 2e-10)
    limits = (None, high, None, "")
    reason = "" if value is not None else "no pulse was found"
    verdict = "undecided" if value is None else "holds"
    return Judged("All at once", "skew", "at most 5 ns", verdict, "Seen: x", reason, "s", value, *around, *limits)


def measured(session: str, created: str, *verdicts: Judged) -> Outcome:
    return Outcome(session, "measured", BASIS, created=created, verdicts=verdicts)


@pytest.fixture
def results(tmp_path: Path) -> ResultsFile:
    return ResultsFile(tmp_path / "results.sqlite")


def trend_of(results: ResultsFile) -> Trend:
    (trend,) = trends_of(results, rows_of(results))
    return trend


def test_sessions_stand_in_the_order_of_time_whatever_their_zone(results: ResultsFile) -> None:
    with results:
        results.store(measured("a.h5", "2026-03-02T09:30:00+02:00"))  # 7:30 UTC
        results.store(measured("b.h5", "2026-03-02T08:00:00"))
        results.store(measured("c.h5", "2026-03-02T07:00:00Z"))
        results.store(Outcome("0.h5", "failed", BASIS, "0.h5: is empty; copy the file again."))
        assert [row.session for row in rows_of(results)] == ["c.h5", "a.h5", "b.h5", "0.h5"]
        page = trend_page(results, "runs")
        assert "4 sessions, in the order in which they were recorded. 1 of them could not be measured" in page
        results.store(measured("d.h5", "last Monday"))
        assert [row.session for row in rows_of(results)] == ["0.h5", "a.h5", "b.h5", "c.h5", "d.h5"]
        assert "in the order of their paths, because not every file says" in trend_page(results, "runs")


def test_sessions_without_a_value_are_in_every_figure_and_counted(results: ResultsFile) -> None:
    with results:
        results.store(measured("a.h5", "2026-03-02T09:30:00", judged(1e-9)))
        results.store(measured("b.h5", "2026-03-02T10:30:00", judged(None)))
        results.store(Outcome("c.h5", "failed", BASIS, "c.h5: is empty; copy the file again."))
        figure = figure_of(trend_of(results), 1, 3)
    assert "A cross at the foot: one of 2 sessions with no value." in figure.caption


@pytest.mark.parametrize(
    ("limit", "told"), [(5e-9, "Dashed: the limit."), (1.0, "The limit lies too far away to be drawn.")]
)
def test_a_limit_that_is_not_drawn_is_said_not_to_be(limit: float, told: str, results: ResultsFile) -> None:
    with results:
        results.store(measured("a.h5", "", judged(4e-9, high=limit)))
        caption = figure_of(trend_of(results), 1, 1).caption
    assert told in caption
    assert "cross" not in caption
