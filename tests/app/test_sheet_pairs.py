"""Marker pairs and level pairs on the evidence sheet: each with the U of the record that it is drawn for."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pytest

from pulsewright.review import LevelMarker, Marker, Review, SheetView
from pulsewright.session import Channel, Session
from pulsewright.settings import layered
from pulsewright_analysis.assessment import Assessment
from pulsewright_analysis.findings import measure
from pulsewright_analysis.results import Findings
from pulsewright_app.evidence.building import sheet_of
from pulsewright_app.evidence.dimensions import dimensions_of
from pulsewright_app.evidence.sheet import Number, Sheet
from pulsewright_app.evidence.view_pictures import drawing_of
from pulsewright_app.evidence.writing import as_html, as_json, as_pdf

from .evidence_reading import Reader, packed, pdf_text

APART, ALONE = 40e-6, 3
QUIET, NOISY = 20.0, 400.0
"""Noise of the records in codes: the last one's positions are known less well."""


@pytest.fixture(scope="module")
def session() -> Session:
    """Two pulses 40 µs apart that walk 2 µs a record together; the last pair stands in far more noise."""
    time, random = np.arange(1200) / 10e6, np.random.default_rng(6)
    samples = np.stack([random.normal(0.0, 20.0, (2, len(time))) for _ in range(5)])
    for record in range(5):
        for k in range(1 if record == ALONE else 2):
            width = 1e-6 if record < 4 else 3e-6
            samples[record] += 9000 * np.exp(-(((time - 30e-6 - 2e-6 * record - k * APART) / width) ** 2) / 2)
    channels = [Channel(f"H{c + 1:02d}", "M1", scale=1e-4) for c in range(2)]
    return Session.from_samples(np.round(samples).astype(np.int16), channels, 10e6, 0, trigger_time=np.arange(5) * 1e-3)


@pytest.fixture(scope="module")
def findings(session: Session) -> Findings:
    return measure(session, layered(option={"scale_percent": 1.0}))


