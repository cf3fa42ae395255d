"""The arrays behind the small figures, on findings built by hand; expected values by algebra unless said otherwise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from pulsewright.quantity import Quantity
from pulsewright.session import Channel, Session
from pulsewright.settings import Settings
from pulsewright_analysis.results import ChannelSkew, Findings, MissedTrigger
from pulsewright_app.figures_data import (
    Axis,
    JitterFigure,
    NotDrawn,
    PositionsFigure,
    SkewFigure,
    TriggerGapsFigure,
    jitter_figure,
    positions_figure,
    skew_figure,
    trigger_gaps_figure,
)


def test_the_line_runs_through_the_stops_and_breaks_where_the_walk_starts_over(clean_findings: Findings) -> None:
    figure = positions_figure(clean_findings)
    assert isinstance(figure, PositionsFigure)
    assert list(figure.record) == list(range(24))
    # 5 µs a record over 12 stops, so the 24 records are two passes with one break between them
    assert list(np.flatnonzero(np.isnan(figure.line_record))) == [12]
    assert np.flatnonzero(np.isnan(figure.line_position)).tolist() == [12]
    on = np.isfinite(figure.line_position)
    np.testing.assert_allclose(figure.line_position[on] + figure.residual, figure.position)
    assert figure.position_axis.text == "Position from the trigger / µs"
    assert figure.residual_axis.text == "Distance from the line / ns"


def test_bars_are_95_percent_intervals(clean_findings: Findings) -> None:
    figure = positions_figure(clean_findings)
    assert isinstance(figure, PositionsFigure)
    # u = 3 ns, normal: 1.96 u (JCGM 100:2008, table G.2)
    np.testing.assert_allclose(figure.half_width, 1.96 * 3e-9, rtol=1e-3)
    np.testing.assert_allclose(figure.residual_half_width, 1.96 * 3e-9, rtol=1e-3)


def test_strays_and_missed_triggers_are_told(altered: Callable[..., Findings], clean_findings: Findings) -> None:
    residual = clean_findings.sequence.residual.copy()
    residual[5] = np.nan
    findings = altered(
        sequence={"residual": residual, "missed": (MissedTrigger(3, 2, ("position",)),)},
    )
    figure = positions_figure(findings)
    assert isinstance(figure, PositionsFigure)
    assert np.flatnonzero(~figure.on_line).tolist() == [5]
    broken = np.flatnonzero(np.isnan(figure.line_record))
    assert [int(figure.line_record[place - 1]) for place in broken] == [3, 11]  # at the gap, and between the passes
    assert (figure.missed_after.tolist(), figure.missed_count.tolist()) == ([3], [2])


def test_no_positions_without_pulses(altered: Callable[..., Findings]) -> None:
    figure = positions_figure(altered(sequence={"pulse": np.full(24, -1)}))
    assert figure == NotDrawn("No positions: no pulse on H01 has one.")


def test_skews_stand_module_by_module(altered: Callable[..., Findings], clean_findings: Findings) -> None:
    channels = tuple((name, f"M{1 + i % 3}") for i, (name, _) in enumerate(clean_findings.session.channels))
    findings = altered(session={"channels": channels})
    figure = skew_figure(findings)
    assert isinstance(figure, SkewFigure)
    assert figure.groups == (("M1", 0, 4), ("M2", 4, 8), ("M3", 8, 12))
    assert figure.channel[:4] == ("H01", "H04", "H07", "H10")
    assert figure.is_reference.tolist() == [True] + [False] * 11


def test_a_skew_whose_interval_leaves_zero_out_is_told(altered: Callable[..., Findings]) -> None:
    late = Quantity(10e-9, 1e-9, "s")
    findings = altered(
        alignment={
            "channels": (
                ChannelSkew(0, Quantity(0.0, 0.0, "s"), 24),
                ChannelSkew(1, Quantity(0.5e-9, 1e-9, "s"), 24),
                ChannelSkew(2, late, 24),
                ChannelSkew(3, None, 0),
            )
        }
    )
    figure = skew_figure(findings)
    assert isinstance(figure, SkewFigure)
    assert figure.excludes_zero.tolist() == [False, False, True]
    assert (float(figure.low[2]), float(figure.high[2])) == late.interval95
    assert figure.not_measured == ("H04",)


def test_a_sines_skews_say_how_far_they_are_known(altered: Callable[..., Findings]) -> None:
    figure = skew_figure(altered(alignment={"method": "sine", "frequency": Quantity(200e3, 1.0, "Hz")}))
    assert isinstance(figure, SkewFigure)
    assert "whole periods of 5 µs" in figure.note  # 1/200 kHz


def test_the_histogram_holds_every_record_and_the_curve_as_many(altered: Callable[..., Findings]) -> None:
    random = np.random.default_rng(4)
    residual = random.normal(0.0, 5e-9, 24)
    figure = jitter_figure(altered(sequence={"residual": residual}))
    assert isinstance(figure, JitterFigure)
    assert figure.counts.sum() == figure.records == 24
    # the area under the expected curve is the number of records times the width of a bin; ±3 sigma holds 99.7 % of it
    area = np.trapezoid(figure.curve_count, figure.curve_time) / (figure.edges[1] - figure.edges[0])
    assert area == pytest.approx(24, rel=0.01)


def test_a_trigger_that_was_not_timed_gets_a_flat_curve(altered: Callable[..., Findings]) -> None:
    interval = 40e-9  # of 25 MHz
    residual = np.linspace(-0.5, 0.5, 24) * interval
    figure = jitter_figure(altered(sequence={"residual": residual}, jitter={"shape": "uniform"}))
    assert isinstance(figure, JitterFigure)
    inside = figure.curve_count > 0
    assert np.ptp(figure.curve_time[inside]) == pytest.approx(interval)
    area = np.trapezoid(figure.curve_count, figure.curve_time) / (figure.edges[1] - figure.edges[0])
    assert area == pytest.approx(24)


def test_no_jitter_says_why(altered: Callable[..., Findings]) -> None:
    reason = "No jitter: only 3 records have a pulse in its expected place; at least 8 are needed."
    assert jitter_figure(altered(jitter={"std": None}, reasons=(reason,))) == NotDrawn(reason)


def test_gaps_are_those_of_the_trigger_times() -> None:
    from pulsewright_analysis.assessment import assess

    sent = np.array([0, 1, 2, 3, 5, 6, 7, 9, 10]) * 2e-3
    codes = np.zeros((len(sent), 1, 64), dtype=np.int16)
    session = Session.from_samples(codes, [Channel("H01", "M1", scale=1e-4)], 1e6, 8, trigger_time=sent)
    figure = trigger_gaps_figure(assess(session, Settings(left_out=(1,))).findings)
    assert isinstance(figure, TriggerGapsFigure)
    assert figure.after_record.tolist() == [2, 3, 4, 5, 6, 7]  # record 1 is left out: from 0 to 2 is no gap
    np.testing.assert_allclose(figure.gap, np.array([1, 2, 1, 1, 2, 1]) * 2e-3)
    assert figure.periods.tolist() == [1, 2, 1, 1, 2, 1]
    np.testing.assert_allclose(figure.deviation, 0.0, atol=1e-12)
    assert figure.gap_axis.text == "Time to the next trigger / ms"


def test_no_gaps_without_trigger_times(clean_findings: Findings) -> None:
    findings = replace(clean_findings, timing=replace(clean_findings.timing, gap=np.full(23, np.nan)))
    findings = replace(findings, timing=replace(findings.timing, gap_after=np.arange(23)))
    assert trigger_gaps_figure(findings) == NotDrawn("No trigger gaps: the session has no trigger times.")


def test_numbers_are_written_in_the_axis_unit() -> None:
    axis = Axis("Residual", "ns", 1e9)
    np.testing.assert_allclose(axis.written(np.array([2.5e-9])), [2.5])
    assert axis.text == "Residual / ns"
    assert Axis("Record").text == "Record"
