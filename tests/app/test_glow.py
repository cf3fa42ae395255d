"""The Afterglow picture without a window: fading, inks and alignment, by algebra on made records."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pulsewright.session import Channel, Session
from pulsewright_analysis.overlay import Afterglow, Raster
from pulsewright_analysis.results import Findings
from pulsewright_app import glow
from pulsewright_app.glow import Accumulation, GlowPlan, passing_of
from pulsewright_app.glow_alignment import Alignment, alignment_of
from pulsewright_app.glow_ink import inked

RATE = 1e6
LENGTH = 100


def levels(heights: list[float]) -> Session:
    """Records that are flat at these heights, in units of one code."""
    codes = np.repeat(np.array(heights, dtype=np.int16)[:, None, None], LENGTH, axis=2)
    return Session.from_samples(codes, [Channel("H01", "M1")], RATE, 0)


def plan_of(session: Session, **more: object) -> GlowPlan:
    raster = Raster(50, 10, 0.0, LENGTH / RATE, 0.5, 10.5)
    alignment = Alignment(np.zeros(session.records))
    return GlowPlan(session, 0, raster, alignment, **more)  # type: ignore[arg-type]


def test_lots_give_the_same_as_all_at_once() -> None:
    session = levels([1, 5, 5, 9, 5, 1])
    once, lots = Accumulation(plan_of(session)), Accumulation(plan_of(session))
    once.add(np.arange(6))
    for some in ([0, 1], [2], [3, 4, 5]):
        lots.add(np.array(some))
    np.testing.assert_array_equal(once.picture().counts[0], lots.picture().counts[0])
    assert once.picture().at(50e-6, 5.0) == [3]
    assert lots.picture().records == 6


@pytest.mark.parametrize("half_life", [1, 2, 4])
def test_a_record_has_half_its_ink_after_a_half_life(half_life: int) -> None:
    """Record 0 alone stands at 1, and as many records at 5 as the half-life has come after it."""
    session = levels([1] + [5] * half_life)
    accumulation = Accumulation(plan_of(session, half_life=half_life))
    accumulation.add(np.arange(session.records))
    picture = accumulation.picture()
    assert picture.weights is not None
    assert float(picture.weights[0][9, 25]) == pytest.approx(0.5, rel=1e-6)
    assert int(picture.counts[0][9, 25]) == 1
    newest = sum(0.5 ** (age / half_life) for age in range(half_life))
    assert float(picture.weights[0][5, 25]) == pytest.approx(newest, rel=1e-6)


def test_fading_one_by_one_is_fading_in_lots() -> None:
    session = levels([1, 5, 9, 1, 5, 9, 1, 5])
    once = Accumulation(plan_of(session, half_life=3))
    lots = Accumulation(plan_of(session, half_life=3))
    once.add(np.arange(8))
    for record in range(8):
        lots.add(np.array([record]))
    for a, b in zip(once.picture().weights or (), lots.picture().weights or (), strict=True):
        np.testing.assert_allclose(a, b, rtol=1e-5)


def test_each_polarity_has_its_ink_and_no_pulse_has_a_third() -> None:
    session = levels([9, 1, 5])
    accumulation = Accumulation(plan_of(session, signs=np.array([1, -1, 0])))
    accumulation.add(np.arange(3))
    picture = accumulation.picture()
    assert [picture.at(50e-6, value) for value in (9.5, 1.5, 5.0)] == [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
    image = inked(picture, ("#ff0000", "#0000ff", "#00ff00"), logarithmic=False)
    assert image[1, 25].tolist() == [255, 0, 0, 255]
    assert image[9, 25].tolist() == [0, 0, 255, 255]
    assert image[5, 25].tolist() == [0, 255, 0, 255]
    assert image[3, 25, 3] == 0  # no ink where no record passes


def test_one_ink_is_denser_by_count() -> None:
    session = levels([1, 5, 5, 5, 9, 9])
    accumulation = Accumulation(plan_of(session))
    accumulation.add(np.arange(6))
    for logarithmic in (False, True):
        opacity = inked(accumulation.picture(), ("#000000",), logarithmic)[:, 25, 3]
        assert 0 == opacity[3] < opacity[9] < opacity[1] < opacity[5] == 255


def test_pulses_come_to_their_median(clean_findings: Findings) -> None:
    """They walk 5 µs a record over 12 stops, twice."""
    codes = np.zeros((24, 12, 50), dtype=np.int16)
    channels = [Channel(name, module) for name, module in clean_findings.session.channels]
    session = Session.from_samples(codes, channels, RATE, 0)
    aligned = alignment_of(session, clean_findings, 3, "pulse")
    assert isinstance(aligned, Alignment)
    np.testing.assert_allclose(aligned.shift, (np.arange(24) % 12 - 5.5) * 5e-6, atol=1e-15)
    why = alignment_of(session, clean_findings, 3, "reference")
    assert isinstance(why, str)
    assert "no reference pulse is set" in why


def test_reference_pulses_come_to_their_median(clean_findings: Findings) -> None:
    """Two in three records have one, 1 µs later each record; the others cannot be aligned."""
    pulses = clean_findings.pulses
    late = 10e-6 + 1e-6 * pulses.record
    reference = np.where(pulses.record % 3 == 2, np.nan, late)
    findings = replace(clean_findings, pulses=replace(pulses, reference=reference, reference_u=np.zeros(len(pulses))))
    channels = [Channel(name, module) for name, module in findings.session.channels]
    session = Session.from_samples(np.zeros((24, 12, 50), dtype=np.int16), channels, RATE, 0)
    aligned = alignment_of(session, findings, 3, "reference")
    assert isinstance(aligned, Alignment)
    assert aligned.about == "reference pulses"
    assert np.flatnonzero(np.isnan(aligned.shift)).tolist() == list(range(2, 24, 3))
    assert aligned.shift[1] - aligned.shift[0] == pytest.approx(1e-6)
    assert float(np.nanmedian(aligned.shift)) == pytest.approx(0.0, abs=1e-15)


def test_records_that_cannot_be_aligned_are_left_away_and_counted() -> None:
    session = levels([5, 5, 5])
    plan = GlowPlan(session, 0, Raster(50, 10, 0.0, 1e-4, 0.5, 10.5), Alignment(np.array([0.0, np.nan, 0.0])))
    accumulation = Accumulation(plan)
    accumulation.add(np.arange(3))
    picture = accumulation.picture()
    assert (picture.records, picture.unplaced, picture.at(50e-6, 5.0)) == (2, 1, [2])
    assert passing_of(plan, np.arange(3), 50e-6, 5.0, lambda: False) == [0, 2]


@pytest.mark.parametrize("cores", [1, 2, 3, 7])
def test_counts_are_the_same_on_any_number_of_cores(cores, monkeypatch):
    # counting one record after another is checked against plain Python and datashader in tests/outside
    rng = np.random.default_rng(20261126)
    samples = rng.integers(-900, 900, (61, 3, 40), dtype=np.int16)
    session = Session.from_samples(samples, [Channel(f"H{n}", "M1") for n in range(3)], 1e6)
    raster = Raster(23, 17, 0.0, 40e-6, -1000.0, 1000.0)
    plan = GlowPlan(session, 1, raster, Alignment(np.zeros(61)), signs=np.resize([1, -1, 0], 61))
    monkeypatch.setattr(glow, "CORES", cores)
    monkeypatch.setattr(glow, "BLOCK_BYTES", 4 * 40 * 2)
    accumulation = Accumulation(plan)
    seen = []
    accumulation.add(np.arange(61), added=lambda: seen.append(accumulation.picture()))
    alone = [Afterglow(raster) for _ in range(3)]
    for record in range(61):
        alone[record % 3].add(samples[record : record + 1, 1], session.first_sample_time(1)[record : record + 1], 1e-6)
    assert [picture.records for picture in seen] == [min(4 * cores * n, 61) for n in range(1, len(seen) + 1)]
    for counted, expected in zip(accumulation.picture().counts, alone, strict=True):
        np.testing.assert_array_equal(counted, expected.counts)