def pulses(findings: Findings, record: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, u of the quoted position, and the part of it that is the pulse's own."""
    found, there = findings.pulses, findings.pulses.where(record, 0)
    return found.time[there], found.time_u[there], found.times_u[found.position][there]


@pytest.fixture(scope="module")
def review(findings: Findings) -> Review:
    times, us, _ = pulses(findings, 0)
    fixed = [Marker(t, 7e-8, 2, "by hand", "H01", 0, note="where the wall is") for t in (20e-6, 80e-6)]
    following = [Marker(t, u, 1, "both", "H01", 0, pulse=k) for k, (t, u) in enumerate(zip(times, us, strict=True))]
    one = [Marker(20e-6, 7e-8, 3, "one", "H01", 0), Marker(times[1], us[1], 3, "one", "H01", 0, pulse=1)]
    levels = [
        LevelMarker(0.0, 1e-4, 1, "H01", 0, "height", "", "base", None, 1e-4),
        LevelMarker(0.9, 5e-4, 1, "H01", 0, "height", "", "top", 0, 1e-4),
        LevelMarker(0.1, 3e-4, 2, "H02", 2, "by eye", "the gate"),
        LevelMarker(0.4, 4e-4, 2, "H02", 2, "by eye", "the gate"),
    ]
    views = [SheetView("single", record, "H01", lanes=False) for record in (0, 4, ALONE)]
    return Review(markers=[*following, *fixed, *one], level_markers=levels, sheet_views=views)


@pytest.fixture(scope="module")
def sheet(session: Session, findings: Findings, review: Review) -> Sheet:
    return sheet_of(Assessment(findings), session, review)


def test_the_table_has_the_difference_of_two_pulses_without_the_trigger_that_they_share(
    sheet: Sheet, findings: Findings
) -> None:
    """The trigger was not timed: Ts/√12 in each time (JCGM 100:2008, 4.3.7), none of it in their difference."""
    assert sheet.markers is not None
    times, us, own = pulses(findings, 0)
    name, first, _, delta, *_, where = sheet.markers.rows[0]
    assert (name, where) == ("both", "follows pulses 0 and 1, record 0, H01")
    assert isinstance(first, Number) and isinstance(delta, Number)
    assert first.quantity is not None and delta.quantity is not None
    assert (first.quantity.value, first.quantity.u) == (times[0], pytest.approx(us[0]))
    assert delta.quantity.u == pytest.approx(np.hypot(*own))
    assert delta.quantity.u < 0.5 * np.hypot(*us)


def drawn(review: Review, findings: Findings, record: int, kind: int) -> str:
    return dimensions_of(review, findings, {"H01": "V", "H02": "V"}, ("H01",), record).pairs[kind].text


def test_a_following_pair_is_drawn_with_the_u_of_the_record_that_is_drawn(review: Review, findings: Findings) -> None:
    for record in (0, 4):
        _, _, own = pulses(findings, record)
        told = re.fullmatch(
            rf"both: Δ ([\d.]+) ± ([\d.]+) µs \(follows pulses 0 and 1, record {record}\)",
            drawn(review, findings, record, 0),
        )
        assert told is not None
        assert float(told[2]) * 1e-6 == pytest.approx(1.959964 * np.hypot(*own), rel=0.05)
    assert drawn(review, findings, 0, 0).split("±")[1] != drawn(review, findings, 4, 0).split("±")[1]


def test_a_fixed_pair_keeps_its_u_and_names_the_record_that_it_holds_for(review: Review, findings: Findings) -> None:
    """U = 1.96·√2·70 ns (JCGM 100:2008, 5.1.2)."""
    assert drawn(review, findings, 0, 1) == "by hand: Δ 60.00 ± 0.19 µs"
    assert drawn(review, findings, 4, 1) == "by hand: Δ 60.00 ± 0.19 µs (record 0)"
    assert drawn(review, findings, 4, 2).endswith("(t₂ follows pulse 1, record 4, t₁ of record 0)")


def test_what_is_not_in_the_record_is_named_below_its_view(
    session: Session, findings: Findings, review: Review
) -> None:
    made = drawing_of(review.sheet_views[2], session, findings, review)
    assert "Not drawn: both: only 1 pulse in record 3 on H01, so no pulse 1; one: only 1 pulse" in made.caption


def test_the_figure_says_what_was_reckoned(session: Session, findings: Findings, review: Review) -> None:
    from matplotlib.figure import Figure

    figure = Figure()
    drawing_of(review.sheet_views[1], session, findings, review).draw(figure)
    texts = {text.get_text() for axes in figure.axes for text in axes.texts}
    assert {drawn(review, findings, 4, kind) for kind in range(3)} <= texts
    levels = {line.get_ydata()[0] for axes in figure.axes for line in axes.lines if len(set(line.get_ydata())) == 1}
    assert {0.0, 0.9} <= levels and not {0.1, 0.4} & levels  # those of the other channel are not on this axis


def test_level_pairs_are_tabulated_with_the_scale_in_their_u(sheet: Sheet) -> None:
    """By hand: u² = u₁² + u₂² + (1 % of Δ)². Base to top: the amplitude's own u and 1 % of it (JCGM 100, 5.1.2)."""
    assert sheet.levels is not None
    height, by_eye = sheet.levels.rows
    assert (height[0], height[-1]) == ("height", "record 0, H01: the base and the top of pulse 0")
    assert (by_eye[0], by_eye[-1]) == ("by eye", "record 2, H02: by hand")
    expected = (0.9, np.hypot(np.sqrt(5e-4**2 - 1e-4**2), 0.009)), (0.3, np.sqrt(3e-4**2 + 4e-4**2 + 0.003**2))
    for row, (value, u) in zip((height, by_eye), expected, strict=True):
        cell: Any = row[3]
        assert (cell.quantity.value, cell.quantity.u) == (pytest.approx(value), pytest.approx(u))


def test_every_form_of_the_sheet_has_pairs_levels_notes_and_the_mean_over_records(
    sheet: Sheet, findings: Findings
) -> None:
    page, paper = Reader(as_html(sheet).decode()).text, packed(pdf_text(as_pdf(sheet)))
    told = as_json(sheet, Assessment(findings))["sheet"]
    for words in ("Level pairs", "Notes on pairs", "where the wall is", "the gate", "Marker pairs over all records"):
        assert words in page
        assert packed(words) in paper
    assert [row[0] for row in told["marker_series"]["rows"]] == ["both", "one"]
    assert [row[-1] for row in told["marker_series"]["rows"]] == ["4 of 5", "4 of 5"]
